"""Validators of a feed's files, for conditional requests: a file that has not changed is not sent again."""

from collections.abc import Mapping
from uuid import UUID

import sqlalchemy as sa

from service.store.engine.stored_rows import put
from service.store.engine.tables import feed_files


def conditions_of(connection: sa.Connection, workshop_id: UUID, address: str) -> Mapping[str, str]:
    """The header fields of a conditional request for the file; empty if it was never read."""
    ours = sa.and_(feed_files.c.workshop_id == workshop_id, feed_files.c.address == address)
    return connection.execute(sa.select(feed_files.c.conditions).where(ours)).scalar_one_or_none() or {}


def save_conditions(connection: sa.Connection, workshop_id: UUID, address: str, conditions: Mapping[str, str]) -> None:
    """Store the header fields of the next conditional request for the file."""
    put(connection, feed_files, {"workshop_id": workshop_id, "address": address, "conditions": conditions})
