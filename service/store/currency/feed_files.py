"""What the files of a feed are asked for again with, so that one that has not changed is not sent again."""

from collections.abc import Mapping
from uuid import UUID

import sqlalchemy as sa

from service.store.engine.tables import feed_files
from service.store.engine.upserts import put


def conditions_of(connection: sa.Connection, workshop_id: UUID, address: str) -> Mapping[str, str]:
    """The header fields of a conditional request for the file; none if it was never read."""
    ours = sa.and_(feed_files.c.workshop_id == workshop_id, feed_files.c.address == address)
    return connection.execute(sa.select(feed_files.c.conditions).where(ours)).scalar_one_or_none() or {}


def save_conditions(connection: sa.Connection, workshop_id: UUID, address: str, conditions: Mapping[str, str]) -> None:
    """Keep what to ask for the file again with."""
    put(connection, feed_files, {"workshop_id": workshop_id, "address": address, "conditions": conditions})
