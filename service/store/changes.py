"""The audit trail: rows that are added in the transaction of what they tell of, and never touched again."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from uuid_utils.compat import uuid7

from service import clock
from service.domain.audit import Action, Actor, Change, RecordedChange
from service.encoding import plain_data, to_text
from service.store.instants import in_utc
from service.store.prices_in_force import COMING
from service.store.tables import changes, price_changes


def record(connection: sa.Connection, workshop_id: UUID, by: Actor, made: Iterable[Change]) -> None:
    """Put on record what one act changes; what it leaves as it was is none of it."""
    act = _act(uuid7(), clock.now(), by)
    rows = [
        {
            "workshop_id": workshop_id,
            **act,
            "subject": each.subject,
            "action": each.action.value,
            "before": _text(each.before),
            "after": _text(each.after),
        }
        for each in made
        if each.before != each.after
    ]
    if rows:
        connection.execute(changes.insert(), rows)


def _act(change_id: UUID, at: datetime, by: Actor) -> dict[str, Any]:
    return {"change_id": change_id, "at": at, "by": by.name, "key_id": by.key_id}


def _text(value: Any) -> str | None:
    return None if value is None else to_text(value)


def record_prices(
    connection: sa.Connection,
    workshop_id: UUID,
    repricing_id: UUID,
    span: tuple[str, str],
    act: tuple[UUID, datetime, Actor],
    *,
    is_rolled_back: bool = False,
) -> None:
    """Put on record the prices that a repricing changes, from one listing to another, or that it gives back.

    The database copies them from what the repricing recorded: there may be a hundred thousand.

    Args:
        connection: a transaction that writes.
        workshop_id: whose prices.
        repricing_id: the repricing.
        span: the first and the last listing.
        act: its id, when, and who.
        is_rolled_back: whether the prices before it come back in force.
    """
    old = price_changes.alias("old")
    its_own, before_it = _price(price_changes), _price(old)
    before, after = (its_own, before_it) if is_rolled_back else (before_it, its_own)
    action = Action.ROLLED_BACK if is_rolled_back else Action.REPRICED
    values = {
        "workshop_id": price_changes.c.workshop_id,
        "subject": "listings/" + price_changes.c.listing + "/price",
        "action": sa.literal(action.value),
        "before": before,
        "after": after,
        **{name: sa.literal(value, changes.c[name].type) for name, value in _act(*act).items()},
    }
    prices = (
        sa.select(*values.values())
        .select_from(price_changes)
        .outerjoin(
            old,
            sa.and_(
                old.c.workshop_id == workshop_id,
                old.c.repricing_id == price_changes.c.previous_id,
                old.c.listing == price_changes.c.listing,
            ),
        )
        .where(
            price_changes.c.workshop_id == workshop_id,
            price_changes.c.repricing_id == repricing_id,
            price_changes.c.listing.between(*span),
            price_changes.c.decision.in_(COMING),
        )
    )
    connection.execute(changes.insert().from_select(list(values), prices))


def _price(table: Any) -> sa.ColumnElement[str]:
    """JSON text of the price that a repricing put in force; null where there is none. Its texts need no escaping."""
    digits = sa.func.replace(sa.cast(table.c.repricing_id, sa.String), "-", "")  # SQLite has the id without its dashes
    parts = [sa.func.substr(digits, start, length) for start, length in ((1, 8), (9, 4), (13, 4), (17, 4), (21, 12))]
    told = '{"amount":"' + table.c.price + '","currency":"' + table.c.currency + '","repricing":"' + parts[0]
    for part in parts[1:]:
        told = told + "-" + part
    found: sa.ColumnElement[str] = told + '"}'
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """Which changes are read; all of them where nothing is said.

    Attributes:
        subject: it and what is below it.
        since: made then or later.
        until: made before then.
        by: name of the key.
        action: what was done.
    """

    subject: str | None = None
    since: datetime | None = None
    until: datetime | None = None
    by: str | None = None
    action: Action | None = None

    def conditions(self) -> Iterable[sa.ColumnElement[bool]]:
        """What the rows have to meet."""
        if self.subject is not None:
            # In the order of code points "0" is the next after "/": a span of the index, and no pattern.
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


def page_of_changes(
    connection: sa.Connection, workshop_id: UUID, chosen: Chosen, *, before: tuple[UUID, str] | None, limit: int
) -> list[RecordedChange]:
    """Newest act first, within it backwards by subject as the key has them, beyond the pair of both `before`."""
    query = sa.select(changes).where(changes.c.workshop_id == workshop_id, *chosen.conditions())
    if before is not None:
        change_id, subject = before
        query = query.where(
            changes.c.change_id <= change_id, sa.or_(changes.c.change_id < change_id, changes.c.subject < subject)
        )
    rows = connection.execute(query.order_by(changes.c.change_id.desc(), changes.c.subject.desc()).limit(limit))
    return [_recorded(row) for row in rows]


def _recorded(row: Any) -> RecordedChange:
    return RecordedChange(
        change_id=row.change_id,
        at=in_utc(row.at),
        by=row.by,
        key_id=row.key_id,
        subject=row.subject,
        action=Action(row.action),
        before=None if row.before is None else plain_data(row.before),
        after=None if row.after is None else plain_data(row.after),
    )
