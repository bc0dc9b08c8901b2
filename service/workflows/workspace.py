"""Who acts on what: what each workflow of a workshop begins with."""

from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from uuid import UUID

from service.domain.audit import Actor
from service.store.engine.database import Connection, Database
from service.store.workshop.workshops import Workshop, find_workshop, lock_workshop


@dataclass(frozen=True, slots=True, kw_only=True)
class Workspace:
    """A workshop where it is kept, and who acts on it.

    Attributes:
        database: where it is kept, or the part of it that a transaction under way sees.
        workshop: as it was read with the actor's key.
        actor: as what he changes is put on record.
    """

    database: Database
    workshop: Workshop
    actor: Actor

    @property
    def workshop_id(self) -> UUID:
        """The workshop's id."""
        return self.workshop.workshop_id

    def now(self) -> "Workspace":
        """The same, with the workshop as it is now."""
        with self.reading() as connection:
            found = find_workshop(connection, self.workshop_id)
        assert found is not None  # its key was let in
        return replace(self, workshop=found)

    def reading(self) -> AbstractContextManager[Connection]:
        """One consistent view; nothing is kept of it."""
        return self.database.reading()

    def writing(self) -> AbstractContextManager[Connection]:
        """All or nothing: committed at the end, rolled back on any error."""
        return self.database.writing()

    @contextmanager
    def changing(self) -> Iterator[Connection]:
        """All or nothing, and nobody else changes the workshop's things meanwhile."""
        with self.writing() as connection:
            lock_workshop(connection, self.workshop_id)
            yield connection

    @contextmanager
    def snapshot(self) -> Iterator["Workspace"]:
        """The same to read from, in one state that nobody changes."""
        with self.database.snapshot() as frozen:
            yield replace(self, database=frozen)

    @contextmanager
    def until_answered(self) -> Iterator["Workspace"]:
        """The same, where all that is written is one transaction, committed at the end or rolled back on any error."""
        with self.database.until_answered() as joint:
            yield replace(self, database=joint)
