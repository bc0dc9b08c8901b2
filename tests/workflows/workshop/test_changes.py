"""Reading the record of changes: newest first, and only what is asked for."""

from service.domain.audit import Action, RecordedChange
from service.store.workshop.audit import Chosen
from service.workflows.workshop.audit import list_changes
from tests.support import builders
from tests.workflows.owner import Owner


def recorded(
    owner: Owner, before: RecordedChange | None = None, limit: int = 100, **chosen: str
) -> list[RecordedChange]:
    beyond = None if before is None else (before.change_id, before.subject)
    return list_changes(owner.workspace, Chosen(**chosen), before=beyond, limit=limit)


def test_changes_are_listed_newest_first_from_where_the_page_before_ended(owner: Owner) -> None:
    owner.put("materials/hdpe", builders.material())
    owner.put("materials/hdpe", builders.material(name="Bottle flakes"))
    owner.retire("materials/hdpe")

    newest, second = recorded(owner, limit=2)
    rest = recorded(owner, before=second)

    assert [each.action for each in (newest, second, *rest)] == [
        Action.RETIRED,
        Action.REPLACED,
        Action.REGISTERED,
        Action.KEY_CREATED,
    ]
    assert {each.by for each in (newest, second)} == {"owner"}


def test_changes_of_another_workshop_are_not_listed(owner: Owner, other_owner: Owner) -> None:
    owner.put("materials/hdpe", builders.material())

    assert [each.action for each in recorded(other_owner)] == [Action.KEY_CREATED]
