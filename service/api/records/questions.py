"""Queries and bodies of the operations on batch records."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from datetime import date
from typing import Any

import marshmallow as ma

from service.api.contract.fields import ListField, TextField
from service.api.contract.schemas import DeclaredSchema, schema_of
from service.api.http.paging import PageQuery
from service.domain.records.batch_record import BatchRecord
from service.domain.values.declared import Code, declared
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.message import PlausibilityWarning
from service.store.records.batch_records import ChosenRecords
from service.workflows.records.recording import CodedRecord


@declared
class PeriodQuery:
    """Which batches.

    Attributes:
        first_day: made on this day or later.
        last_day: made on this day or earlier.
    """

    first_day: date | None = None
    last_day: date | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        yield from _backwards(self.first_day, self.last_day)

    @property
    def chosen(self) -> ChosenRecords:
        """The store's filter for it."""
        return ChosenRecords(first_day=self.first_day, last_day=self.last_day)


@declared
class RecordsQuery(PageQuery):
    """Which records, and which page of them.

    Attributes:
        product: code of the product.
        first_day: made on this day or later.
        last_day: made on this day or earlier.
    """

    product: Code | None = None
    first_day: date | None = None
    last_day: date | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        yield from _backwards(self.first_day, self.last_day)

    @property
    def chosen(self) -> ChosenRecords:
        """The store's filter for it."""
        return ChosenRecords(product=self.product, first_day=self.first_day, last_day=self.last_day)


@declared
class RecordingQuery:
    """How many batches are recorded.

    Attributes:
        correct: whether a code that is there with other counts is corrected; refused if false.
    """

    correct: bool = True


def _backwards(first_day: date | None, last_day: date | None) -> Iterator[InvalidValueError]:
    if first_day and last_day and last_day < first_day:
        yield InvalidValueError(("last_day",), "must not be before first_day")


@declared
class RecordedBatch(BatchRecord):
    """A batch that was made. What is left out was not counted, and is taken as estimated.

    Attributes:
        code: the workshop's own code for it.
    """

    code: Code | None = None

    @property
    def record(self) -> BatchRecord:
        """The record without its code."""
        return BatchRecord(**{each.name: getattr(self, each.name) for each in fields(BatchRecord)})


_FOUND_OUT = ("facts_of", "quotation", "warnings")
"""What answers add to a record."""


class BatchRecordSchema(schema_of(RecordedBatch)):  # type: ignore[misc]
    """A batch that was made. What is left out was not counted, and is taken as estimated."""

    facts_of = ma.fields.Date(
        dump_only=True,
        metadata={
            "description": "The day whose facts it is compared with: that on which it was made, or the day of the "
            "record if nobody had registered before how it is made."
        },
    )
    quotation = TextField(
        dump_only=True, allow_none=True, metadata={"description": "Number of the quotation that it was made for."}
    )
    warnings = ma.fields.List(ma.fields.Nested(schema_of(PlausibilityWarning)), dump_only=True)

    @ma.pre_load
    def without_what_was_found_out(self, data: Any, **_: Any) -> Any:
        """Leave out what answers add, so that an entry of a list can be sent back."""
        if not isinstance(data, Mapping):
            return data
        return {name: value for name, value in data.items() if name not in _FOUND_OUT}


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchesMade:
    """Batches that were made.

    Attributes:
        records: each with its code.
    """

    records: tuple[RecordedBatch, ...] = ()

    @property
    def coded(self) -> list[CodedRecord]:
        """The records with their codes; raises InvalidValuesError naming those that have none."""
        lacking = [place for place, each in enumerate(self.records) if each.code is None]
        if lacking:
            reason = "is required: the workshop's own code for the batch"
            raise InvalidValuesError([InvalidValueError(("records", place, "code"), reason) for place in lacking])
        return [CodedRecord(each.code or "", each.record) for each in self.records]


class BatchesMadeSchema(DeclaredSchema):
    """Batches that were made."""

    declared_class = BatchesMade
    records = ListField(
        ma.fields.Nested(BatchRecordSchema), metadata={"description": "Each with its code; all of them, or none."}
    )
