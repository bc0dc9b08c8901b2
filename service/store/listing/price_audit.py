"""Price changes in the audit trail."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.audit import Action, Actor
from service.store.engine.column_types import as_text
from service.store.engine.tables import changes, price_changes
from service.store.listing.dated_prices import PricesSet
from service.store.workshop.audit import act_columns

_earlier = changes.alias("earlier")


def record_prices(
    connection: sa.Connection, prices: PricesSet, act: tuple[UUID, datetime, Actor], *, ends: date | None = None
) -> None:
    """Record the prices that a repricing sets for a day, or that its rollback takes back.

    The database copies them from the repricing's own rows: there may be a hundred thousand.

    Args:
        act: id, time and actor.
        ends: of a rollback, the day from which they no longer count.
    """
    subject = "listings/" + price_changes.c.listing + f"/price/{prices.valid_from}"
    replaced = _replaced_price(prices.workshop_id, subject)
    new = _price(prices.repricing_id)
    before, after = (replaced, new) if ends is None else (new, replaced)
    if ends is not None and ends > prices.valid_from:
        after = _price(prices.repricing_id, valid_until=ends)
    values = {
        "workshop_id": price_changes.c.workshop_id,
        "subject": subject,
        "action": sa.literal((Action.REPRICED if ends is None else Action.ROLLED_BACK).value),
        "before": before,
        "after": after,
        **{name: sa.literal(value, changes.c[name].type) for name, value in act_columns(*act).items()},
    }
    connection.execute(changes.insert().from_select(list(values), sa.select(*values.values()).where(prices.condition)))


def _replaced_price(workshop_id: UUID, subject: sa.ColumnElement[str]) -> sa.ColumnElement[Any]:
    """The price before of the same first day, as it was recorded when it was set; null if there was none."""
    found = sa.select(_earlier.c.after).where(
        _earlier.c.workshop_id == workshop_id,
        _earlier.c.change_id == price_changes.c.previous_id,
        _earlier.c.subject == subject,
    )
    return found.correlate(price_changes).scalar_subquery()


def _price(repricing_id: UUID, valid_until: date | None = None) -> sa.ColumnElement[str]:
    """JSON text of the price that a repricing put in force. Nothing in it needs escaping."""
    amount = '{"amount":"' + as_text(price_changes.c.price) + '","currency":"' + price_changes.c.currency
    ending = "" if valid_until is None else f'","valid_until":"{valid_until}'
    found: sa.ColumnElement[str] = amount + f'","repricing":"{repricing_id}{ending}"}}'
    return found
