"""Price changes in the audit trail."""

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.audit import Action, Actor
from service.store.engine.column_types import as_text
from service.store.engine.tables import changes, price_changes, repricings
from service.store.listing.dated_prices import PricesSet
from service.store.workshop.audit import act_columns


def record_prices(
    connection: sa.Connection, prices: PricesSet, act: tuple[UUID, datetime, Actor], *, ends: date | None = None
) -> None:
    """Record the prices that a repricing sets for a day, or that its rollback takes back.

    The database copies them from the repricing's own rows: there may be a hundred thousand.

    Args:
        act: id, time and actor.
        ends: of a rollback, the day from which they no longer count.
    """
    same_day = _set_for_the_same_day(connection, prices)
    replaced = _replaced_price(prices.workshop_id, same_day)
    new = _price(price_changes, _id_text(prices.repricing_id))
    before, after = (replaced, new) if ends is None else (new, replaced)
    if ends is not None and ends > prices.valid_from:
        after = _price(price_changes, _id_text(prices.repricing_id), valid_until=ends)
    values = {
        "workshop_id": price_changes.c.workshop_id,
        "subject": "listings/" + price_changes.c.listing + f"/price/{prices.valid_from}",
        "action": sa.literal((Action.REPRICED if ends is None else Action.ROLLED_BACK).value),
        "before": before,
        "after": after,
        **{name: sa.literal(value, changes.c[name].type) for name, value in act_columns(*act).items()},
    }
    connection.execute(changes.insert().from_select(list(values), sa.select(*values.values()).where(prices.condition)))


def _set_for_the_same_day(connection: sa.Connection, prices: PricesSet) -> Sequence[UUID]:
    """The other repricings whose prices have the same first day: only these are replaced for that day."""
    ours = repricings.c.workshop_id == prices.workshop_id
    others = sa.and_(repricings.c.valid_from == prices.valid_from, repricings.c.repricing_id != prices.repricing_id)
    return connection.execute(sa.select(repricings.c.repricing_id).where(ours, others)).scalars().all()


def _replaced_price(workshop_id: UUID, same_day: Sequence[UUID]) -> sa.ColumnElement[Any]:
    """The price before, as JSON text, if one of these repricings set it; else null."""
    if not same_day:
        return sa.null()
    old = price_changes.alias("old")
    which = sa.case({each: _id_text(each) for each in same_day}, value=old.c.repricing_id)
    found = sa.select(_price(old, which)).where(
        old.c.workshop_id == workshop_id,
        old.c.repricing_id == price_changes.c.previous_id,
        old.c.repricing_id.in_(same_day),
        old.c.listing == price_changes.c.listing,
    )
    return found.correlate(price_changes).scalar_subquery()


def _id_text(repricing_id: UUID) -> sa.ColumnElement[str]:
    return sa.literal(str(repricing_id), sa.Text)


def _price(table: Any, repricing: sa.ColumnElement[str], valid_until: date | None = None) -> sa.ColumnElement[str]:
    """JSON text of the price that a repricing put in force, or null. Nothing in it needs escaping."""
    amount = '{"amount":"' + as_text(table.c.price) + '","currency":"' + table.c.currency
    ending = '"}' if valid_until is None else f'","valid_until":"{valid_until}"}}'
    found: sa.ColumnElement[str] = amount + '","repricing":"' + repricing + ending
    return found
