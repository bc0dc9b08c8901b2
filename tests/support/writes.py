"""What is stored: heard as it is committed, and looked at where something was."""

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
from service.store.engine.tables import as_stored

Stored = dict[str, list[str]]

READS = re.compile(r"\s*(SELECT|WITH|PRAGMA|SHOW|SET|EXPLAIN|SAVEPOINT|RELEASE|ROLLBACK)\b", re.IGNORECASE)
"""How a statement begins that stores nothing, unless one that does stands within it."""
BACK_TO = re.compile(r"ROLLBACK TO SAVEPOINT (\w+)")
WRITES_WITHIN = re.compile(r"\b(INSERT\s+INTO|(?<!FOR )(?<!KEY )UPDATE\s+\w|DELETE\s+FROM|MERGE\s+INTO)", re.IGNORECASE)


def everything_of(database: Database, workshop_id: UUID) -> Stored:
    """Every row of every table that belongs to the workshop, its revision and its keys among them."""
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
    """The statements that write in a database, by every connection.

    Attributes:
        database: that one.
        workshop_id: whose rows are looked at before the first statement that writes.
        committed: those of the transactions that were committed, in the order of that.
        under_way: what of the transactions that are not over would be committed now, savepoints among it.
        before: the workshop's rows; None as long as nothing has written.
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
            if self.before is None:  # it is not executed yet, so what is committed is what there was
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
"""Each database is listened to once, for whoever wants to hear at the time."""


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
    """Fail if anything of the workshop's is stored otherwise afterwards, and name the statements that did it.

    What is rolled back is not stored. What is committed, and undone by another commit, is none either: an
    idempotency key is claimed for a request and left free again when it is refused.
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
