"""The workshop and actor that every workflow works with."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from uuid import UUID

from service.domain.audit import Actor
from service.store.engine import metering
from service.store.engine.database import Connection, Database
from service.store.workshop.workshops import Workshop, find_workshop, lock_workshop


@dataclass(frozen=True, slots=True, kw_only=True)
class Workspace:
    """A workshop, its database, and who acts on it.

    Attributes:
        database: the database, or the view of it through an open transaction.
        workshop: as it was read with the actor's key.
        actor: recorded with each change.
    """

    database: Database
    workshop: Workshop
    actor: Actor

    @property
    def workshop_id(self) -> UUID:
        """The workshop's id."""
        return self.workshop.workshop_id

    def now(self) -> "Workspace":
        """The same, with the current state of the workshop."""
        with self.reading() as connection:
            found = find_workshop(connection, self.workshop_id)
        assert found is not None  # its key was accepted
        return replace(self, workshop=found)

    def reading(self) -> AbstractContextManager[Connection]:
        """A transaction that reads one consistent state and writes nothing."""
        return self.database.reading()

    def writing(self) -> AbstractContextManager[Connection]:
        """A transaction that is committed at the end, or rolled back on any error."""
        return self.database.writing()

    @contextmanager
    def changing(self) -> Iterator[Connection]:
        """A writing transaction that holds the workshop's lock."""
        with self.writing() as connection:
            lock_workshop(connection, self.workshop_id)
            yield connection

    @contextmanager
    def rehearsing(self) -> Iterator[Connection]:
        """Like `changing`, but rolled back at the end: what would be refused is refused, and nothing is stored."""
        with self.database.rehearsing() as connection:
            lock_workshop(connection, self.workshop_id)
            yield connection

    def let_others_write(self) -> None:
        """End a joint transaction in which nothing was written, and with it its lock; a later change begins it anew."""
        self.database.let_others_write()

    @contextmanager
    def taking_away(self) -> Iterator[Connection]:
        """Like `changing`, to remove something or take it back, which works over the quota too."""
        with self.changing() as connection:
            metering.exempt(connection)
            yield connection

    @contextmanager
    def snapshot(self) -> Iterator["Workspace"]:
        """A workspace to read from that sees one state only."""
        with self.database.snapshot() as frozen:
            yield replace(self, database=frozen)

    @contextmanager
    def until_answered(self) -> Iterator["Workspace"]:
        """A workspace whose changes are all one transaction, rolled back on any error."""
        with self.database.until_answered() as joint:
            yield replace(self, database=joint)
