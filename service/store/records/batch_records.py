"""Batches that were made, by the workshop's own codes."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.learning.learning import ObservedBatch
from service.domain.records.batch_record import BatchRecord
from service.domain.records.observation import Observation
from service.store.engine import metering
from service.store.engine.stored_rows import put
from service.store.engine.tables import batch_records


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRecord:
    """A record, and what it is compared with.

    Attributes:
        facts: digest of the facts of its day.
        facts_of: the day that these are of.
        quotation: number of the quotation that it was made for.
        revision: the workshop's when it last changed.
    """

    code: str
    record: BatchRecord
    facts: str
    facts_of: date
    quotation: int | None
    revision: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ChosenRecords:
    """Which records are read; all of them if no field is set.

    Attributes:
        product: code of the product.
        first_day: made on it or later.
        last_day: made on it or earlier.
    """

    product: str | None = None
    first_day: date | None = None
    last_day: date | None = None

    def conditions(self) -> Iterable[sa.ColumnElement[bool]]:
        """The conditions of the query."""
        if self.product is not None:
            yield batch_records.c.product == self.product
        if self.first_day is not None:
            yield batch_records.c.made_on >= self.first_day
        if self.last_day is not None:
            yield batch_records.c.made_on <= self.last_day


_SHOWN = [batch_records.c[name] for name in StoredRecord.__dataclass_fields__]


def _stored(row: sa.Row[Any]) -> StoredRecord:
    return StoredRecord(**row._mapping)


def find_record(connection: sa.Connection, workshop_id: UUID, code: str) -> StoredRecord | None:
    """The record with this code."""
    query = sa.select(*_SHOWN).where(batch_records.c.workshop_id == workshop_id, batch_records.c.code == code)
    row = connection.execute(query).first()
    return None if row is None else _stored(row)


def page_of_records(
    connection: sa.Connection, workshop_id: UUID, chosen: ChosenRecords, *, before: tuple[date, str] | None, limit: int
) -> list[StoredRecord]:
    """Newest day first, within a day by code backwards; after the pair `before`."""
    made_on, code = batch_records.c.made_on, batch_records.c.code
    query = sa.select(*_SHOWN).where(batch_records.c.workshop_id == workshop_id, *chosen.conditions())
    if before is not None:
        day, last = before
        query = query.where(made_on <= day, sa.or_(made_on < day, code < last))
    return [_stored(row) for row in connection.execute(query.order_by(made_on.desc(), code.desc()).limit(limit))]


def records_of_order(connection: sa.Connection, workshop_id: UUID, quotation: int) -> list[StoredRecord]:
    """All batches that were made for a quotation, by their codes."""
    query = sa.select(*_SHOWN).where(batch_records.c.workshop_id == workshop_id, batch_records.c.quotation == quotation)
    return [_stored(row) for row in connection.execute(query.order_by(batch_records.c.code))]


def observed_batches(
    connection: sa.Connection, workshop_id: UUID, chosen: ChosenRecords, *, limit: int
) -> list[tuple[date, ObservedBatch]]:
    """What records say of the facts of their products, each with its day, newest first; nothing else is read."""
    made_on, code = batch_records.c.made_on, batch_records.c.code
    rows = connection.execute(
        sa.select(made_on, code, batch_records.c.observations)
        .where(batch_records.c.workshop_id == workshop_id, *chosen.conditions())
        .order_by(made_on.desc(), code.desc())
        .limit(limit)
    )
    return [(row.made_on, ObservedBatch(code=row.code, observations=row.observations)) for row in rows]


def save_record(
    connection: sa.Connection, workshop_id: UUID, stored: StoredRecord, observations: tuple[Observation, ...]
) -> None:
    """Create or replace a record; the facts of its day are stored already."""
    row = {name: getattr(stored, name) for name in StoredRecord.__dataclass_fields__}
    told = {"product": stored.record.product, "made_on": stored.record.made_on, "observations": observations}
    with metering.replaced(connection, batch_records, workshop_id, batch_records.c.code == stored.code):
        put(connection, batch_records, {"workshop_id": workshop_id, **row, **told})


def delete_record(connection: sa.Connection, workshop_id: UUID, code: str) -> None:
    """Delete a record; what it was stays in the audit trail."""
    its_code = batch_records.c.code == code
    metering.removed(connection, batch_records, workshop_id, its_code)
    connection.execute(batch_records.delete().where(batch_records.c.workshop_id == workshop_id, its_code))
