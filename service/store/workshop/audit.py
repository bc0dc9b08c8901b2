"""The audit trail: rows added in the transaction of the change that they record, and never changed again."""

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service import clock
from service.domain.audit import Action, Actor, Change, RecordedChange
from service.encoding import to_text
from service.store.engine import metering
from service.store.engine.stored_rows import as_stored
from service.store.engine.tables import changes
from service.store.workshop.rising_ids import next_id


def record(connection: sa.Connection, workshop_id: UUID, by: Actor, made: Iterable[Change]) -> None:
    """Record what one act changes; what it leaves unchanged is left out."""
    act = act_columns(next_id(connection, workshop_id, changes.c.change_id), clock.now(), by)
    rows = [
        {
            "workshop_id": workshop_id,
            **act,
            "subject": each.subject,
            "action": each.action.value,
            "before": None if each.before is None else to_text(each.before),
            "after": None if each.after is None else to_text(each.after),
        }
        for each in made
        if each.before != each.after
    ]
    if rows:
        connection.execute(as_stored.tables[changes.name].insert(), rows)
        metering.count(connection, workshop_id, len(rows), sum(metering.size_as_stored(changes, row) for row in rows))


def act_columns(change_id: UUID, at: datetime, by: Actor) -> dict[str, Any]:
    """The columns that all changes of one act share."""
    return {"change_id": change_id, "at": at, "by": by.name, "key_id": by.key_id}


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Which changes are read; all of them if no field is set.

    Attributes:
        subject: this subject and those below it.
        since: at this time or later.
        until: before this time.
    """

    subject: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    by: str | None = None
    action: Action | None = None

    def conditions(self) -> Iterable[sa.ColumnElement[bool]]:
        """The conditions of the query."""
        if self.subject is not None:
            # "0" follows "/" in code point order, so this is a range of the index and not a pattern.
            subject, below = changes.c.subject, f"{self.subject}/"
            yield subject.between(self.subject, f"{self.subject}0")
            yield sa.or_(subject == self.subject, sa.and_(subject >= below, subject < f"{self.subject}0"))
        if self.since is not None:
            yield changes.c.at >= self.since
        if self.until is not None:
            yield changes.c.at < self.until
        if self.by is not None:
            yield changes.c.by == self.by
        if self.action is not None:
            yield changes.c.action == self.action.value


_SHOWN = [changes.c[field.name] for field in fields(RecordedChange)]


def page_of_changes(
    connection: sa.Connection, workshop_id: UUID, chosen: Chosen, *, before: tuple[UUID, str] | None, limit: int
) -> list[RecordedChange]:
    """Newest act first, within it by subject backwards, as in the primary key; after the pair `before`."""
    query = _shown(workshop_id, *chosen.conditions())
    if before is not None:
        change_id, subject = before
        query = query.where(
            changes.c.change_id <= change_id, sa.or_(changes.c.change_id < change_id, changes.c.subject < subject)
        )
    return _read(connection, query.order_by(changes.c.change_id.desc(), changes.c.subject.desc()).limit(limit))


def changes_of_act(connection: sa.Connection, workshop_id: UUID, change_id: UUID) -> list[RecordedChange]:
    """Everything that one act changed, by subject."""
    return _read(connection, _shown(workshop_id, changes.c.change_id == change_id).order_by(changes.c.subject))


def _shown(workshop_id: UUID, *conditions: sa.ColumnElement[bool]) -> sa.Select[Any]:
    return sa.select(*_SHOWN).where(changes.c.workshop_id == workshop_id, *conditions)


def _read(connection: sa.Connection, query: sa.Select[Any]) -> list[RecordedChange]:
    rows = connection.execute(query)
    return [RecordedChange(**{**row._mapping, "action": Action(row.action)}) for row in rows]
