"""What is in force on each listing: the price, its bill of resources, and whether the bill may be out of date."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

import sqlalchemy as sa

from service.domain.listing.listings import Listing
from service.domain.listing.repricing import COMING_INTO_FORCE
from service.domain.register import CONDITIONS
from service.domain.values.references import Thing
from service.store.engine.tables import listing_prices, price_changes, registrations, uses
from service.store.registering.touched import resting_on

_READ = 100
"""Rows in memory at a time: few, so that they are freed before the garbage collector scans them."""
WRITTEN = 500
"""Rows written at a time."""
_SPAN = 5_000
"""Most listings that one statement changes."""
COMING = sorted(each.value for each in COMING_INTO_FORCE)


class ListingRow(NamedTuple):
    """A listing with its price in force, if it has one; read by the hundred thousand.

    Attributes:
        facts: what is registered, as plain data.
        repricing_id: the repricing that set its price, as text; None, like all that follows, without a price.
        is_stale: whether its bill of resources may be out of date.
        price: the price in force.
        base_quantity: pieces that it is for.
        unit_cost: cost of a piece when the price was set.
        margin_share: margin at that time.
        bill: bill of resources at that time, as JSON text.
        bill_now: a bill of resources computed since, if there is one.
    """

    code: str
    facts: dict[str, Any]
    repricing_id: str | None
    is_stale: bool | None
    price: Decimal
    currency: str
    base_quantity: int
    unit_cost: Decimal
    margin_share: str | None
    bill: str | None
    bill_now: str | None


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


def _put_it_in_force(workshop_id: UUID) -> sa.ColumnElement[bool]:
    """Joins the change that set the price in force."""
    return sa.and_(
        price_changes.c.workshop_id == workshop_id,
        price_changes.c.repricing_id == listing_prices.c.repricing_id,
        price_changes.c.listing == listing_prices.c.listing,
    )


def _listings(workshop_id: UUID, narrowing: Narrowing) -> sa.Select[Any]:
    """All listings with what is in force on each, by code, before `narrowing.things` is applied."""
    found = (
        sa.select(
            registrations.c.code,
            registrations.c.facts,
            sa.cast(listing_prices.c.repricing_id, sa.String),
            listing_prices.c.is_stale,
            price_changes.c.price,
            price_changes.c.currency,
            price_changes.c.base_quantity,
            price_changes.c.unit_cost,
            price_changes.c.margin_share,
            price_changes.c.bill,
            listing_prices.c.bill.label("bill_now"),
        )
        .select_from(registrations)
        .outerjoin(
            listing_prices,
            sa.and_(listing_prices.c.workshop_id == workshop_id, listing_prices.c.listing == registrations.c.code),
        )
        .outerjoin(price_changes, _put_it_in_force(workshop_id))
        .where(
            registrations.c.workshop_id == workshop_id,
            registrations.c.collection == "listings",
            registrations.c.retired_at.is_(None),
        )
        .order_by(registrations.c.code)
    )
    for collection, code in (("channels", narrowing.channel), ("products", narrowing.product)):
        if code is not None:
            found = found.where(registrations.c.code.in_(_naming(workshop_id, collection, code)))
    return found


def listings_with_prices(
    connection: sa.Connection, workshop_id: UUID, narrowing: Narrowing, after: str
) -> Iterator[list[ListingRow]]:
    """The listings after the code `after`, with what is in force on each; a hundred rows in memory at a time."""
    query = _listings(workshop_id, narrowing)
    if narrowing.things is None:
        for rows in _streamed(connection, query.where(registrations.c.code > after), _READ):
            yield [ListingRow._make(row) for row in rows]
        return
    # The codes are found and sorted first, without the wide columns.
    for codes in _resting_codes(connection, workshop_id, narrowing.things, after, size=_READ):
        yield [ListingRow._make(row) for row in connection.execute(query.where(registrations.c.code.in_(codes)))]


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


def of_repricing(workshop_id: UUID, repricing_id: UUID, span: tuple[str, str]) -> sa.ColumnElement[bool]:
    """The prices that a repricing put in force on a span of listings."""
    return sa.and_(
        price_changes.c.workshop_id == workshop_id,
        price_changes.c.repricing_id == repricing_id,
        price_changes.c.listing.between(*span),
        price_changes.c.decision.in_(COMING),
    )


def put_in_force(
    connection: sa.Connection,
    workshop_id: UUID,
    repricing_id: UUID,
    span: tuple[str, str],
    whose: sa.Column[UUID] = price_changes.c.repricing_id,
) -> None:
    """On a span of listings that a repricing changed, put its prices or the earlier ones in force.

    Earlier prices are marked stale: their bills of resources may have changed since.
    """
    changed = sa.select(price_changes.c.listing).where(of_repricing(workshop_id, repricing_id, span))
    connection.execute(
        listing_prices.delete().where(
            listing_prices.c.workshop_id == workshop_id,
            listing_prices.c.listing.between(*span),
            listing_prices.c.listing.in_(changed),
        )
    )
    is_stale = sa.literal(whose is price_changes.c.previous_id)
    connection.execute(
        listing_prices.insert().from_select(
            ["workshop_id", "listing", "repricing_id", "is_stale"],
            changed.with_only_columns(
                price_changes.c.workshop_id, price_changes.c.listing, whose, is_stale, maintain_column_froms=True
            ).where(whose.is_not(None)),
        )
    )


def mark_stale(connection: sa.Connection, workshop_id: UUID, thing: Thing) -> None:
    """Mark the listings whose bill of resources may change because this thing changed."""
    if thing.collection in CONDITIONS:
        return
    fresh = listing_prices.update().where(
        listing_prices.c.workshop_id == workshop_id, listing_prices.c.is_stale.is_(sa.false())
    )
    listing = listing_prices.c.listing
    affected: Iterator[sa.ColumnElement[bool]]
    if thing.collection == "overheads":  # every product carries a share of them
        ours = listing_prices.c.workshop_id == workshop_id
        affected = (listing.between(*span) for span in spans(connection, listing, ours))
    else:
        resting = _resting_codes(connection, workshop_id, [thing], size=_SPAN)
        affected = (listing.in_(codes) for codes in resting)
    for some in affected:
        connection.execute(fresh.where(some).values(is_stale=True))


def keep_bills(connection: sa.Connection, workshop_id: UUID, bills: Iterable[Mapping[str, str]]) -> None:
    """Store newly computed bills of resources: listing and JSON text of each. The prices in force stay."""
    query = (
        listing_prices.update()
        .where(listing_prices.c.workshop_id == workshop_id, listing_prices.c.listing == sa.bindparam("of_listing"))
        .values(bill=sa.bindparam("found"), is_stale=False)
    )
    for rows in in_batches(bills, WRITTEN):
        connection.execute(query, [{"of_listing": row["listing"], "found": row["bill"]} for row in rows])


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


class PriceOnListing(NamedTuple):
    """A price in force, and the pieces that it is for."""

    amount: Decimal
    currency: str
    base_quantity: int

    def is_of(self, listing: Listing) -> bool:
        """Whether the listing still asks such a price, in this currency and for so many pieces."""
        return (self.currency, self.base_quantity) == (listing.currency, listing.base_quantity)


def prices_in_force(connection: sa.Connection, workshop_id: UUID, codes: Iterable[str]) -> dict[str, PriceOnListing]:
    """The prices in force on those of the listings that have one."""
    rows = connection.execute(
        sa.select(*(price_changes.c[name] for name in ("listing", "price", "currency", "base_quantity")))
        .join_from(
            listing_prices,
            price_changes,
            _put_it_in_force(workshop_id),
            isouter=True,  # there always is one, but with an inner join SQLite reads the listings' whole histories
        )
        .where(listing_prices.c.workshop_id == workshop_id, listing_prices.c.listing.in_(list(codes)))
    )
    return {row.listing: PriceOnListing(row.price, row.currency, row.base_quantity) for row in rows}
