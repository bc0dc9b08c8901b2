"""Changes one registered thing: checks the precondition, raises the revision, and records the change."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from service.domain.audit import Action, Change
from service.domain.values.message import PlausibilityWarning
from service.store.engine.database import Connection
from service.store.workshop import audit
from service.store.workshop.workshops import next_revision
from service.workflows.entity_tags import Precondition, expect, revision_tag
from service.workflows.workspace import Workspace


class Entry(NamedTuple):
    """A change to one thing.

    Attributes:
        what: its name in messages.
        subject: its name in the audit trail.
        there: its present value, and the workshop's revision when that last changed; None if there is none.
        wanted: its new value; None to remove it.
        save: stores the new value under a revision, or raises.
        gone: the action in the audit trail if it is removed.
    """

    what: str
    subject: str
    there: tuple[Any, int] | None
    wanted: Any
    save: Callable[[int], object]
    gone: Action = Action.WITHDRAWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Registering:
    """The result of a change.

    Attributes:
        action: as in the audit trail; None if nothing changed.
        revision: the workshop's revision when the row last changed.
        state: the present value; if nothing changed, in the digits in which it was first sent.
        warnings: what looks implausible about it.
    """

    action: Action | None
    revision: int
    state: Any
    warnings: tuple[PlausibilityWarning, ...] = ()


@dataclass(slots=True)
class OneAct:
    """Changes made together: they have one revision, and are recorded as one act.

    Attributes:
        revision: the workshop's revision with these changes; 0 before the first.
    """

    changes: list[Change] = field(default_factory=list)
    revision: int = 0

    def record(self, connection: Connection, workspace: Workspace) -> None:
        """Record what was changed, if anything was."""
        if self.changes:
            audit.record(connection, workspace.workshop_id, workspace.actor, self.changes)


def change(
    connection: Connection, workspace: Workspace, entry: Entry, precondition: Precondition, act: OneAct | None = None
) -> Registering:
    """Apply a change under the workshop's lock; the same again changes nothing.

    Args:
        act: the act that it is a part of, which the caller records; an act of its own if None.

    Raises:
        PreconditionFailedError: the state has changed since the caller read it.
    """
    before, revision_now = entry.there or (None, None)
    expect(None if revision_now is None else revision_tag(workspace.workshop, revision_now), precondition, entry.what)
    if revision_now is not None and before == entry.wanted:
        return Registering(action=None, revision=revision_now, state=before)
    whole = act or OneAct()
    whole.revision = whole.revision or next_revision(connection, workspace.workshop_id)
    entry.save(whole.revision)
    registered = Action.REGISTERED if revision_now is None else Action.REPLACED
    action = entry.gone if entry.wanted is None else registered
    whole.changes.append(Change(subject=entry.subject, action=action, before=before, after=entry.wanted))
    if act is None:
        whole.record(connection, workspace)
    return Registering(action=action, revision=whole.revision, state=entry.wanted)
