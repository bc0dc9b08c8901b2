"""Prices by the day that they are in force from, as rates are, and until the day on which they are rolled back."""

from collections.abc import Sequence
from datetime import date
from typing import NamedTuple
from uuid import UUID

import sqlalchemy as sa

from service.domain.listing.repricing import COMING_INTO_FORCE
from service.domain.values.units import Unit
from service.encoding import plain_data
from service.store.engine.tables import listing_prices, price_changes

COMING = sorted(each.value for each in COMING_INTO_FORCE)
_dated = listing_prices.alias("dated")
_SOME = 500


def in_force_on(workshop_id: UUID, listing: sa.ColumnElement[str], day: date) -> sa.ScalarSelect[UUID]:
    """The repricing whose price is in force on a listing on the day: of the latest first day, the one set last."""
    return (
        sa.select(_dated.c.repricing_id)
        .where(
            _dated.c.workshop_id == workshop_id,
            _dated.c.listing == listing,
            _dated.c.valid_from <= day,
            sa.or_(_dated.c.valid_until.is_(None), _dated.c.valid_until > day),
        )
        .order_by(_dated.c.valid_from.desc(), _dated.c.revision.desc())
        .limit(1)
        .scalar_subquery()
    )


def units_of_prices(connection: sa.Connection, workshop_id: UUID, codes: Sequence[str]) -> dict[str, Unit]:
    """By listing the unit of the product that it had prices of, in force or not; a listing has those of one unit."""
    newest = (
        sa.select(_dated.c.repricing_id)
        .where(_dated.c.workshop_id == workshop_id, _dated.c.listing == listing_prices.c.listing)
        .order_by(_dated.c.revision.desc())
        .limit(1)
        .scalar_subquery()
    )
    its_change = sa.and_(
        price_changes.c.workshop_id == workshop_id,
        price_changes.c.repricing_id == listing_prices.c.repricing_id,
        price_changes.c.listing == listing_prices.c.listing,
    )
    bill = sa.func.coalesce(listing_prices.c.bill, price_changes.c.bill).label("bill")
    priced = sa.select(listing_prices.c.listing, bill).join_from(listing_prices, price_changes, its_change)
    ours = listing_prices.c.workshop_id == workshop_id, listing_prices.c.repricing_id == newest
    found: dict[str, Unit] = {}
    for place in range(0, len(codes), _SOME):
        some = listing_prices.c.listing.in_(codes[place : place + _SOME])
        for row in connection.execute(priced.where(*ours, some)):
            found[row.listing] = Unit(plain_data(row.bill).get("unit", "piece"))
    return found


class PricesSet(NamedTuple):
    """The prices that a repricing sets from a day on, of the listings from one code to another."""

    workshop_id: UUID
    repricing_id: UUID
    valid_from: date
    span: tuple[str, str]

    @property
    def condition(self) -> sa.ColumnElement[bool]:
        """Which changes they are."""
        return sa.and_(
            price_changes.c.workshop_id == self.workshop_id,
            price_changes.c.repricing_id == self.repricing_id,
            price_changes.c.listing.between(*self.span),
            price_changes.c.decision.in_(COMING),
        )


def put_in_force(connection: sa.Connection, prices: PricesSet, revision: int) -> None:
    """Put prices in force from their day on; those of other days stay."""
    values = {
        "workshop_id": price_changes.c.workshop_id,
        "listing": price_changes.c.listing,
        "repricing_id": price_changes.c.repricing_id,
        "valid_from": sa.literal(prices.valid_from, sa.Date),
        "revision": sa.literal(revision, sa.BigInteger),
        "is_stale": sa.false(),
    }
    chosen = sa.select(*values.values()).where(prices.condition)
    connection.execute(listing_prices.insert().from_select([*values], chosen))


def end(connection: sa.Connection, prices: PricesSet, day: date) -> None:
    """End prices; from the day on, those that were set before count again."""
    connection.execute(
        listing_prices.update()
        .where(
            listing_prices.c.workshop_id == prices.workshop_id,
            listing_prices.c.repricing_id == prices.repricing_id,
            listing_prices.c.listing.in_(sa.select(price_changes.c.listing).where(prices.condition)),
        )
        .values(valid_until=day)
    )


def count_superseded(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID, day: date) -> int:
    """How many of the prices that a repricing set are not in force on the day."""
    others = in_force_on(workshop_id, price_changes.c.listing, day).is_distinct_from(repricing_id)
    counted = sa.select(sa.func.count()).where(
        price_changes.c.workshop_id == workshop_id,
        price_changes.c.repricing_id == repricing_id,
        price_changes.c.decision.in_(COMING),
        others,
    )
    return int(connection.execute(counted).scalar_one())
