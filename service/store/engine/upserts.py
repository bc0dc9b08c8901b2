"""Upserts: both engines have the same clause, but SQLAlchemy has it in two dialects."""

from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite


def inserting(dialect: str, table: sa.Table) -> sqlite.Insert | postgresql.Insert:
    """An insert that can have an ON CONFLICT clause."""
    return sqlite.insert(table) if dialect == "sqlite" else postgresql.insert(table)


def put(connection: sa.Connection, table: sa.Table, *rows: Mapping[str, Any]) -> None:
    """Insert the rows, all with the same columns, or replace those columns where the key exists."""
    if not rows:
        return
    key, new = table.primary_key.columns.keys(), inserting(connection.dialect.name, table)
    changed = {name: new.excluded[name] for name in rows[0] if name not in key}
    connection.execute(new.on_conflict_do_update(index_elements=key, set_=changed), rows)
