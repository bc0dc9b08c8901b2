"""The facts and rates that records are compared with: stored once, however many records have the same."""

import hashlib
from collections.abc import Iterable
from datetime import datetime
from uuid import UUID

import sqlalchemy as sa

from service.domain.register import COLLECTIONS
from service.domain.reviewing.day_facts import DayFacts
from service.domain.values.references import Registered, Thing
from service.encoding import from_text, to_text
from service.store.engine import metering
from service.store.engine.column_types import as_text
from service.store.engine.stored_rows import put
from service.store.engine.tables import batch_records, changes, record_facts

_POOLS = "overheads/", "overheads0"
"""The subjects of overhead pools are between these: "0" follows "/" in code point order."""


def digest_of(text: str) -> str:
    """The digest by which facts are stored, from their text: a later version may write the same facts otherwise."""
    return hashlib.sha256(text.encode()).hexdigest()


def keep_facts(connection: sa.Connection, workshop_id: UUID, facts: DayFacts) -> str:
    """Store facts, if they are not there yet; returns their digest."""
    digest = digest_of(to_text(facts))
    known = sa.select(record_facts.c.digest).where(_ours(workshop_id, digest))
    if connection.execute(known).first() is None:
        put(connection, record_facts, {"workshop_id": workshop_id, "digest": digest, "facts": facts})
        metering.added(connection, record_facts, workshop_id, record_facts.c.digest == digest)
    return digest


def _ours(workshop_id: UUID, digest: str) -> sa.ColumnElement[bool]:
    return sa.and_(record_facts.c.workshop_id == workshop_id, record_facts.c.digest == digest)


def get_facts(connection: sa.Connection, workshop_id: UUID, digest: str) -> DayFacts:
    """The facts of a record."""
    found: DayFacts = connection.execute(sa.select(record_facts.c.facts).where(_ours(workshop_id, digest))).scalar_one()
    return found


def forget_facts(connection: sa.Connection, workshop_id: UUID, digest: str) -> None:
    """Delete facts that no record is compared with any more."""
    using = sa.select(batch_records.c.code).where(
        batch_records.c.workshop_id == workshop_id, batch_records.c.facts == digest
    )
    if connection.execute(using.limit(1)).first() is None:
        metering.removed(connection, record_facts, workshop_id, record_facts.c.digest == digest)
        connection.execute(record_facts.delete().where(_ours(workshop_id, digest)))


def changed_since(
    connection: sa.Connection, workshop_id: UUID, things: Iterable[Thing], instant: datetime
) -> dict[Thing, Registered | None]:
    """Those of the things, and of all overhead pools, that have changed since, as they were: None if not registered."""
    subject = changes.c.subject
    first, last = _POOLS
    found: dict[Thing, Registered | None] = {}
    rows = connection.execute(
        sa.select(subject, as_text(changes.c.before))
        .where(
            changes.c.workshop_id == workshop_id,
            changes.c.at >= instant,
            sa.or_(subject.in_([str(each) for each in things]), sa.and_(subject > first, subject < last)),
        )
        .order_by(changes.c.change_id)
    )
    for its_subject, before in rows:
        thing = Thing.of(its_subject)
        if "/" not in thing.code and thing not in found:  # rates have longer subjects
            kind = COLLECTIONS[thing.collection].facts
            found[thing] = None if before is None else from_text(before, kind)
    return found
