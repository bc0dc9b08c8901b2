"""Quotations, each with everything it was computed from."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, fields
from datetime import date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.life import Status, number_of
from service.domain.quoting.quotation import Acceptance, QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.selling.letterhead import Letterhead
from service.domain.values.money import Money
from service.encoding import to_bytes, trusted
from service.store.engine.column_types import as_plain_data, as_text
from service.store.engine.tables import quotations


@dataclass(frozen=True, slots=True, kw_only=True)
class Quotation:
    """A stored quotation. Its content never changes; its state does.

    Attributes:
        id: rises with time.
        number: given at issue, for instance Q000042; null before.
        revision: 1, or one more than that of the quotation it revises.
        revises_id: the quotation that it replaces when it is issued.
        revises_number: number of that quotation.
        superseded_by_id: the quotation that has replaced it.
        superseded_by_number: number of that quotation.
        status: draft, issued, accepted, declined, expired, superseded or completed.
        version: rises with every event.
        created_at: when it was made, UTC.
        quoted_on: the day of its rates.
        issued_on: the day it was issued.
        valid_until: the last day its prices hold.
        letterhead: who quotes.
        request: what was asked for.
        figures: every figure as it was given; `kept` and `unit_full_cost` are not for the customer.
        remarks: warnings for the workshop, and cautions for the customer too, as they were given.
        acceptance: what the customer took.
    """

    id: UUID
    number: str | None = None
    revision: int = 1
    revises_id: UUID | None = None
    revises_number: str | None = None
    superseded_by_id: UUID | None = None
    superseded_by_number: str | None = None
    status: Status = Status.DRAFT
    version: int = 1
    created_at: datetime
    quoted_on: date
    issued_on: date | None = None
    valid_until: date
    letterhead: Letterhead
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks
    acceptance: Acceptance | None = None

    @property
    def name(self) -> str:
        """Its name in messages."""
        return f"quotation {self.number or self.id}"


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationSummary:
    """A quotation in a list.

    Attributes:
        id: its id.
        number: given at issue; null before.
        revision: 1, or one more than that of the quotation it revises.
        status: draft, issued, accepted, declined, expired, superseded or completed.
        quoted_on: the day of its rates.
        valid_until: the last day its prices hold.
        customer: who asked.
        tax_inclusive: the total with tax.
    """

    id: UUID
    number: str | None
    revision: int
    status: Status
    quoted_on: date
    valid_until: date
    customer: str
    tax_inclusive: Money


_revised, _successor = quotations.alias("revised"), quotations.alias("successor")
AS_QUOTED = [field.name for field in fields(Quotation) if field.name in quotations.c and field.name != "number"]
"""Fields of a quotation that are columns of the same name."""


def _named(other: sa.FromClause, quotation_id: sa.Column[UUID]) -> sa.ColumnElement[bool]:
    """Joins the quotation that this one names."""
    return sa.and_(other.c.workshop_id == quotations.c.workshop_id, other.c.quotation_id == quotation_id)


_WITH_NUMBERS = (
    sa.select(
        *(quotations.c[name] for name in AS_QUOTED),
        quotations.c.quotation_id.label("id"),
        quotations.c.number,
        _revised.c.number.label("revises_number"),
        _successor.c.number.label("superseded_by_number"),
    )
    .select_from(quotations)
    .outerjoin(_revised, _named(_revised, quotations.c.revises_id))
    .outerjoin(_successor, _named(_successor, quotations.c.superseded_by_id))
)


def _number(count: int | None) -> str | None:
    return None if count is None else number_of(count)


def _quotation(row: Any) -> Quotation:
    numbers = {name: _number(getattr(row, name)) for name in ("number", "revises_number", "superseded_by_number")}
    return Quotation(**{**row._mapping, **numbers, "status": Status(row.status)})


def find_quotation(connection: sa.Connection, workshop_id: UUID, address: UUID | int) -> Quotation | None:
    """The quotation with this id or number, without its basis."""
    named = quotations.c.number if isinstance(address, int) else quotations.c.quotation_id
    row = connection.execute(_WITH_NUMBERS.where(quotations.c.workshop_id == workshop_id, named == address)).first()
    return None if row is None else _quotation(row)


def get_basis(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> QuotationBasis:
    """The basis of an existing quotation."""
    found: QuotationBasis = _get(connection, workshop_id, quotation_id, quotations.c.basis)
    return found


def get_given(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> Any:
    """The figures of an existing quotation as plain data, with just the members that were stored."""
    return _get(connection, workshop_id, quotation_id, as_plain_data(quotations.c.figures))


def _get(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID, column: sa.ColumnElement[Any]) -> Any:
    return connection.execute(
        sa.select(column).where(quotations.c.workshop_id == workshop_id, quotations.c.quotation_id == quotation_id)
    ).scalar_one()


_IN_A_LIST = (
    *(quotations.c[name] for name in ("quotation_id", "number", "revision", "status", "quoted_on", "valid_until")),
    *map(as_plain_data, (quotations.c.request, quotations.c.figures)),
)


def _summary(row: Any) -> QuotationSummary:
    """Decodes only what a list shows."""
    return QuotationSummary(
        id=row.quotation_id,
        number=_number(row.number),
        revision=row.revision,
        status=Status(row.status),
        quoted_on=row.quoted_on,
        valid_until=row.valid_until,
        customer=row.request["customer"]["name"],
        tax_inclusive=trusted(row.figures["totals"]["tax_inclusive"], Money),
    )


def page_of_quotations(
    connection: sa.Connection,
    workshop_id: UUID,
    *,
    after: UUID | None,
    limit: int,
    status: Status | None = None,
    today: date | None = None,
) -> list[QuotationSummary]:
    """Oldest first, after the quotation `after`; if a status is given, only those that have it `today`."""
    query = _in_state(sa.select(*_IN_A_LIST), workshop_id, status, today)
    if after is not None:
        query = query.where(quotations.c.quotation_id > after)
    return [_summary(row) for row in connection.execute(query.order_by(quotations.c.quotation_id).limit(limit))]


def _in_state(query: sa.Select[Any], workshop_id: UUID, status: Status | None, today: date | None) -> sa.Select[Any]:
    """The query for the workshop's quotations, or only for those that have a status `today`."""
    query = query.where(quotations.c.workshop_id == workshop_id)
    if status is None:
        return query
    if status in (Status.ISSUED, Status.EXPIRED):
        is_over = quotations.c.valid_until < today
        query = query.where(is_over if status is Status.EXPIRED else sa.not_(is_over))
        status = Status.ISSUED
    return query.where(quotations.c.status == status.value)


def find_newest(connection: sa.Connection, workshop_id: UUID, status: Status | None, today: date) -> UUID | None:
    """The id of the quotation made last, or of those that have a status today."""
    query = _in_state(sa.select(quotations.c.quotation_id), workshop_id, status, today)
    return connection.execute(query.order_by(quotations.c.quotation_id.desc()).limit(1)).scalar()


_UNFINISHED = sorted((Status.DRAFT, Status.ISSUED, Status.ACCEPTED))


def unfinished_of(connection: sa.Connection, workshop_id: UUID, product: str) -> list[str]:
    """Number, or id of a draft, of each quotation of a product that may still be sent, accepted, revised or made."""
    request = quotations.c.request
    rows = connection.execute(
        sa.select(quotations.c.quotation_id, quotations.c.number, as_plain_data(request))
        .where(
            quotations.c.workshop_id == workshop_id,
            quotations.c.status.in_(_UNFINISHED),
            as_text(request).contains(to_bytes(product).decode(), autoescape=True),  # so that few need be decoded
        )
        .order_by(quotations.c.quotation_id)
    )
    return [
        _number(number) or str(its_id)
        for its_id, number, asked in rows
        if any(line.get("product") == product for line in asked["lines"])
    ]


def open_of(connection: sa.Connection, workshop_id: UUID, products: Collection[str], today: date) -> list[UUID]:
    """The ids of drafts, and of issued quotations that hold today, with a line of these products; newest first."""
    holds = sa.or_(quotations.c.status == Status.DRAFT.value, quotations.c.valid_until >= today)
    rows = connection.execute(
        sa.select(quotations.c.quotation_id, as_plain_data(quotations.c.request))
        .where(
            quotations.c.workshop_id == workshop_id,
            quotations.c.status.in_([Status.DRAFT.value, Status.ISSUED.value]),
            holds,
        )
        .order_by(quotations.c.quotation_id.desc())
    )
    return [its_id for its_id, asked in rows if any(line.get("product") in products for line in asked["lines"])]


def quotation_ids(connection: sa.Connection, workshop_id: UUID) -> Iterator[UUID]:
    """The ids of all quotations, oldest first."""
    query = sa.select(quotations.c.quotation_id).where(quotations.c.workshop_id == workshop_id)
    for row in connection.execute(query.order_by(quotations.c.quotation_id)):
        yield row.quotation_id
