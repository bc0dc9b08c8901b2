"""Reading the audit trail."""

from uuid import UUID

from service.domain.audit import RecordedChange
from service.store import changes
from service.store.changes import Chosen
from service.store.database import Database
from service.store.workshops import Workshop


def list_changes(
    database: Database, workshop: Workshop, chosen: Chosen, *, before: tuple[UUID, str] | None, limit: int
) -> list[RecordedChange]:
    """A page of what was changed, newest first."""
    with database.reading() as connection:
        return changes.page_of_changes(connection, workshop.workshop_id, chosen, before=before, limit=limit)
