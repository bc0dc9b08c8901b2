"""Checks that a call stores nothing: commits are recorded, and after any commit the rows are compared."""

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID
from weakref import WeakKeyDictionary

import sqlalchemy as sa
from sqlalchemy import event

from service.store.engine.database import Database
from service.store.engine.stored_rows import as_stored

Stored = dict[str, list[str]]

READS = re.compile(r"\s*(SELECT|WITH|PRAGMA|SHOW|SET|EXPLAIN|SAVEPOINT|RELEASE|ROLLBACK)\b", re.IGNORECASE)
"""The beginnings of statements that store nothing, unless they contain one that does (WRITES_WITHIN)."""
BACK_TO = re.compile(r"ROLLBACK TO SAVEPOINT (\w+)")
WRITES_WITHIN = re.compile(r"\b(INSERT\s+INTO|(?<!FOR )(?<!KEY )UPDATE\s+\w|DELETE\s+FROM|MERGE\s+INTO)", re.IGNORECASE)


def everything_of(database: Database, workshop_id: UUID) -> Stored:
    """Every row of the workshop in every table, including its revision and its keys."""
    with database.reading() as connection:
        return {
            table.name: sorted(
                repr(tuple(row))
                for row in connection.execute(sa.select(table).where(table.c.workshop_id == workshop_id))
            )
            for table in as_stored.sorted_tables
        }


def is_a_write(statement: str) -> bool:
    return READS.match(statement) is None or WRITES_WITHIN.search(statement) is not None


@dataclass(eq=False)
class Heard:
    """The writing statements of all connections to a database.

    Attributes:
        database: the database.
        workshop_id: the workshop whose rows are read before the first writing statement.
        committed: the statements of committed transactions, in order of commit.
        under_way: by connection, the statements that its open transaction would commit now, and its savepoints.
        before: the workshop's rows before the first writing statement; None until there is one.
    """

    database: Database
    workshop_id: UUID
    committed: list[str] = field(default_factory=list)
    under_way: dict[sa.Connection, list[str]] = field(default_factory=dict)
    before: Stored | None = None

    def on_execute(self, connection: sa.Connection, _cursor: Any, statement: str, *_: Any) -> None:
        said = self.under_way.setdefault(connection, [])
        if back := BACK_TO.match(statement):
            marks = [place for place, each in enumerate(said) if each == f"SAVEPOINT {back[1]}"]
            del said[marks[-1] + 1 if marks else 0 :]
        elif is_a_write(statement):
            if self.before is None:  # the statement has not run yet, so these are the rows before it
                self.before = everything_of(self.database, self.workshop_id)
            waits = connection.get_execution_options().get("isolation_level") != "AUTOCOMMIT"
            (said if waits else self.committed).append(statement)
        elif statement.startswith("SAVEPOINT"):
            said.append(statement)

    def on_commit(self, connection: sa.Connection) -> None:
        self.committed += [each for each in self.under_way.pop(connection, []) if is_a_write(each)]

    def on_rollback(self, connection: sa.Connection) -> None:
        self.under_way.pop(connection, None)


_LISTENING: WeakKeyDictionary[Database, list[Heard]] = WeakKeyDictionary()
"""Each database has one set of event listeners, which pass events on to all `Heard` objects in its list."""


def _listened_to(database: Database) -> list[Heard]:
    if database not in _LISTENING:
        listening = _LISTENING[database] = list[Heard]()

        def pass_on(name: str, told: str) -> None:
            def tell(*told_what: Any) -> None:
                for each in listening:
                    getattr(each, name)(*told_what)

            event.listen(database.engine, told, tell)

        pass_on("on_execute", "before_cursor_execute")
        pass_on("on_commit", "commit")
        pass_on("on_rollback", "rollback")
    return _LISTENING[database]


@contextmanager
def nothing_is_stored(database: Database, workshop_id: UUID) -> Iterator[None]:
    """Fail if any row of the workshop differs afterwards, naming the statements that were committed.

    What is rolled back is not stored. Nor is what is committed and then undone by another commit: an idempotency key
    is claimed for a request and released when the request is refused.
    """
    heard, listening = Heard(database, workshop_id), _listened_to(database)
    listening.append(heard)
    try:
        yield
    finally:
        listening.remove(heard)
    if heard.committed:
        statements = "\n".join(heard.committed)
        assert everything_of(database, workshop_id) == heard.before, f"stored by:\n{statements}"
