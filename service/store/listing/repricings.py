"""Repricings, the prices that they put in force, and those in force before."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from uuid_utils.compat import uuid7

from service.domain.audit import Actor
from service.domain.costing.rate_card import RateCard
from service.domain.costing.rate_table import RateTable
from service.domain.currency.exchange_rates import ExchangeRates
from service.domain.listing.price_change import PriceChange, RepricingFigures
from service.domain.listing.price_history import PriceHistoryEntry
from service.domain.listing.repricing import RepricingRequest
from service.encoding import from_text, to_text
from service.store.engine.instants import find_in_utc, in_utc
from service.store.engine.tables import listing_prices, price_changes, repricings
from service.store.listing.price_audit import record_prices
from service.store.listing.prices_in_force import COMING, WRITTEN, in_batches, put_in_force, spans


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


def add_repricing(
    connection: sa.Connection,
    workshop_id: UUID,
    by: Actor,
    repricing: Repricing,
    basis: RepricingBasis,
    changes: Iterable[Mapping[str, Any]],
) -> None:
    """Keep a repricing with every change, and put its prices in force.

    Args:
        connection: a transaction that writes.
        workshop_id: whose it is.
        by: who applies it.
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
    for rows in in_batches(changes, WRITTEN):
        connection.execute(
            price_changes.insert(), [{**key, **row, "previous_id": _id(row["previous_id"])} for row in rows]
        )
        span, act = (rows[0]["listing"], rows[-1]["listing"]), (repricing.id, repricing.applied_at, by)
        put_in_force(connection, workshop_id, repricing.id, span)
        record_prices(connection, workshop_id, repricing.id, span, act)


def _id(text: str | None) -> UUID | None:
    return None if text is None else UUID(text)


_SHOWN = [column for column in repricings.c if column.name != "basis"]


def _repricing(row: Any) -> Repricing:
    return Repricing(
        id=row.repricing_id,
        tag=row.tag,
        applied_at=in_utc(row.applied_at),
        applied_by=row.applied_by,
        rolled_back_at=find_in_utc(row.rolled_back_at),
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
                price_changes.c.decision.in_(COMING),
                ~still,
            )
        ).scalar_one()
    )


def roll_back(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID, at: datetime, by: Actor) -> None:
    """Put the prices in force again that were so before; all of its own are in force."""
    ours = sa.and_(price_changes.c.workshop_id == workshop_id, price_changes.c.repricing_id == repricing_id)
    act = (uuid7(), at, by)
    for span in spans(connection, price_changes.c.listing, ours):
        put_in_force(connection, workshop_id, repricing_id, span, price_changes.c.previous_id)
        record_prices(connection, workshop_id, repricing_id, span, act, is_rolled_back=True)
    connection.execute(
        repricings.update()
        .where(repricings.c.workshop_id == workshop_id, repricings.c.repricing_id == repricing_id)
        .values(rolled_back_at=at, rolled_back_by=by.name)
    )


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
            price_changes.c.decision.in_(COMING),
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
        applied_at=in_utc(row.applied_at),
        applied_by=row.applied_by,
        rolled_back_at=find_in_utc(row.rolled_back_at),
        price=new.price,
        unit_cost=new.unit_cost,
        margin_share=new.margin_share,
    )
