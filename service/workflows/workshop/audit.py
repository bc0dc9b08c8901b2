"""Reading the audit trail."""

from uuid import UUID

from service.domain.audit import RecordedChange
from service.store.engine.database import Database
from service.store.workshop import audit
from service.store.workshop.audit import Chosen
from service.store.workshop.workshops import Workshop


def list_changes(
    database: Database, workshop: Workshop, chosen: Chosen, *, before: tuple[UUID, str] | None, limit: int
) -> list[RecordedChange]:
    """A page of what was changed, newest first."""
    with database.reading() as connection:
        return audit.page_of_changes(connection, workshop.workshop_id, chosen, before=before, limit=limit)
