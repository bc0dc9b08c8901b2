"""A workshop's rows as JSON and back: derived from the tables, so that none can be forgotten."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import islice
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.store.engine.column_types import Instant
from service.store.engine.database import Connection
from service.store.engine.metering import counted_anew
from service.store.engine.stored_form import as_stored
from service.store.engine.tables import api_keys, idempotency_keys, storage_use

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
Row = dict[str, Any]


class UnfitRowError(ValueError):
    """A row does not fit its table."""

    def __init__(self, table: str, place: int, reason: str) -> None:
        super().__init__(f"/tables/{table}/{place}: {reason}")


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
    return found


_READERS: Sequence[tuple[type[sa.types.TypeEngine[Any]], type, Any]] = (
    (sa.Uuid, str, UUID),
    (Instant, str, _instant),
    (sa.Date, str, date.fromisoformat),
    (sa.Boolean, bool, bool),
    (sa.Integer, int, int),
    (sa.String, str, str),
)
"""For each kind of column, its JSON type and the function that reads it."""


def _read(column: sa.Column[Any], value: Any) -> Any:
    """The value of a column; raises ValueError if the column does not accept it."""
    if value is None:
        if not column.nullable:
            raise ValueError(f"{column.name} may not be null")
        return None
    form, read = next((form, read) for kind, form, read in _READERS if isinstance(column.type, kind))
    length = getattr(column.type, "length", None)
    if type(value) is not form or "\0" in str(value) or (length is not None and len(str(value)) > length):
        raise ValueError(f"{column.name} is not of this table's form")
    try:
        return read(value)
    except ValueError:
        raise ValueError(f"{column.name} is not of this table's form") from None


def _values(table: sa.Table, workshop_id: UUID, place: int, row: Any) -> Row:
    columns = {column.name: column for column in _columns(table)}
    if not isinstance(row, dict) or row.keys() != columns.keys():
        raise UnfitRowError(table.name, place, f"must have exactly the members {', '.join(columns)}")
    try:
        values = {name: _read(columns[name], value) for name, value in row.items()}
    except ValueError as error:
        raise UnfitRowError(table.name, place, str(error)) from None
    if values["workshop_id"] != workshop_id:
        raise UnfitRowError(table.name, place, "belongs to another workshop")
    return values


def add_rows(connection: Connection, workshop_id: UUID, tables: Mapping[str, Sequence[Any]]) -> None:
    """Insert the rows of every table, referred-to rows first.

    Raises:
        UnfitRowError: a row does not fit its table.
        sqlalchemy.exc.IntegrityError: a row is a duplicate, or refers to a row that does not exist.
    """
    for name, table in TABLES.items():
        read = (_values(table, workshop_id, place, row) for place, row in enumerate(tables[name]))
        while some := list(islice(read, _ROWS)):
            connection.execute(table.insert(), some)
    counted_anew(connection, workshop_id)
