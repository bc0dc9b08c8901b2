"""How much each workshop stores: counted in the transaction that changes it, and limited.

A row counts as its documents in UTF-8 and `ROW_BYTES` for everything else. Whoever adds or removes rows of a counted
table, or replaces a document, says so here (`added`, `removed`, `replaced`); the transaction adds the sum to the
workshop's row of `storage_use` just before its commit, so that nothing has to be summed up later.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache
from typing import Any, NamedTuple
from uuid import UUID

import sqlalchemy as sa
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.functions import FunctionElement

from service.domain.values.errors import PugmillError
from service.store.engine.column_types import JsonText, as_text
from service.store.engine.stored_rows import inserting
from service.store.engine.tables import metadata, storage_use

ROW_BYTES = 200
"""What a row counts for beside its documents: keys, dates, names, and its entries in indexes."""
UNCOUNTED = {
    "workshops": "one row",
    "storage_use": "one row",
    "quotation_numbers": "one row",
    "api_keys": "only the operator makes keys",
    "uses": "they follow from the facts",
    "feed_files": "one row for each file of the feed",
}
"""Tables that are not counted, and why."""
COUNTED = {name: table for name, table in metadata.tables.items() if name not in UNCOUNTED}
_TALLY = "pugmill.tally"


class Stored(NamedTuple):
    """Rows, and what they count for."""

    rows: int
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Quota:
    """The most that a workshop may store; None is no limit."""

    rows: int | None = None
    size_bytes: int | None = None


class QuotaExceededError(PugmillError):
    """A workshop would store more than it may."""

    def __init__(self, stored: Stored, quota: Quota) -> None:
        self.rows, self.bytes = stored
        self.most_rows, self.most_bytes = quota.rows, quota.size_bytes
        rows = f"{self.rows:,} rows" + ("" if quota.rows is None else f" of {quota.rows:,}")
        size = f"{self.bytes:,} bytes" + ("" if quota.size_bytes is None else f" of {quota.size_bytes:,}")
        super().__init__(
            f"the workshop's storage is full: with this it would be {rows} and {size}; nothing was stored. Reading, "
            "retiring, withdrawing and discarding still work. Discard drafts of quotations, or ask the operator of "
            "the service for more room"
        )


@dataclass(slots=True)
class _Tally:
    """What a transaction adds to each workshop's storage."""

    by_workshop: dict[UUID, Stored] = field(default_factory=dict)
    is_exempt: bool = False


class _octets(FunctionElement[int]):  # noqa: N801 (SQLAlchemy's functions are written like this)
    """The bytes of a text in UTF-8, or of binary data."""

    type = sa.BigInteger()
    inherit_cache = True


@compiles(_octets)
def _octets_anywhere(element: Any, compiler: Any, **options: Any) -> str:
    return f"octet_length({compiler.process(element.clauses, **options)})"


@compiles(_octets, "sqlite")
def _octets_on_sqlite(element: Any, compiler: Any, **options: Any) -> str:
    # Without octet_length before 3.43; length() of a text counts characters.
    return f"length(CAST({compiler.process(element.clauses, **options)} AS BLOB))"


@cache
def _documents(table: sa.Table) -> tuple[sa.Column[Any], ...]:
    """Found once, because every row that is written asks."""
    columns = table.columns
    return tuple(each for each in columns if isinstance(each.type, JsonText | sa.LargeBinary) or each.name == "bill")


def _size(table: sa.Table) -> sa.ColumnElement[int]:
    """An expression: what a row counts for."""
    size: sa.ColumnElement[int] = sa.literal(ROW_BYTES, sa.BigInteger)
    for column in _documents(table):
        size = size + sa.func.coalesce(_octets(as_text(column)), 0)
    return size


def stored_in(
    connection: sa.Connection, table: sa.Table, workshop_id: UUID, *conditions: sa.ColumnElement[bool]
) -> Stored:
    """The rows of a workshop in a table that meet the conditions, summed up."""
    rows, size = connection.execute(_totals(table).where(*conditions), {"workshop_id": workshop_id}).one()
    return Stored(rows, int(size))


@cache
def _totals(table: sa.Table) -> sa.Select[int, int]:
    """Built once, because every change runs it."""
    totals = sa.select(sa.func.count(), sa.func.coalesce(sa.func.sum(_size(table)), 0)).select_from(table)
    return totals.where(table.c.workshop_id == sa.bindparam("workshop_id"))


def added(connection: sa.Connection, table: sa.Table, workshop_id: UUID, *conditions: sa.ColumnElement[bool]) -> None:
    """Count the rows that meet the conditions, which were just added."""
    count(connection, workshop_id, *stored_in(connection, table, workshop_id, *conditions))


def removed(connection: sa.Connection, table: sa.Table, workshop_id: UUID, *conditions: sa.ColumnElement[bool]) -> None:
    """No longer count the rows that meet the conditions, which are about to be removed."""
    rows, size = stored_in(connection, table, workshop_id, *conditions)
    count(connection, workshop_id, -rows, -size)


@contextmanager
def replaced(
    connection: sa.Connection, table: sa.Table, workshop_id: UUID, *conditions: sa.ColumnElement[bool]
) -> Iterator[None]:
    """Count what changes within this of the rows that meet the conditions, which exist or not."""
    removed(connection, table, workshop_id, *conditions)
    yield
    added(connection, table, workshop_id, *conditions)


def count(connection: sa.Connection, workshop_id: UUID, rows: int, size_bytes: int) -> None:
    """Count rows whose size is known already."""
    tally = _tally(connection).by_workshop
    before = tally.get(workshop_id, Stored(0, 0))
    tally[workshop_id] = Stored(before.rows + rows, before.size_bytes + size_bytes)


def size_as_stored(table: sa.Table, row: Any) -> int:
    """What a row in stored form counts for."""
    texts = (row[each.name] for each in _documents(table) if row.get(each.name) is not None)
    return ROW_BYTES + sum(len(text) if text.isascii() else len(text.encode()) for text in texts)


def exempt(connection: sa.Connection) -> None:
    """Let the transaction be carried out over the quota too: it takes something away, or counts for a day only."""
    _tally(connection).is_exempt = True


def _tally(connection: sa.Connection) -> _Tally:
    found: _Tally = connection.info[_TALLY]
    return found


@contextmanager
def metered(connection: sa.Connection, quota: Quota) -> Iterator[None]:
    """Within this, what is added and removed is counted; at the end it is added up.

    Raises:
        QuotaExceededError: a workshop now stores more than the quota, and more than before.
    """
    tally = connection.info[_TALLY] = _Tally()
    yield
    for workshop_id, growth in tally.by_workshop.items():
        stored = _add(connection, workshop_id, growth)
        if not tally.is_exempt and _is_over(quota, stored, growth):
            raise QuotaExceededError(stored, quota)


def _is_over(quota: Quota, stored: Stored, growth: Stored) -> bool:
    limits = zip((quota.rows, quota.size_bytes), stored, growth, strict=True)
    return any(most is not None and now > most and more > 0 for most, now, more in limits)


def _add(connection: sa.Connection, workshop_id: UUID, growth: Stored) -> Stored:
    values = {"workshop_id": workshop_id, "row_count": growth.rows, "byte_count": growth.size_bytes}
    return Stored(*connection.execute(_adding(connection.dialect.name), values).one())


@cache
def _adding(dialect: str) -> Any:
    new = inserting(dialect, storage_use)
    used = storage_use.c
    sums = {
        "row_count": used.row_count + new.excluded.row_count,
        "byte_count": used.byte_count + new.excluded.byte_count,
    }
    adding = new.on_conflict_do_update(index_elements=["workshop_id"], set_=sums)
    return adding.returning(used.row_count, used.byte_count)


def use_of(connection: sa.Connection, workshop_id: UUID) -> Stored:
    """What a workshop stores, as counted."""
    query = sa.select(storage_use.c.row_count, storage_use.c.byte_count)
    row = connection.execute(query.where(storage_use.c.workshop_id == workshop_id)).first()
    return Stored(0, 0) if row is None else Stored(*row)


def use_of_all(connection: sa.Connection) -> dict[UUID, Stored]:
    """What every workshop stores, as counted, for the operator."""
    return {
        row.workshop_id: Stored(row.row_count, row.byte_count) for row in connection.execute(sa.select(storage_use))
    }


def counted_anew(connection: sa.Connection, workshop_id: UUID) -> dict[str, Stored]:
    """What a workshop stores in each counted table, summed up from the rows; the sum becomes what is counted."""
    found = {name: stored_in(connection, table, workshop_id) for name, table in COUNTED.items()}
    rows, size = (sum(each) for each in zip(*found.values(), strict=True))
    before = use_of(connection, workshop_id)
    count(connection, workshop_id, rows - before.rows, size - before.size_bytes)
    return found
