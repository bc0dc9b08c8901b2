"""Reading the audit trail."""

from uuid import UUID

from service.domain.audit import RecordedChange
from service.store.workshop import audit
from service.store.workshop.audit import Chosen
from service.workflows.workspace import Workspace


def list_changes(
    workspace: Workspace, chosen: Chosen, *, before: tuple[UUID, str] | None, limit: int
) -> list[RecordedChange]:
    """A page of what was changed, newest first."""
    with workspace.reading() as connection:
        return audit.page_of_changes(connection, workspace.workshop_id, chosen, before=before, limit=limit)
