"""Price changes in the audit trail."""

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
    earlier, old = repricings.alias("earlier"), price_changes.alias("old")
    new, replaced = _price(price_changes), _price(old)
    before, after = (replaced, new) if ends is None else (new, replaced)
    if ends is not None and ends > prices.valid_from:
        after = _price(price_changes, valid_until=ends)
    values = {
        "workshop_id": price_changes.c.workshop_id,
        "subject": "listings/" + price_changes.c.listing + f"/price/{prices.valid_from}",
        "action": sa.literal((Action.REPRICED if ends is None else Action.ROLLED_BACK).value),
        "before": before,
        "after": after,
        **{name: sa.literal(value, changes.c[name].type) for name, value in act_columns(*act).items()},
    }
    set_before = (
        sa.select(*values.values())
        .outerjoin_from(price_changes, earlier, _set_for_the_same_day(earlier, prices))
        .outerjoin(old, _its_price(old, earlier, prices.workshop_id))
        .where(prices.condition)
    )
    connection.execute(changes.insert().from_select(list(values), set_before))


def _set_for_the_same_day(earlier: Any, prices: PricesSet) -> sa.ColumnElement[bool]:
    """Joins the repricing whose price is replaced, if that was set for the same day."""
    return sa.and_(
        earlier.c.workshop_id == prices.workshop_id,
        earlier.c.repricing_id == price_changes.c.previous_id,
        earlier.c.valid_from == prices.valid_from,
    )


def _its_price(old: Any, earlier: Any, workshop_id: UUID) -> sa.ColumnElement[bool]:
    """Joins its price on the same listing."""
    return sa.and_(
        old.c.workshop_id == workshop_id,
        old.c.repricing_id == earlier.c.repricing_id,
        old.c.listing == price_changes.c.listing,
    )


def _price(table: Any, valid_until: date | None = None) -> sa.ColumnElement[str]:
    """JSON text of the price that a repricing put in force, or null. Nothing in it needs escaping."""
    digits = sa.func.replace(sa.cast(table.c.repricing_id, sa.String), "-", "")  # SQLite has the id without its dashes
    parts = [sa.func.substr(digits, start, length) for start, length in ((1, 8), (9, 4), (13, 4), (17, 4), (21, 12))]
    told = '{"amount":"' + as_text(table.c.price) + '","currency":"' + table.c.currency + '","repricing":"' + parts[0]
    for part in parts[1:]:
        told = told + "-" + part
    found: sa.ColumnElement[str] = told + ('"}' if valid_until is None else f'","valid_until":"{valid_until}"}}')
    return found
