"""Price changes in the audit trail."""

from datetime import datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.audit import Action, Actor
from service.store.engine.column_types import as_text
from service.store.engine.tables import changes, price_changes
from service.store.listing.prices_in_force import of_repricing
from service.store.workshop.audit import act_columns


def record_prices(
    connection: sa.Connection,
    workshop_id: UUID,
    repricing_id: UUID,
    span: tuple[str, str],
    act: tuple[UUID, datetime, Actor],
    *,
    is_rolled_back: bool = False,
) -> None:
    """Record the prices that a repricing, or its rollback, changes on a span of listings.

    The database copies them from the repricing's own rows: there may be a hundred thousand.

    Args:
        span: the first and the last listing.
        act: id, time and actor.
        is_rolled_back: whether the earlier prices come back in force.
    """
    old = price_changes.alias("old")
    its_own, before_it = _price(price_changes), _price(old)
    values = {
        "workshop_id": price_changes.c.workshop_id,
        "subject": "listings/" + price_changes.c.listing + "/price",
        "action": sa.literal((Action.ROLLED_BACK if is_rolled_back else Action.REPRICED).value),
        "before": its_own if is_rolled_back else before_it,
        "after": before_it if is_rolled_back else its_own,
        **{name: sa.literal(value, changes.c[name].type) for name, value in act_columns(*act).items()},
    }
    prices = (
        sa.select(*values.values())
        .outerjoin_from(price_changes, old, _came_before(old, workshop_id))
        .where(of_repricing(workshop_id, repricing_id, span))
    )
    connection.execute(changes.insert().from_select(list(values), prices))


def _came_before(old: Any, workshop_id: UUID) -> sa.ColumnElement[bool]:
    """Joins the price that was in force before, on the same listing."""
    return sa.and_(
        old.c.workshop_id == workshop_id,
        old.c.repricing_id == price_changes.c.previous_id,
        old.c.listing == price_changes.c.listing,
    )


def _price(table: Any) -> sa.ColumnElement[str]:
    """JSON text of the price that a repricing put in force, or null. Nothing in it needs escaping."""
    digits = sa.func.replace(sa.cast(table.c.repricing_id, sa.String), "-", "")  # SQLite has the id without its dashes
    parts = [sa.func.substr(digits, start, length) for start, length in ((1, 8), (9, 4), (13, 4), (17, 4), (21, 12))]
    told = '{"amount":"' + as_text(table.c.price) + '","currency":"' + table.c.currency + '","repricing":"' + parts[0]
    for part in parts[1:]:
        told = told + "-" + part
    found: sa.ColumnElement[str] = told + '"}'
    return found
