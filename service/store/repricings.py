"""Repricings, the prices that they put in force, and those in force before."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any, NamedTuple
from uuid import UUID

import sqlalchemy as sa

from service.domain.exchange import ExchangeRates
from service.domain.money import Money, in_currency
from service.domain.price_change import PriceChange, RepricingFigures
from service.domain.price_history import PriceHistoryEntry
from service.domain.rate_table import RateTable
from service.domain.rates import RateCard
from service.domain.repricing import COMING_INTO_FORCE, RepricingRequest
from service.encoding import from_text, to_text
from service.store.tables import listing_prices, price_changes, registrations, repricings, uses
from service.store.touched import resting_on

_READ = 100
"""How many rows are in memory at a time: few, so that what is made of them is gone before it is looked through for
garbage."""
_WRITTEN = 500
"""How many rows are written at a time."""
_SPAN = 5_000
"""How many listings one statement changes at most."""
_COMING = sorted(each.value for each in COMING_INTO_FORCE)
_NO_MORE_THAN_CONDITIONS = frozenset({"taxes", "channels", "shipping-services"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Repricing:
    """A repricing as it was applied.

    Attributes:
        id: rising with time.
        tag: of the state and the request it was computed from.
        applied_at: when, UTC.
        applied_by: name of the key.
        rolled_back_at: when the prices before it were put back, if they were.
        rolled_back_by: name of the key.
        request: what was asked for, with its day.
        figures: what was found, all listings together.
    """

    id: UUID
    tag: str
    applied_at: datetime
    applied_by: str
    rolled_back_at: datetime | None
    rolled_back_by: str | None
    request: RepricingRequest
    figures: RepricingFigures


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingBasis:
    """The rates that a repricing was computed with, as far as it used them.

    Attributes:
        table: the unit rates.
        card: the terms that they follow from, and those of the sale.
        exchange: the exchange rates.
    """

    table: RateTable
    card: RateCard
    exchange: ExchangeRates


class ListingRow(NamedTuple):
    """A listing with the price in force on it, if there is one; read by the hundred thousand.

    Attributes:
        code: its code.
        facts: what is registered, as JSON text.
        repricing_id: the repricing that its price is from, as text; with what follows None where it has none.
        is_stale: whether the bill may no longer be what a batch consumes.
        price: the price in force.
        currency: of the price.
        unit_cost: what a piece cost when it was found.
        margin_share: what it left then.
        bill: what a batch consumed then, as JSON text.
        bill_now: what a batch was found to consume since.
    """

    code: str
    facts: str
    repricing_id: str | None
    is_stale: bool | None
    price: str
    currency: str
    unit_cost: str
    margin_share: str | None
    bill: str | None
    bill_now: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Narrowing:
    """Which listings are looked at.

    Attributes:
        things: listings that rest on one of these, by collection and code; every listing if None.
        channel: on this channel.
        product: of this product.
    """

    things: Sequence[tuple[str, str]] | None = None
    channel: str | None = None
    product: str | None = None


def _naming(workshop_id: UUID, collection: str, code: str) -> sa.Select[Any]:
    return sa.select(uses.c.code).where(
        uses.c.workshop_id == workshop_id,
        uses.c.collection == "listings",
        uses.c.used_collection == collection,
        uses.c.used_code == code,
    )


def _listings(workshop_id: UUID, narrowing: Narrowing) -> sa.Select[Any]:
    """The listings with what is in force on each, by code, whatever they rest on."""
    found = (
        sa.select(
            registrations.c.code,
            registrations.c.facts,
            sa.cast(listing_prices.c.repricing_id, sa.String),
            listing_prices.c.is_stale,
            price_changes.c.price,
            price_changes.c.currency,
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
        .outerjoin(
            price_changes,
            sa.and_(
                price_changes.c.workshop_id == workshop_id,
                price_changes.c.repricing_id == listing_prices.c.repricing_id,
                price_changes.c.listing == listing_prices.c.listing,
            ),
        )
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
    """The listings with what is in force on each, by code, some hundred rows at a time and no more in memory.

    Args:
        after: beyond this code.
    """
    query = _listings(workshop_id, narrowing)
    if narrowing.things is None:
        for rows in _streamed(connection, query.where(registrations.c.code > after)):
            yield [ListingRow._make(row) for row in rows]
        return
    # The codes are found first, and sorted without what is to be read of each.
    for codes in _resting_codes(connection, workshop_id, narrowing.things, after):
        yield [ListingRow._make(row) for row in connection.execute(query.where(registrations.c.code.in_(codes)))]


def _resting_codes(
    connection: sa.Connection, workshop_id: UUID, things: Sequence[tuple[str, str]], after: str = ""
) -> Iterator[list[str]]:
    """The listings that rest on one of the things, by code and beyond a code, some hundred at a time."""
    if not things:
        return
    resting = resting_on(workshop_id, things)
    query = sa.select(resting.c.code).where(resting.c.collection == "listings", resting.c.code > after)
    for rows in _streamed(connection, query.order_by(resting.c.code)):
        yield [row.code for row in rows]


def _streamed(connection: sa.Connection, query: sa.Select[Any]) -> Iterator[Sequence[sa.Row[Any]]]:
    """The rows, some hundred at a time and no more in memory; the server's cursor ends with whoever reads them."""
    with connection.execute(query, execution_options={"yield_per": _READ}) as result:
        yield from result.partitions()


def add_repricing(
    connection: sa.Connection,
    workshop_id: UUID,
    repricing: Repricing,
    basis: RepricingBasis,
    changes: Iterable[Mapping[str, Any]],
) -> None:
    """Keep a repricing with every change, and put its prices in force.

    Args:
        connection: a transaction that writes.
        workshop_id: whose it is.
        repricing: what was found, all listings together.
        basis: the rates it was found with.
        changes: a row for each, by listing, without its workshop and repricing; ids as text.
    """
    connection.execute(
        repricings.insert(),
        {
            "workshop_id": workshop_id,
            "repricing_id": repricing.id,
            "as_of": repricing.request.as_of,
            "tag": repricing.tag,
            "applied_at": repricing.applied_at,
            "applied_by": repricing.applied_by,
            "request": to_text(repricing.request),
            "figures": to_text(repricing.figures),
            "basis": to_text(basis),
        },
    )
    key = {"workshop_id": workshop_id, "repricing_id": repricing.id}
    for rows in _by(changes, _WRITTEN):
        connection.execute(
            price_changes.insert(), [{**key, **row, "previous_id": _id(row["previous_id"])} for row in rows]
        )
        _put_in_force(connection, workshop_id, repricing.id, (rows[0]["listing"], rows[-1]["listing"]))


def _id(text: str | None) -> UUID | None:
    return None if text is None else UUID(text)


def _by(found: Iterable[Any], size: int) -> Iterator[list[Any]]:
    rows: list[Any] = []
    for each in found:
        rows.append(each)
        if len(rows) == size:
            yield rows
            rows = []
    if rows:
        yield rows


def _put_in_force(
    connection: sa.Connection,
    workshop_id: UUID,
    repricing_id: UUID,
    span: tuple[str, str],
    whose: sa.Column[UUID] = price_changes.c.repricing_id,
) -> None:
    """In place of the prices that a repricing changed, from one listing to another, its own or those before them.

    What a batch consumes may have changed since those before were found, so that is to be found anew.
    """
    changed = sa.select(price_changes.c.listing).where(
        price_changes.c.workshop_id == workshop_id,
        price_changes.c.repricing_id == repricing_id,
        price_changes.c.listing.between(*span),
        price_changes.c.decision.in_(_COMING),
    )
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


def mark_stale(connection: sa.Connection, workshop_id: UUID, collection: str, code: str) -> None:
    """What the batches of listings consume may be another now that this is: it is to be found anew."""
    if collection in _NO_MORE_THAN_CONDITIONS:
        return
    fresh = listing_prices.update().where(
        listing_prices.c.workshop_id == workshop_id, listing_prices.c.is_stale.is_(sa.false())
    )
    listing = listing_prices.c.listing
    affected: Iterator[sa.ColumnElement[bool]]
    if collection == "overheads":  # which every product has a share of
        spans = _spans(connection, listing, listing_prices.c.workshop_id == workshop_id)
        affected = (listing.between(*span) for span in spans)
    else:
        affected = (listing.in_(codes) for codes in _resting_codes(connection, workshop_id, [(collection, code)]))
    for some in affected:
        connection.execute(fresh.where(some).values(is_stale=True))


def keep_bills(connection: sa.Connection, workshop_id: UUID, bills: Iterable[Mapping[str, str]]) -> None:
    """What the batches of listings consume, found anew; the prices in force stay.

    Args:
        bills: the listing and the bill's JSON text of each.
    """
    query = (
        listing_prices.update()
        .where(listing_prices.c.workshop_id == workshop_id, listing_prices.c.listing == sa.bindparam("of_listing"))
        .values(bill=sa.bindparam("found"), is_stale=False)
    )
    for rows in _by(bills, _WRITTEN):
        connection.execute(query, [{"of_listing": row["listing"], "found": row["bill"]} for row in rows])


def _in_utc(at: Any) -> Any:
    """SQLite does not know a moment's zone; it is UTC."""
    return at if at is None or at.tzinfo else at.replace(tzinfo=UTC)


_SHOWN = [column for column in repricings.c if column.name != "basis"]


def _repricing(row: Any) -> Repricing:
    return Repricing(
        id=row.repricing_id,
        tag=row.tag,
        applied_at=_in_utc(row.applied_at),
        applied_by=row.applied_by,
        rolled_back_at=_in_utc(row.rolled_back_at),
        rolled_back_by=row.rolled_back_by,
        request=from_text(row.request, RepricingRequest),
        figures=from_text(row.figures, RepricingFigures),
    )


def find_repricing(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID) -> Repricing | None:
    """The repricing, without its basis."""
    row = connection.execute(
        sa.select(*_SHOWN).where(repricings.c.workshop_id == workshop_id, repricings.c.repricing_id == repricing_id)
    ).first()
    return None if row is None else _repricing(row)


def get_basis(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID) -> RepricingBasis:
    """The rates that an existing repricing was computed with."""
    stored = connection.execute(
        sa.select(repricings.c.basis).where(
            repricings.c.workshop_id == workshop_id, repricings.c.repricing_id == repricing_id
        )
    ).scalar_one()
    return from_text(stored, RepricingBasis)


def page_of_repricings(
    connection: sa.Connection, workshop_id: UUID, *, before: UUID | None, limit: int
) -> list[Repricing]:
    """Newest first, beyond the repricing `before`."""
    query = sa.select(*_SHOWN).where(repricings.c.workshop_id == workshop_id)
    if before is not None:
        query = query.where(repricings.c.repricing_id < before)
    rows = connection.execute(query.order_by(repricings.c.repricing_id.desc()).limit(limit))
    return [_repricing(row) for row in rows]


def page_of_changes(
    connection: sa.Connection, workshop_id: UUID, repricing_id: UUID, *, after: str, limit: int
) -> list[tuple[str, str]]:
    """The listing and the JSON text of each change, by listing, beyond the listing `after`."""
    rows = connection.execute(
        sa.select(price_changes.c.listing, price_changes.c.change)
        .where(
            price_changes.c.workshop_id == workshop_id,
            price_changes.c.repricing_id == repricing_id,
            price_changes.c.listing > after,
        )
        .order_by(price_changes.c.listing)
        .limit(limit)
    )
    return [(row.listing, row.change) for row in rows]


def count_superseded(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID) -> int:
    """How many of the prices that a repricing put in force are so no more."""
    still = sa.exists().where(
        listing_prices.c.workshop_id == workshop_id,
        listing_prices.c.listing == price_changes.c.listing,
        listing_prices.c.repricing_id == repricing_id,
    )
    return int(
        connection.execute(
            sa.select(sa.func.count()).where(
                price_changes.c.workshop_id == workshop_id,
                price_changes.c.repricing_id == repricing_id,
                price_changes.c.decision.in_(_COMING),
                ~still,
            )
        ).scalar_one()
    )


def roll_back(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID, at: datetime, by: str) -> None:
    """Put the prices in force again that were so before; all of its own are in force."""
    ours = sa.and_(price_changes.c.workshop_id == workshop_id, price_changes.c.repricing_id == repricing_id)
    for span in _spans(connection, price_changes.c.listing, ours):
        _put_in_force(connection, workshop_id, repricing_id, span, price_changes.c.previous_id)
    connection.execute(
        repricings.update()
        .where(repricings.c.workshop_id == workshop_id, repricings.c.repricing_id == repricing_id)
        .values(rolled_back_at=at, rolled_back_by=by)
    )


def _spans(
    connection: sa.Connection, listing: sa.Column[str], condition: sa.ColumnElement[bool]
) -> Iterator[tuple[str, str]]:
    """First and last of some thousand listings at a time, so that no statement runs into its timeout."""
    after = ""
    while True:
        page = sa.select(listing).where(condition, listing > after).order_by(listing).limit(_SPAN).subquery()
        first, after = connection.execute(sa.select(sa.func.min(page.c.listing), sa.func.max(page.c.listing))).one()
        if first is None:
            return
        yield first, after


def page_of_history(
    connection: sa.Connection, workshop_id: UUID, listing: str, *, before: UUID | None, limit: int
) -> list[PriceHistoryEntry]:
    """The prices that came into force on a listing, newest first, beyond the repricing `before`."""
    query = (
        sa.select(
            price_changes.c.change,
            repricings.c.repricing_id,
            repricings.c.as_of,
            repricings.c.applied_at,
            repricings.c.applied_by,
            repricings.c.rolled_back_at,
        )
        .join_from(
            price_changes,
            repricings,
            sa.and_(repricings.c.workshop_id == workshop_id, repricings.c.repricing_id == price_changes.c.repricing_id),
        )
        .where(
            price_changes.c.workshop_id == workshop_id,
            price_changes.c.listing == listing,
            price_changes.c.decision.in_(_COMING),
        )
        .order_by(price_changes.c.repricing_id.desc())
        .limit(limit)
    )
    if before is not None:
        query = query.where(price_changes.c.repricing_id < before)
    return [_entry(row) for row in connection.execute(query)]


def _entry(row: Any) -> PriceHistoryEntry:
    new = from_text(row.change, PriceChange).new
    assert new is not None  # it came into force
    return PriceHistoryEntry(
        repricing=row.repricing_id,
        as_of=row.as_of,
        applied_at=_in_utc(row.applied_at),
        applied_by=row.applied_by,
        rolled_back_at=_in_utc(row.rolled_back_at),
        price=new.price,
        unit_cost=new.unit_cost,
        margin_share=new.margin_share,
    )


def prices_in_force(connection: sa.Connection, workshop_id: UUID, codes: Iterable[str]) -> dict[str, Money]:
    """The price in force on each of some listings that has one."""
    rows = connection.execute(
        sa.select(price_changes.c.listing, price_changes.c.price, price_changes.c.currency)
        .join_from(
            listing_prices,
            price_changes,
            sa.and_(
                price_changes.c.workshop_id == workshop_id,
                price_changes.c.repricing_id == listing_prices.c.repricing_id,
                price_changes.c.listing == listing_prices.c.listing,
            ),
            isouter=True,  # there always is one; but SQLite would begin with the listings' whole histories
        )
        .where(listing_prices.c.workshop_id == workshop_id, listing_prices.c.listing.in_(list(codes)))
    )
    return {row.listing: in_currency(Decimal(row.price), row.currency) for row in rows}
