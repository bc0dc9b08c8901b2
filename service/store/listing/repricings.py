"""Repricings, the prices that they put in force, and the earlier prices."""

from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.audit import Actor
from service.domain.listing.price_change import RepricingBasis, RepricingFigures
from service.domain.listing.price_history import PriceHistoryEntry
from service.domain.listing.repricing import RepricingRequest
from service.store.engine import metering
from service.store.engine.column_types import as_text
from service.store.engine.stored_rows import as_stored
from service.store.engine.tables import changes as recorded
from service.store.engine.tables import listing_prices, price_changes, repricings
from service.store.listing.dated_prices import COMING, PricesSet, end, put_in_force
from service.store.listing.price_audit import record_prices
from service.store.listing.prices_in_force import WRITTEN, in_batches, spans
from service.store.workshop.rising_ids import next_id
from service.store.workshop.workshops import next_revision


@dataclass(frozen=True, slots=True, kw_only=True)
class Repricing:
    """A repricing as it was applied.

    Attributes:
        id: rising with time.
        tag: of the state and the request it was computed from.
        valid_from: the first day of its prices.
        applied_at: when, UTC.
        rolled_back_at: when the earlier prices were restored, if they were.
        request: what was asked for, with its day.
        figures: the result for all listings together.
    """

    id: UUID
    tag: str
    valid_from: date
    applied_at: datetime
    applied_by: str
    rolled_back_at: datetime | None
    rolled_back_by: str | None
    request: RepricingRequest
    figures: RepricingFigures


_FIELDS = [field.name for field in fields(Repricing) if field.name != "id"]
_SHOWN = [repricings.c.repricing_id.label("id"), *(repricings.c[name] for name in _FIELDS)]


def next_act(connection: sa.Connection, workshop_id: UUID) -> UUID:
    """The id of a new repricing, which is that of its act in the audit trail too, or of a rollback."""
    return next_id(connection, workshop_id, repricings.c.repricing_id, recorded.c.change_id)


def add_repricing(
    connection: sa.Connection,
    workshop_id: UUID,
    by: Actor,
    repricing: Repricing,
    basis: RepricingBasis,
    changes: Iterable[dict[str, Any]],
) -> None:
    """Store a repricing with every change, put its prices in force from its day on, and raise the revision.

    Args:
        changes: one row each in stored form, sorted by listing, without workshop and repricing; ids as text.
    """
    connection.execute(
        repricings.insert(),
        {
            **{name: getattr(repricing, name) for name in _FIELDS},
            "workshop_id": workshop_id,
            "repricing_id": repricing.id,
            "as_of": repricing.request.as_of,
            "basis": basis,
        },
    )
    key = {"workshop_id": workshop_id, "repricing_id": repricing.id}
    revision, act = next_revision(connection, workshop_id), (repricing.id, repricing.applied_at, by)
    metering.added(connection, repricings, workshop_id, repricings.c.repricing_id == repricing.id)
    insertion, ids = as_stored.tables[price_changes.name].insert(), dict[str | None, UUID | None]({None: None})
    for rows in in_batches(changes, WRITTEN):
        for row in rows:
            told = row["previous_id"]
            if told not in ids:
                ids[told] = UUID(told)
            row.update(key, previous_id=ids[told])
        connection.execute(insertion, rows)
        size = sum(metering.size_as_stored(price_changes, row) for row in rows)
        metering.count(connection, workshop_id, len(rows), size)
    for span in spans(connection, price_changes.c.listing, _of(price_changes, workshop_id, repricing.id)):
        prices = PricesSet(workshop_id, repricing.id, repricing.valid_from, span)
        put_in_force(connection, prices, revision)
        record_prices(connection, prices, act)
    metering.added(connection, listing_prices, workshop_id, listing_prices.c.repricing_id == repricing.id)
    metering.added(connection, recorded, workshop_id, recorded.c.change_id == repricing.id)


def find_repricing(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID) -> Repricing | None:
    """The repricing, without its basis."""
    row = connection.execute(sa.select(*_SHOWN).where(_of(repricings, workshop_id, repricing_id))).first()
    return None if row is None else Repricing(**row._mapping)


def days_set_after(connection: sa.Connection, workshop_id: UUID, day: date) -> list[date]:
    """The first days of the prices that are set for later days."""
    ours = repricings.c.workshop_id == workshop_id, repricings.c.valid_from > day, repricings.c.rolled_back_at.is_(None)
    days = sa.select(repricings.c.valid_from).distinct().where(*ours).order_by(repricings.c.valid_from)
    return list(connection.execute(days).scalars())


def _of(table: sa.Table, workshop_id: UUID, repricing_id: UUID) -> sa.ColumnElement[bool]:
    return sa.and_(table.c.workshop_id == workshop_id, table.c.repricing_id == repricing_id)


def get_basis(connection: sa.Connection, workshop_id: UUID, repricing_id: UUID) -> RepricingBasis:
    """The rates that an existing repricing was computed with."""
    found: RepricingBasis = connection.execute(
        sa.select(repricings.c.basis).where(_of(repricings, workshop_id, repricing_id))
    ).scalar_one()
    return found


def page_of_repricings(
    connection: sa.Connection, workshop_id: UUID, *, before: UUID | None, limit: int
) -> list[Repricing]:
    """Newest first, after the repricing `before`."""
    query = sa.select(*_SHOWN).where(repricings.c.workshop_id == workshop_id)
    if before is not None:
        query = query.where(repricings.c.repricing_id < before)
    rows = connection.execute(query.order_by(repricings.c.repricing_id.desc()).limit(limit))
    return [Repricing(**row._mapping) for row in rows]


def page_of_changes(
    connection: sa.Connection, workshop_id: UUID, repricing_id: UUID, *, after: str, limit: int
) -> list[tuple[str, str]]:
    """Listing and JSON text of each change, sorted by listing, after the listing `after`."""
    rows = connection.execute(
        sa.select(price_changes.c.listing, as_text(price_changes.c.change))
        .where(_of(price_changes, workshop_id, repricing_id), price_changes.c.listing > after)
        .order_by(price_changes.c.listing)
        .limit(limit)
    )
    return [(row.listing, row.change) for row in rows]


def roll_back(
    connection: sa.Connection, workshop_id: UUID, repricing: Repricing, at: datetime, by: Actor, day: date
) -> None:
    """End a repricing's prices on the day, which is not before their first one; all must be in force on it."""
    act = (next_act(connection, workshop_id), at, by)
    for span in spans(connection, price_changes.c.listing, _of(price_changes, workshop_id, repricing.id)):
        prices = PricesSet(workshop_id, repricing.id, repricing.valid_from, span)
        end(connection, prices, day)
        record_prices(connection, prices, act, ends=day)
    metering.added(connection, recorded, workshop_id, recorded.c.change_id == act[0])
    connection.execute(
        repricings.update()
        .where(_of(repricings, workshop_id, repricing.id))
        .values(rolled_back_at=at, rolled_back_by=by.name)
    )


def page_of_history(
    connection: sa.Connection, workshop_id: UUID, listing: str, day: date, *, before: UUID | None, limit: int
) -> list[PriceHistoryEntry]:
    """The prices set on a listing for the day or earlier, applied last first, after the repricing `before`."""
    query = (
        sa.select(
            price_changes.c.change,
            repricings.c.repricing_id,
            repricings.c.as_of,
            repricings.c.valid_from,
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
            repricings.c.valid_from <= day,
        )
        .order_by(price_changes.c.repricing_id.desc())
        .limit(limit)
    )
    if before is not None:
        query = query.where(price_changes.c.repricing_id < before)
    return [_entry(row) for row in connection.execute(query)]


def _entry(row: Any) -> PriceHistoryEntry:
    new = row.change.new
    assert new is not None  # it came into force
    return PriceHistoryEntry(
        repricing=row.repricing_id,
        as_of=row.as_of,
        valid_from=row.valid_from,
        applied_at=row.applied_at,
        applied_by=row.applied_by,
        rolled_back_at=row.rolled_back_at,
        price=new.price,
        unit=row.change.unit,
        base_quantity=new.base_quantity,
        unit_cost=new.unit_cost,
        margin_share=new.margin_share,
    )
