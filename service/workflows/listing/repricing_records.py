"""Applied repricings: read, rolled back, and the prices that they set on a listing."""

from dataclasses import replace
from datetime import date
from uuid import UUID

from service import clock
from service.domain.listing.price_history import PriceHistoryEntry
from service.domain.values.references import Thing
from service.store.engine.database import Connection
from service.store.listing import dated_prices, repricings
from service.store.listing.repricings import Repricing
from service.store.workshop.workshops import next_revision
from service.workflows.entity_tags import Precondition, always, expect, tag
from service.workflows.errors import NotRegisteredError, SupersededError
from service.workflows.registering.registering import find_one
from service.workflows.workspace import Workspace


def tag_of(repricing: Repricing) -> str:
    """The tag of its state: only a rollback changes a repricing."""
    return tag(repricing.id, "applied" if repricing.rolled_back_at is None else "rolled-back")


def roll_back(
    workspace: Workspace, repricing_id: UUID, precondition: Precondition = always, *, is_dry_run: bool = False
) -> Repricing:
    """Take a repricing's prices back, all or none, so that those set before count again.

    From today on, if they are in force already: what was in force on the days before stays on record. A dry run stores
    nothing, and is refused as the rollback would be.

    Raises:
        PreconditionFailedError: the state has changed since the caller read it.
        NotRegisteredError: the workshop has no such repricing.
        SupersededError: it is rolled back already, or a later repricing has changed one of its prices.
    """
    with workspace.taking_away() as connection:
        found = _repricing(connection, workspace, repricing_id)
        expect(tag_of(found), precondition, f"repricing {repricing_id}")
        day = max(found.valid_from, workspace.workshop.today())
        superseded = dated_prices.count_superseded(connection, workspace.workshop_id, repricing_id, day)
        if found.rolled_back_at is not None or superseded:
            raise SupersededError(str(repricing_id), found.rolled_back_at, superseded)
        if is_dry_run:
            return found
        now = clock.now()
        repricings.roll_back(connection, workspace.workshop_id, found, now, workspace.actor, day)
        next_revision(connection, workspace.workshop_id)
    return replace(found, rolled_back_at=now, rolled_back_by=workspace.actor.name)


def find_repricing(workspace: Workspace, repricing_id: UUID) -> Repricing:
    """The repricing as it was applied; raises NotRegisteredError if the workshop has none with this id."""
    with workspace.reading() as connection:
        return _repricing(connection, workspace, repricing_id)


def _repricing(connection: Connection, workspace: Workspace, repricing_id: UUID) -> Repricing:
    found = repricings.find_repricing(connection, workspace.workshop_id, repricing_id)
    if found is None:
        raise NotRegisteredError(f"repricing {repricing_id}")
    return found


def list_repricings(workspace: Workspace, *, before: UUID | None, limit: int) -> list[Repricing]:
    """A page of repricings, newest first."""
    with workspace.reading() as connection:
        return repricings.page_of_repricings(connection, workspace.workshop_id, before=before, limit=limit)


def newest_repricing(workspace: Workspace) -> UUID:
    """The id of the repricing applied last; raises NotRegisteredError if there is none."""
    found = list_repricings(workspace, before=None, limit=1)
    if not found:
        raise NotRegisteredError("repricing that is the newest")
    return found[0].id


def list_changes(workspace: Workspace, repricing_id: UUID, *, after: str, limit: int) -> list[tuple[str, str]]:
    """A page of a repricing's changes: listing and JSON text of its `PriceChange`; raises NotRegisteredError."""
    with workspace.reading() as connection:
        _repricing(connection, workspace, repricing_id)
        return repricings.page_of_changes(connection, workspace.workshop_id, repricing_id, after=after, limit=limit)


def price_history(
    workspace: Workspace, listing: str, as_of: date, *, before: UUID | None, limit: int
) -> list[PriceHistoryEntry]:
    """A page of the prices set on a listing for the day or earlier, applied last first; raises NotRegisteredError."""
    find_one(workspace, Thing("listings", listing))
    with workspace.reading() as connection:
        return repricings.page_of_history(connection, workspace.workshop_id, listing, as_of, before=before, limit=limit)
