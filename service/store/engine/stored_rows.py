"""Writing rows: upserts, and the tables with stored texts in place of decoded values, for rows copied as they are."""

from collections.abc import Mapping
from functools import cache
from importlib import import_module
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from service.store.engine.column_types import StoredAsText
from service.store.engine.tables import metadata

if TYPE_CHECKING:
    from sqlalchemy.dialects import postgresql, sqlite

as_stored = sa.MetaData()
for _table in metadata.sorted_tables:
    for _column in _table.to_metadata(as_stored).columns:
        if isinstance(_column.type, StoredAsText):
            _column.type = _column.type.impl_instance


def inserting(dialect: str, table: sa.Table) -> "sqlite.Insert | postgresql.Insert":
    """An insert that can have an ON CONFLICT clause: both engines have it, but SQLAlchemy in two dialects."""
    found: sqlite.Insert | postgresql.Insert = import_module(f"sqlalchemy.dialects.{dialect}").insert(table)
    return found


def put(connection: sa.Connection, table: sa.Table, *rows: Mapping[str, Any]) -> None:
    """Insert the rows, all with the same columns, or replace those columns where the key exists."""
    if rows:
        connection.execute(_putting(connection.dialect.name, table, tuple(rows[0])), rows)


@cache
def _putting(dialect: str, table: sa.Table, columns: tuple[str, ...]) -> Any:
    """Built once, because every change runs it."""
    key, new = table.primary_key.columns.keys(), inserting(dialect, table)
    changed = {name: new.excluded[name] for name in columns if name not in key}
    return new.on_conflict_do_update(index_elements=key, set_=changed)
