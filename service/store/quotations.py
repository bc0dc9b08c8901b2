"""Quotations with everything they were computed from, and what became of them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite

from service import clock
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.life import Event, Status, number_of
from service.domain.quoting.quotation import Acceptance, Letterhead, QuotationFigures, Remarks
from service.domain.quoting.request import QuotationRequest
from service.domain.values.exact import ZERO
from service.domain.values.money import Money
from service.encoding import from_text, plain_data, to_text, trusted
from service.store.engine.instants import in_utc
from service.store.engine.tables import quotation_events, quotation_numbers, quotations


@dataclass(frozen=True, slots=True, kw_only=True)
class Quotation:
    """A quotation as it is kept. What was quoted never changes; what became of it does.

    Attributes:
        id: rising with time.
        number: what it is called once it is issued, for instance Q000042; null before.
        revision: 1, and one more than that of the quotation it revises.
        revises_id: the quotation that it takes the place of when it is issued.
        revises_number: the number of that.
        superseded_by_id: the quotation that has taken its place.
        superseded_by_number: the number of that.
        status: draft, issued, accepted, declined, expired, superseded or completed.
        version: rises with everything that becomes of it.
        created_at: when it was made, UTC.
        quoted_on: the day of its rates.
        issued_on: the day it was issued.
        valid_until: the last day its prices hold.
        letterhead: who quotes.
        request: what was asked for.
        figures: every figure as it was given; `kept` and `unit_full_cost` are not for the customer's eyes.
        remarks: warnings for the workshop, cautions for the customer too, as they were given.
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
        """How a message calls it."""
        return f"quotation {self.number or self.id}"


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationSummary:
    """A quotation in a list.

    Attributes:
        id: its id.
        number: what it is called once it is issued; null before.
        revision: 1, and one more than that of the quotation it revises.
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


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationEvent:
    """Something that happened to a quotation.

    Attributes:
        version: the quotation's, after it.
        event: drafted, issued, accepted, declined, superseded or completed.
        at: when it was recorded, UTC.
        by: name of the key.
        note: what else is known of it.
    """

    version: int
    event: Event
    at: datetime
    by: str
    note: str


_revised, _successor = quotations.alias("revised"), quotations.alias("successor")
_SHOWN = [column for column in quotations.c if column.name not in ("basis", "promised")]
_WITH_NUMBERS = (
    sa.select(*_SHOWN, _revised.c.number.label("revises_number"), _successor.c.number.label("superseded_by_number"))
    .select_from(quotations)
    .outerjoin(
        _revised,
        sa.and_(_revised.c.workshop_id == quotations.c.workshop_id, _revised.c.quotation_id == quotations.c.revises_id),
    )
    .outerjoin(
        _successor,
        sa.and_(
            _successor.c.workshop_id == quotations.c.workshop_id,
            _successor.c.quotation_id == quotations.c.superseded_by_id,
        ),
    )
)


def _number(count: int | None) -> str | None:
    return None if count is None else number_of(count)


def _quotation(row: Any) -> Quotation:
    return Quotation(
        id=row.quotation_id,
        number=_number(row.number),
        revision=row.revision,
        revises_id=row.revises_id,
        revises_number=_number(row.revises_number),
        superseded_by_id=row.superseded_by_id,
        superseded_by_number=_number(row.superseded_by_number),
        status=Status(row.status),
        version=row.version,
        created_at=in_utc(row.created_at),
        quoted_on=row.quoted_on,
        issued_on=row.issued_on,
        valid_until=row.valid_until,
        letterhead=from_text(row.letterhead, Letterhead),
        request=from_text(row.request, QuotationRequest),
        figures=from_text(row.figures, QuotationFigures),
        remarks=from_text(row.remarks, Remarks),
        acceptance=None if row.acceptance is None else from_text(row.acceptance, Acceptance),
    )


def add_quotation(
    connection: sa.Connection, workshop_id: UUID, quotation: Quotation, basis: QuotationBasis, by: str
) -> None:
    """Keep a new draft with its basis."""
    connection.execute(
        quotations.insert(),
        {
            "workshop_id": workshop_id,
            "quotation_id": quotation.id,
            "status": quotation.status.value,
            "revision": quotation.revision,
            "revises_id": quotation.revises_id,
            "version": quotation.version,
            "created_at": quotation.created_at,
            "quoted_on": quotation.quoted_on,
            "valid_until": quotation.valid_until,
            "letterhead": to_text(quotation.letterhead),
            "request": to_text(quotation.request),
            "basis": to_text(basis),
            "figures": to_text(quotation.figures),
            "remarks": to_text(quotation.remarks),
        },
    )
    _add_event(connection, workshop_id, quotation.id, quotation.version, Event.DRAFTED, quotation.created_at, by, "")


def find_quotation(connection: sa.Connection, workshop_id: UUID, address: UUID | int) -> Quotation | None:
    """The quotation with this id or of this count, without its basis."""
    named = quotations.c.number if isinstance(address, int) else quotations.c.quotation_id
    row = connection.execute(_WITH_NUMBERS.where(quotations.c.workshop_id == workshop_id, named == address)).first()
    return None if row is None else _quotation(row)


def get_basis(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> QuotationBasis:
    """What an existing quotation was computed from."""
    return from_text(_text(connection, workshop_id, quotation_id, quotations.c.basis), QuotationBasis)


def get_given(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> Any:
    """The figures of an existing quotation as plain data, with no more members than were kept with it."""
    return plain_data(_text(connection, workshop_id, quotation_id, quotations.c.figures))


def _text(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID, column: sa.Column[str]) -> str:
    return connection.execute(
        sa.select(column).where(quotations.c.workshop_id == workshop_id, quotations.c.quotation_id == quotation_id)
    ).scalar_one()


_IN_A_LIST = ("quotation_id", "number", "revision", "status", "quoted_on", "valid_until", "request", "figures")


def _summary(row: Any) -> QuotationSummary:
    """Of all that was quoted no more is made than a list shows."""
    total = plain_data(row.figures)["totals"]["tax_inclusive"]
    return QuotationSummary(
        id=row.quotation_id,
        number=_number(row.number),
        revision=row.revision,
        status=Status(row.status),
        quoted_on=row.quoted_on,
        valid_until=row.valid_until,
        customer=plain_data(row.request)["customer"]["name"],
        tax_inclusive=trusted(total, Money),
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
    """Oldest first, beyond the quotation `after`; only those in a state on the day, if one is given."""
    query = sa.select(*(quotations.c[name] for name in _IN_A_LIST)).where(quotations.c.workshop_id == workshop_id)
    if after is not None:
        query = query.where(quotations.c.quotation_id > after)
    if status in (Status.ISSUED, Status.EXPIRED):
        is_over = quotations.c.valid_until < today
        query = query.where(
            quotations.c.status == Status.ISSUED.value, is_over if status is Status.EXPIRED else sa.not_(is_over)
        )
    elif status is not None:
        query = query.where(quotations.c.status == status.value)
    return [_summary(row) for row in connection.execute(query.order_by(quotations.c.quotation_id).limit(limit))]


def quotation_ids(connection: sa.Connection, workshop_id: UUID) -> Iterator[UUID]:
    """Every quotation's id, oldest first."""
    query = sa.select(quotations.c.quotation_id).where(quotations.c.workshop_id == workshop_id)
    for row in connection.execute(query.order_by(quotations.c.quotation_id)):
        yield row.quotation_id


_last = quotation_numbers.c.last


def next_number(connection: sa.Connection, workshop_id: UUID) -> int:
    """The next count of the workshop's numbers; it is used up when the transaction commits, and only then."""
    # Both engines know it by the same words, each in a dialect of its own.
    dialect: Any = sqlite if connection.dialect.name == "sqlite" else postgresql
    first = dialect.insert(quotation_numbers).values(workshop_id=workshop_id, last=1)
    counted = first.on_conflict_do_update(index_elements=["workshop_id"], set_={"last": _last + 1})
    return int(connection.execute(counted.returning(_last)).scalar_one())


def record_event(
    connection: sa.Connection,
    workshop_id: UUID,
    quotation: Quotation,
    event: Event,
    *,
    by: str,
    note: str = "",
    **changes: Any,
) -> None:
    """Keep that something happened to a quotation, and what of it is different now."""
    connection.execute(
        quotations.update()
        .where(quotations.c.workshop_id == workshop_id, quotations.c.quotation_id == quotation.id)
        .values(version=quotation.version + 1, **changes)
    )
    now = clock.now()
    _add_event(connection, workshop_id, quotation.id, quotation.version + 1, event, now, by, note)


def _add_event(
    connection: sa.Connection, workshop_id: UUID, quotation_id: UUID, version: int, event: Event, *rest: Any
) -> None:
    at, by, note = rest
    connection.execute(
        quotation_events.insert(),
        {
            "workshop_id": workshop_id,
            "quotation_id": quotation_id,
            "sequence": version,
            "event": event.value,
            "at": at,
            "by": by,
            "note": note,
        },
    )


def events_of(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> list[QuotationEvent]:
    """What happened to a quotation, in order."""
    rows = connection.execute(
        sa.select(quotation_events)
        .where(quotation_events.c.workshop_id == workshop_id, quotation_events.c.quotation_id == quotation_id)
        .order_by(quotation_events.c.sequence)
    )
    return [
        QuotationEvent(version=row.sequence, event=Event(row.event), at=in_utc(row.at), by=row.by, note=row.note)
        for row in rows
    ]


def discard_quotation(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> None:
    """Remove a draft for good."""
    for table in (quotation_events, quotations):
        connection.execute(
            table.delete().where(table.c.workshop_id == workshop_id, table.c.quotation_id == quotation_id)
        )


def promised_minutes(connection: sa.Connection, workshop_id: UUID) -> Mapping[str, Decimal]:
    """Minutes of every machine and grade that orders take which are accepted and not completed yet."""
    promised: dict[str, Decimal] = {}
    query = sa.select(quotations.c.promised).where(
        quotations.c.workshop_id == workshop_id,
        quotations.c.status == Status.ACCEPTED.value,
        quotations.c.promised.is_not(None),
    )
    for row in connection.execute(query):
        for resource, minutes in from_text(row.promised, dict[str, Decimal]).items():
            promised[resource] = promised.get(resource, ZERO) + minutes
    return promised
