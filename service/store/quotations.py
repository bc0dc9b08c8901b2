"""Quotations with everything they were computed from."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.quotation import QuotationBasis, QuotationFigures, Remarks
from service.domain.quotation_request import QuotationRequest
from service.encoding import from_text, to_text
from service.store.tables import quotations

DRAFT = "draft"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quotation:
    """A quotation as it is kept.

    Attributes:
        id: rising with time.
        status: draft.
        created_at: when it was made, UTC.
        quoted_on: the day of its rates.
        valid_until: the last day its prices hold.
        request: what was asked for.
        figures: every figure as it was given; `kept` and `unit_full_cost` are not for the customer's eyes.
        remarks: warnings for the workshop, cautions for the customer too, as they were given.
    """

    id: UUID
    status: str
    created_at: datetime
    quoted_on: date
    valid_until: date
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks


_SHOWN = [column for column in quotations.c if column.name != "basis"]


def _quotation(row: Any) -> Quotation:
    return Quotation(
        id=row.quotation_id,
        status=row.status,
        created_at=row.created_at.replace(tzinfo=UTC) if row.created_at.tzinfo is None else row.created_at,
        quoted_on=row.quoted_on,
        valid_until=row.valid_until,
        request=from_text(row.request, QuotationRequest),
        figures=from_text(row.figures, QuotationFigures),
        remarks=from_text(row.remarks, Remarks),
    )


def add_quotation(connection: sa.Connection, workshop_id: UUID, quotation: Quotation, basis: QuotationBasis) -> None:
    """Keep a new quotation with its basis."""
    connection.execute(
        quotations.insert(),
        {
            "workshop_id": workshop_id,
            "quotation_id": quotation.id,
            "status": quotation.status,
            "created_at": quotation.created_at,
            "quoted_on": quotation.quoted_on,
            "valid_until": quotation.valid_until,
            "request": to_text(quotation.request),
            "basis": to_text(basis),
            "figures": to_text(quotation.figures),
            "remarks": to_text(quotation.remarks),
        },
    )


def find_quotation(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> Quotation | None:
    """The quotation, without its basis."""
    row = connection.execute(
        sa.select(*_SHOWN).where(quotations.c.workshop_id == workshop_id, quotations.c.quotation_id == quotation_id)
    ).first()
    return None if row is None else _quotation(row)


def get_basis(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> QuotationBasis:
    """What an existing quotation was computed from."""
    stored = connection.execute(
        sa.select(quotations.c.basis).where(
            quotations.c.workshop_id == workshop_id, quotations.c.quotation_id == quotation_id
        )
    ).scalar_one()
    return from_text(stored, QuotationBasis)


def page_of_quotations(
    connection: sa.Connection, workshop_id: UUID, *, after: UUID | None, limit: int
) -> list[Quotation]:
    """Oldest first, beyond the quotation `after`."""
    query = sa.select(*_SHOWN).where(quotations.c.workshop_id == workshop_id)
    if after is not None:
        query = query.where(quotations.c.quotation_id > after)
    return [_quotation(row) for row in connection.execute(query.order_by(quotations.c.quotation_id).limit(limit))]


def quotation_ids(connection: sa.Connection, workshop_id: UUID) -> Iterator[UUID]:
    """Every quotation's id, oldest first."""
    query = sa.select(quotations.c.quotation_id).where(quotations.c.workshop_id == workshop_id)
    for row in connection.execute(query.order_by(quotations.c.quotation_id)):
        yield row.quotation_id
