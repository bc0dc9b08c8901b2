"""Rows that may be there already: both engines know one clause for them, each in a dialect of its own."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite


def inserting(connection: sa.Connection, table: sa.Table) -> sqlite.Insert | postgresql.Insert:
    """An insert that can say what becomes of a row that is there already."""
    return sqlite.insert(table) if connection.dialect.name == "sqlite" else postgresql.insert(table)


def put(connection: sa.Connection, table: sa.Table, *rows: Mapping[str, Any]) -> None:
    """Create the rows, all with the same columns, or replace those columns where the key is there already."""
    if not rows:
        return
    key, new = table.primary_key.columns.keys(), inserting(connection, table)
    changed = {name: new.excluded[name] for name in rows[0] if name not in key}
    connection.execute(new.on_conflict_do_update(index_elements=key, set_=changed), rows)
