"""What is in force on each listing on a day: the price, its bill of resources, and whether that may be out of date."""

from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

import sqlalchemy as sa

from service.domain.register import CONDITIONS
from service.domain.values.money import Money, in_currency
from service.domain.values.references import Thing
from service.store.engine import metering
from service.store.engine.column_types import as_text
from service.store.engine.tables import listing_prices, price_changes, registrations, uses
from service.store.listing.dated_prices import in_force_on
from service.store.registering.touched import resting_on

_READ = 100
"""Rows in memory at a time: few, so that they are freed before the garbage collector scans them."""
WRITTEN = 500
"""Rows written at a time."""
_COUNTING_WASTE = '{"pieces":"'
"""How a bill begins; before waste had a part of its own the pieces were a number, without quotes."""
_SPAN = 5_000
"""Most listings that one statement changes."""


class ListingRow(NamedTuple):
    """A listing with its price in force on a day, if it has one; read by the hundred thousand.

    Attributes:
        facts: what is registered, as plain data.
        repricing_id: the repricing that set its price, as text; None, like all that follows, without a price.
        is_stale: whether its bill of resources may be out of date.
        price: the price in force, as text.
        base_quantity: pieces that it is for.
        unit_cost: cost of a piece when the price was set, as text.
        margin_share: margin at that time.
        bill: bill of resources at that time, as JSON text.
        bill_now: a bill of resources computed since, if there is one.
    """

    code: str
    facts: dict[str, Any]
    repricing_id: str | None
    is_stale: bool | None
    price: str
    currency: str
    base_quantity: int
    unit_cost: str
    margin_share: str | None
    bill: str | None
    bill_now: str | None

    @property
    def known_bill(self) -> str | None:
        """The bill of resources of its standard batch, as JSON text; None if it has to be found anew."""
        text = None if self.is_stale else self.bill_now or self.bill
        return text if text is not None and text.startswith(_COUNTING_WASTE) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowing:
    """Which listings are read.

    Attributes:
        things: those that depend on one of these, of any collection; every listing if None.
        channel: those on this channel.
        product: those of this product.
    """

    things: Sequence[Thing] | None = None
    channel: str | None = None
    product: str | None = None


def _naming(workshop_id: UUID, collection: str, code: str) -> sa.Select[Any]:
    return sa.select(uses.c.code).where(
        uses.c.workshop_id == workshop_id,
        uses.c.collection == "listings",
        uses.c.used_collection == collection,
        uses.c.used_code == code,
    )


def _listings(workshop_id: UUID, narrowing: Narrowing, day: date) -> sa.Select[Any]:
    """The listings, each with the repricing that set its price of the day; before `narrowing.things` is applied."""
    set_by = in_force_on(workshop_id, registrations.c.code, day).label("set_by")
    found = sa.select(registrations.c.code, registrations.c.facts, set_by).where(
        registrations.c.workshop_id == workshop_id,
        registrations.c.collection == "listings",
        registrations.c.retired_at.is_(None),
    )
    for collection, code in (("channels", narrowing.channel), ("products", narrowing.product)):
        if code is not None:
            found = found.where(registrations.c.code.in_(_naming(workshop_id, collection, code)))
    return found


def _with_prices(
    workshop_id: UUID, listings: sa.Select[Any], codes: sa.BindParameter[Any] | None = None
) -> sa.Select[Any]:
    """The same listings by code, with what their prices are from; `codes` if they have some codes only."""
    # Sorted within, or PostgreSQL would look for what set the price once for each price that a listing ever had.
    found = listings.order_by(registrations.c.code).subquery("found")
    prices, changes = listing_prices.c, price_changes.c
    its_price = sa.and_(
        prices.workshop_id == workshop_id,
        prices.listing == found.c.code,
        prices.repricing_id == found.c.set_by,
        # Said of the prices too, or PostgreSQL would read those of all listings, each time.
        sa.true() if codes is None else prices.listing.in_(codes),
    )
    its_change = sa.and_(
        changes.workshop_id == workshop_id,
        changes.repricing_id == prices.repricing_id,
        changes.listing == prices.listing,
    )
    return (
        sa.select(
            found.c.code,
            found.c.facts,
            sa.cast(prices.repricing_id, sa.String),
            prices.is_stale,
            as_text(changes.price),
            changes.currency,
            changes.base_quantity,
            as_text(changes.unit_cost),
            changes.margin_share,
            changes.bill,
            prices.bill.label("bill_now"),
        )
        .select_from(found)
        .outerjoin(listing_prices, its_price)
        .outerjoin(price_changes, its_change)
        .order_by(found.c.code)
    )


def listings_with_prices(
    connection: sa.Connection, workshop_id: UUID, narrowing: Narrowing, day: date, after: str = ""
) -> Generator[list[ListingRow], None, None]:
    """The listings after the code `after`, with what is in force on the day; a hundred rows in memory at a time."""
    listings, code = _listings(workshop_id, narrowing, day), registrations.c.code
    if narrowing.things is None:
        for rows in _streamed(connection, _with_prices(workshop_id, listings.where(code > after)), _READ):
            yield [ListingRow._make(row) for row in rows]
        return
    # The codes are found and sorted first, without the wide columns.
    some: sa.BindParameter[Any] = sa.bindparam("codes", expanding=True)
    query = _with_prices(workshop_id, listings.where(code.in_(some)), some)
    for codes in _resting_codes(connection, workshop_id, narrowing.things, after, size=_READ):
        yield [ListingRow._make(row) for row in connection.execute(query, {"codes": codes})]


def prices_of(
    connection: sa.Connection, workshop_id: UUID, codes: Sequence[str], day: date
) -> dict[str, tuple[Money, int]]:
    """The price in force on the day, and the pieces that it is for, of those of the listings that have one."""
    some: sa.BindParameter[Any] = sa.bindparam("codes", expanding=True)
    listings = _listings(workshop_id, Narrowing(), day).where(registrations.c.code.in_(some))
    rows = map(ListingRow._make, connection.execute(_with_prices(workshop_id, listings, some), {"codes": codes}))
    priced = (row for row in rows if row.repricing_id is not None)
    return {row.code: (in_currency(Decimal(row.price), row.currency), row.base_quantity) for row in priced}


def _resting_codes(
    connection: sa.Connection, workshop_id: UUID, things: Sequence[Thing], after: str = "", *, size: int
) -> Iterator[list[str]]:
    """The listings that depend on one of the things, sorted by code after `after`, `size` at a time."""
    if not things:
        return
    resting = resting_on(workshop_id, things)
    query = sa.select(resting.c.code).where(resting.c.collection == "listings", resting.c.code > after)
    for rows in _streamed(connection, query.order_by(resting.c.code), size):
        yield [row.code for row in rows]


def _streamed(connection: sa.Connection, query: sa.Select[Any], size: int) -> Iterator[Sequence[sa.Row[Any]]]:
    """The rows, `size` at a time, with no more in memory; closing the iterator closes the server's cursor."""
    with connection.execute(query, execution_options={"yield_per": size}) as result:
        yield from result.partitions()


def in_batches(found: Iterable[Any], size: int) -> Iterator[list[Any]]:
    """The items in lists of at most `size`."""
    rows: list[Any] = []
    for each in found:
        rows.append(each)
        if len(rows) == size:
            yield rows
            rows = []
    if rows:
        yield rows


def mark_stale(connection: sa.Connection, workshop_id: UUID, *things: Thing) -> None:
    """Mark the listings whose bill of resources may change because these things changed."""
    changed = [thing for thing in things if thing.collection not in CONDITIONS]
    fresh = listing_prices.update().where(
        listing_prices.c.workshop_id == workshop_id, listing_prices.c.is_stale.is_(sa.false())
    )
    listing = listing_prices.c.listing
    affected: Iterator[sa.ColumnElement[bool]]
    if any(thing.collection == "overheads" for thing in changed):  # every product carries a share of them
        ours = listing_prices.c.workshop_id == workshop_id
        affected = (listing.between(*span) for span in spans(connection, listing, ours))
    else:
        resting = (_resting_codes(connection, workshop_id, some, size=_SPAN) for some in in_batches(changed, WRITTEN))
        affected = (listing.in_(codes) for each in resting for codes in each)
    for some in affected:
        connection.execute(fresh.where(some).values(is_stale=True))


def keep_bills(connection: sa.Connection, workshop_id: UUID, bills: Iterable[Mapping[str, str]]) -> None:
    """Store newly computed bills of resources beside the prices that they were computed for, which stay.

    Args:
        bills: listing, id of the repricing that set its price, and JSON text of each.
    """
    prices = listing_prices.c
    for rows in in_batches(bills, WRITTEN):
        sharing: dict[tuple[str, str], list[str]] = {}
        for row in rows:
            sharing.setdefault((row["repricing"], row["bill"]), []).append(row["listing"])
        ours = (
            prices.listing.in_([row["listing"] for row in rows]),
            prices.repricing_id.in_({UUID(repricing) for repricing, _ in sharing}),
        )
        with metering.replaced(connection, listing_prices, workshop_id, *ours):
            for (repricing, bill), listings in sharing.items():
                priced = prices.repricing_id == UUID(repricing), prices.listing.in_(listings)
                query = listing_prices.update().where(prices.workshop_id == workshop_id, *priced)
                connection.execute(query.values(bill=bill, is_stale=False))


def spans(
    connection: sa.Connection, listing: sa.Column[str], condition: sa.ColumnElement[bool]
) -> Iterator[tuple[str, str]]:
    """First and last of some thousand listings at a time, so that no statement exceeds its timeout."""
    after = ""
    while True:
        page = sa.select(listing).where(condition, listing > after).order_by(listing).limit(_SPAN).subquery()
        first, after = connection.execute(sa.select(sa.func.min(page.c.listing), sa.func.max(page.c.listing))).one()
        if first is None:
            return
        yield first, after
