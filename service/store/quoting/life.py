"""The life of quotations: draft, number, events, promised hours, discarding."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service import clock
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.life import Event, Status
from service.domain.values.exact import ZERO
from service.store.engine import metering
from service.store.engine.stored_rows import inserting
from service.store.engine.tables import quotation_events, quotation_numbers, quotations
from service.store.quoting.quotations import AS_QUOTED, Quotation
from service.store.workshop.rising_ids import next_id


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationEvent:
    """An event in the life of a quotation.

    Attributes:
        version: the quotation's version after it.
        event: drafted, issued, accepted, declined, superseded or completed.
        at: when it was recorded, UTC.
        by: name of the key.
        note: free text about it.
    """

    version: int
    event: Event
    at: datetime
    by: str
    note: str


def next_quotation_id(connection: sa.Connection, workshop_id: UUID) -> UUID:
    """The id of a new quotation."""
    return next_id(connection, workshop_id, quotations.c.quotation_id)


def add_quotation(
    connection: sa.Connection, workshop_id: UUID, quotation: Quotation, basis: QuotationBasis, by: str
) -> None:
    """Store a new draft with its basis."""
    connection.execute(
        quotations.insert(),
        {
            "workshop_id": workshop_id,
            "quotation_id": quotation.id,
            "basis": basis,
            **{name: getattr(quotation, name) for name in AS_QUOTED},
            "status": quotation.status.value,
        },
    )
    metering.added(connection, quotations, workshop_id, quotations.c.quotation_id == quotation.id)
    _add_event(connection, workshop_id, quotation.id, quotation.version, Event.DRAFTED, quotation.created_at, by, "")


_last = quotation_numbers.c.last


def next_number(connection: sa.Connection, workshop_id: UUID) -> int:
    """The workshop's next quotation number; used up only when the transaction commits."""
    first = inserting(connection.dialect.name, quotation_numbers).values(workshop_id=workshop_id, last=1)
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
    """Store an event of a quotation with the columns that it changes."""
    its_id = quotations.c.quotation_id == quotation.id
    with metering.replaced(connection, quotations, workshop_id, its_id):
        connection.execute(
            quotations.update()
            .where(quotations.c.workshop_id == workshop_id, its_id)
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
    metering.count(connection, workshop_id, 1, metering.ROW_BYTES)


def events_of(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> list[QuotationEvent]:
    """The events of a quotation, in order."""
    rows = connection.execute(
        sa.select(quotation_events)
        .where(quotation_events.c.workshop_id == workshop_id, quotation_events.c.quotation_id == quotation_id)
        .order_by(quotation_events.c.sequence)
    )
    return [
        QuotationEvent(version=row.sequence, event=Event(row.event), at=row.at, by=row.by, note=row.note)
        for row in rows
    ]


def discard_quotation(connection: sa.Connection, workshop_id: UUID, quotation_id: UUID) -> None:
    """Delete a draft for good."""
    for table in (quotation_events, quotations):
        its_id = table.c.quotation_id == quotation_id
        metering.removed(connection, table, workshop_id, its_id)
        connection.execute(table.delete().where(table.c.workshop_id == workshop_id, its_id))


def promised_minutes(connection: sa.Connection, workshop_id: UUID) -> Mapping[str, Decimal]:
    """Minutes of each machine and grade that accepted, uncompleted orders need."""
    promised: dict[str, Decimal] = {}
    query = sa.select(quotations.c.promised).where(
        quotations.c.workshop_id == workshop_id,
        quotations.c.status == Status.ACCEPTED.value,
        quotations.c.promised.is_not(None),
    )
    for row in connection.execute(query):
        for resource, minutes in row.promised.items():
            promised[resource] = promised.get(resource, ZERO) + minutes
    return promised
