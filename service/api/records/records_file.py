"""A CSV file of batch records (RFC 4180), one on a line; every line that is wrong is named."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import marshmallow as ma

from service.api.http.problems import ProblemError
from service.api.http.reading import located, read_csv
from service.api.records.questions import BatchRecordSchema, RecordedBatch
from service.domain.values.errors import InvalidValuesError
from service.nearest import did_you_mean
from service.workflows.records.recording import CodedRecord

_REQUIRED = ("code", "product", "made_on", "good_units")
_PLAIN = (*_REQUIRED, "units_started", "note")
_COUNTS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "materials": (("material",), ("issued", "returned", "paid", "paid_for")),
    "operations": (("operation",), ("minutes", "setup_minutes", "scrap")),
    "labour": (("labour_grade",), ("hours", "idle_hours", "paid")),
    "electricity": (("tariff", "band"), ("kwh", "meter_begin", "meter_end", "paid")),
    "overheads": (("overhead",), ("paid",)),
}
"""For each kind of count the members that say of what, and the members that a column may be of."""
_SCHEMA = BatchRecordSchema()
_Place = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Column:
    """A column such as "materials/hdpe/issued": what it is a count of, and of which member."""

    name: str
    kind: str
    of: tuple[tuple[str, str], ...]
    member: str


@dataclass(frozen=True, slots=True)
class RecordsFile:
    """The records of a file, and where each comes from.

    Attributes:
        currency: of amounts without one.
        header: the columns of the file.
        lines: the line of each record.
        columns: for each record the column of each place in it.
    """

    currency: str
    header: list[_Column] = field(default_factory=list)
    records: list[CodedRecord] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    columns: list[dict[_Place, str]] = field(default_factory=list)

    def read_header(self, names: Sequence[str]) -> Iterator[str]:
        """Take the columns; yields what is wrong with them."""
        if len(names) == 1 and (";" in names[0] or "\t" in names[0]):
            yield "columns are separated by commas (RFC 4180), not by semicolons or tabs"
            return
        yield from (f"'{name}' is named twice" for name in dict.fromkeys(names) if names.count(name) > 1)
        yield from (f"must name the column {name}" for name in _REQUIRED if name not in names)
        for name in names:
            column = _Column(name, "", (), name) if name in _PLAIN else _counted(name)
            if column is None:
                near = did_you_mean(name, _PLAIN) or "; a count is named like materials/hdpe/issued"
                yield f"'{name}' is no column of a record{near}"
            else:
                self.header.append(column)

    def add(self, line: int, row: Sequence[str]) -> Iterator[str]:
        """Add the record of a line; yields what is wrong with it."""
        data, places = _data(self.header, row, self.currency)
        try:
            made: RecordedBatch = _SCHEMA.load(data)
        except ma.ValidationError as error:
            for each in located("json", error.messages):
                yield f"{_column(tuple(each['pointer'][1:].split('/')), places)}: {each['detail']}"
            return
        if made.code is None:
            yield "code: is required: the workshop's own code for the batch"
            return
        self.records.append(CodedRecord(made.code, made.record))
        self.lines.append(line)
        self.columns.append(places)

    def refusal(self, error: InvalidValuesError) -> ProblemError:
        """The problem of records that were refused, by line and column."""
        errors = []
        for each in error.problems:
            _, record, *path = each.path
            where = int(record)
            column = _column(tuple(map(str, path)), self.columns[where])
            errors.append({"line": self.lines[where], "detail": f"{column}: {each.reason}"})
        return ProblemError.of_errors(errors)


def _column(path: _Place, columns: Mapping[_Place, str]) -> str:
    """The column that a place in a record comes from, or would come from."""
    for length in range(len(path), 0, -1):
        if path[:length] in columns:
            return "/".join([columns[path[:length]], *path[length:]])
    return "/".join(path)


def read_records(body: bytes, currency: str) -> RecordsFile:
    """The records of the file; none of them if any line is wrong.

    Args:
        currency: of amounts without one.

    Raises:
        ProblemError: 400 if it is not CSV in UTF-8; 422 naming the first 50 lines that are wrong.
    """
    found = RecordsFile(currency)
    read_csv(body, "record", found.read_header, found.add)
    return found


def _counted(name: str) -> _Column | None:
    """The column of a count; None if there is none of this name."""
    kind, *middle, member = name.split("/") if name.count("/") > 1 else ("", "")
    if kind not in _COUNTS or member not in _COUNTS[kind][1]:
        return None
    says, _ = _COUNTS[kind]
    of = middle if len(says) > 1 else ["/".join(middle)]
    if not all(of) or len(of) > len(says):
        return None
    return _Column(name, kind, tuple(zip(says, of, strict=False)), member)


def _data(columns: Sequence[_Column], row: Sequence[str], currency: str) -> tuple[dict[str, Any], dict[_Place, str]]:
    """The record as JSON has it, and the column of each place in it; an empty field was not counted."""
    data: dict[str, Any] = {}
    places: dict[_Place, str] = {}
    counts: dict[tuple[str, tuple[tuple[str, str], ...]], tuple[int, dict[str, Any]]] = {}
    for column, text in zip(columns, row, strict=True):
        if not text.strip():
            continue
        if not column.kind:
            data[column.name] = text
            continue
        entries = data.setdefault(column.kind, [])
        key = column.kind, column.of
        if key not in counts:
            counts[key] = len(entries), dict(column.of)
            entries.append(counts[key][1])
        place, entry = counts[key]
        entry[column.member] = _MEMBERS.get(column.member, _as_it_is)(text, currency)
        places[column.kind, str(place), column.member] = column.name
        places[column.kind, str(place)] = column.name.removesuffix(f"/{column.member}")
    return data, places


def _as_it_is(text: str, _: str) -> Any:
    return text


def _money(text: str, currency: str) -> Any:
    """An amount such as "12.50 GBP", or "12.50" in the workshop's currency."""
    amount, _, code = text.strip().partition(" ")
    return {"amount": amount, "currency": code.strip() or currency}


_MEMBERS: dict[str, Callable[[str, str], Any]] = {"paid": _money}
