"""Repricings that were applied: read, rolled back, and the prices that they put in force on a listing."""

from dataclasses import replace
from uuid import UUID

from service import clock
from service.domain.audit import Actor
from service.domain.listing.price_history import PriceHistoryEntry
from service.store.engine.database import Connection, Database
from service.store.listing import repricings
from service.store.listing.repricings import Repricing
from service.store.workshop.workshops import Workshop, lock_workshop, next_revision
from service.workflows.entity_tags import Precondition, always, expect, tag
from service.workflows.errors import NotRegisteredError, SupersededError
from service.workflows.registering.registering import find_one


def tag_of(repricing: Repricing) -> str:
    """Tells its state: nothing of a repricing changes but that it is rolled back."""
    return tag(repricing.id, "applied" if repricing.rolled_back_at is None else "rolled-back")


def roll_back(
    database: Database, workshop: Workshop, repricing_id: UUID, by: Actor, precondition: Precondition = always
) -> Repricing:
    """Put the prices back in force that a repricing took the place of, all of them or none.

    Raises:
        PreconditionFailedError: the caller had seen another state.
        NotRegisteredError: the workshop has no such repricing.
        SupersededError: it is rolled back already, or a later one has changed a price of its own.
    """
    with database.writing() as connection:
        lock_workshop(connection, workshop.workshop_id)
        found = _repricing(connection, workshop, repricing_id)
        expect(tag_of(found), precondition, f"repricing {repricing_id}")
        superseded = repricings.count_superseded(connection, workshop.workshop_id, repricing_id)
        if found.rolled_back_at is not None or superseded:
            raise SupersededError(str(repricing_id), found.rolled_back_at, superseded)
        now = clock.now()
        repricings.roll_back(connection, workshop.workshop_id, repricing_id, now, by)
        next_revision(connection, workshop.workshop_id)
    return replace(found, rolled_back_at=now, rolled_back_by=by.name)


def find_repricing(database: Database, workshop: Workshop, repricing_id: UUID) -> Repricing:
    """The repricing as it was applied.

    Raises:
        NotRegisteredError: the workshop has no such repricing.
    """
    with database.reading() as connection:
        return _repricing(connection, workshop, repricing_id)


def _repricing(connection: Connection, workshop: Workshop, repricing_id: UUID) -> Repricing:
    found = repricings.find_repricing(connection, workshop.workshop_id, repricing_id)
    if found is None:
        raise NotRegisteredError(f"repricing {repricing_id}")
    return found


def list_repricings(database: Database, workshop: Workshop, *, before: UUID | None, limit: int) -> list[Repricing]:
    """A page of repricings, newest first."""
    with database.reading() as connection:
        return repricings.page_of_repricings(connection, workshop.workshop_id, before=before, limit=limit)


def list_changes(
    database: Database, workshop: Workshop, repricing_id: UUID, *, after: str, limit: int
) -> list[tuple[str, str]]:
    """A page of a repricing's changes: each listing with the JSON text of its `PriceChange`, beyond a listing.

    Raises:
        NotRegisteredError: the workshop has no such repricing.
    """
    with database.reading() as connection:
        _repricing(connection, workshop, repricing_id)
        return repricings.page_of_changes(connection, workshop.workshop_id, repricing_id, after=after, limit=limit)


def price_history(
    database: Database, workshop: Workshop, listing: str, *, before: UUID | None, limit: int
) -> list[PriceHistoryEntry]:
    """A page of the prices that came into force on a listing, newest first.

    Raises:
        NotRegisteredError: the listing is not registered.
    """
    find_one(database, workshop, "listings", listing)
    with database.reading() as connection:
        return repricings.page_of_history(connection, workshop.workshop_id, listing, before=before, limit=limit)
