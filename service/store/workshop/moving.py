"""A workshop's rows as JSON and back: derived from the tables, so that none can be forgotten."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any, NamedTuple
from uuid import UUID

import sqlalchemy as sa

from service.domain.values.forms import day_of
from service.store.engine.column_types import Instant
from service.store.engine.database import Connection
from service.store.engine.metering import counted_anew
from service.store.engine.stored_rows import as_stored
from service.store.engine.tables import api_keys, idempotency_keys, storage_use
from service.store.workshop.documents import COLUMNS, DOCUMENTS, MAX_INTEGER, read_document
from service.store.workshop.rising_ids import MAX_MILLISECONDS, milliseconds_of

STAYING = {
    api_keys.name: "secrets do not travel",
    idempotency_keys.name: "a day later they are gone anyway",
    storage_use.name: "counted anew",
}
"""Tables that are left out, and why."""
STAYING_COLUMNS = {"workshops.cursor_secret": "secrets do not travel; the workshop gets a new one"}
"""Columns that are left out, and why."""
TABLES = {table.name: table for table in as_stored.sorted_tables if table.name not in STAYING}
"""Tables that are moved, referred-to tables first."""
_ROWS = 500
_RISING = 7
_MAX_SHORT = 2**31 - 1
_NOT_OF_THIS_FORM = "is not of this column's form"
Row = dict[str, Any]


def _told(value: Any) -> Any:
    """A value as JSON writes it."""
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value


def _columns(table: sa.Table) -> list[sa.Column[Any]]:
    return [column for column in table.columns if str(column) not in STAYING_COLUMNS]


def rows_of(connection: Connection, workshop_id: UUID, table: sa.Table) -> Iterator[Row]:
    """The workshop's rows in order of their key, read as they are consumed."""
    query = sa.select(*_columns(table)).where(table.c.workshop_id == workshop_id).order_by(*table.primary_key.columns)
    with connection.execute(query, execution_options={"yield_per": _ROWS}) as result:
        for row in result:
            yield {str(name): _told(value) for name, value in row._mapping.items()}


def _instant(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    if found.tzinfo is None:
        raise ValueError(text)
    return found.astimezone(UTC)


def _id(text: str) -> UUID:
    found = UUID(text)
    if found.version == _RISING and milliseconds_of(found) >= MAX_MILLISECONDS:
        raise ValueError(text)
    return found


_READERS: Sequence[tuple[type[sa.types.TypeEngine[Any]], type, Any]] = (
    (sa.Uuid, str, _id),
    (Instant, str, _instant),
    (sa.Date, str, day_of),
    (sa.Boolean, bool, bool),
    (sa.BigInteger, int, int),
    (sa.Integer, int, int),
    (sa.String, str, str),
)
"""For each kind of column, its JSON type and the function that reads it."""


def _read(column: sa.Column[Any], value: Any) -> Any:
    """The value of a column; raises ValueError if the column does not accept it."""
    if value is None:
        if not column.nullable:
            raise ValueError("may not be null")
        return None
    form, read = next((form, read) for kind, form, read in _READERS if isinstance(column.type, kind))
    given: Any = value
    length = getattr(column.type, "length", None)
    if type(value) is not form or "\0" in str(value) or (length is not None and len(str(value)) > length):
        raise ValueError(_NOT_OF_THIS_FORM)
    if form is int and not 0 <= given <= (MAX_INTEGER if isinstance(column.type, sa.BigInteger) else _MAX_SHORT):
        raise ValueError("is out of range")
    try:
        if form is str:
            given.encode()
        return read(given)
    except (ValueError, OverflowError):
        raise ValueError(_NOT_OF_THIS_FORM) from None


class ReadRow(NamedTuple):
    """A row: its values as they are stored, and its documents decoded."""

    values: Row
    documents: dict[str, Any]


class ReadTables(NamedTuple):
    """The rows of every table, and what is wrong with them, with its place."""

    rows: Mapping[str, list[ReadRow]]
    problems: list[str]


def place_of(table: str, place: int, column: str = "") -> str:
    """Where a row, or a column of it, stands in the document."""
    return f"/tables/{table}/{place}" + (f"/{column}" if column else "")


def read_tables(workshop_id: UUID, tables: Mapping[str, Sequence[Any]]) -> ReadTables:
    """Read the rows of every table, and every document in them, as strictly as what a client sends."""
    found = ReadTables({name: [] for name in TABLES}, [])
    for name, table in TABLES.items():
        columns = {column.name: column for column in _columns(table)}
        for place, row in enumerate(tables[name]):
            if not isinstance(row, dict) or row.keys() != columns.keys():
                told = f"{place_of(name, place)}: must have exactly the members {', '.join(columns)}"
                found.problems.append(told)
                continue
            read, problems = _read_row(name, columns, row)
            if not problems and read.values["workshop_id"] != workshop_id:
                problems = {"workshop_id": "belongs to another workshop"}
            found.problems.extend(f"{place_of(name, place, column)}: {told}" for column, told in problems.items())
            found.rows[name].append(read)
    return found


def _read_row(table: str, columns: Mapping[str, sa.Column[Any]], row: Row) -> tuple[ReadRow, dict[str, str]]:
    """The row, and what is wrong with it by column."""
    read, problems = ReadRow({}, {}), {}
    for name, value in row.items():
        try:
            read.values[name] = _read(columns[name], value)
            if value is not None and (problem := COLUMNS.get(f"{table}.{name}", _nothing)(read.values[name])):
                raise ValueError(problem)
        except ValueError as error:
            problems[name] = str(error)
    for name in () if problems else columns:
        kind = DOCUMENTS.get(f"{table}.{name}")
        if kind is not None and (text := read.values[name]) is not None:
            try:
                read.documents[name] = read_document(text, kind(read.values))
            except ValueError as error:
                problems[name] = str(error)
    return read, problems


def _nothing(_: Any) -> None:
    """No rule."""


def add_rows(connection: Connection, workshop_id: UUID, tables: ReadTables) -> None:
    """Insert the rows of every table, referred-to rows first.

    Raises sqlalchemy.exc.IntegrityError: a row is a duplicate, or refers to a row that does not exist.
    """
    for name, table in TABLES.items():
        values = (row.values for row in tables.rows[name])
        while some := list(islice(values, _ROWS)):
            connection.execute(table.insert(), some)
    counted_anew(connection, workshop_id)
