"""Changing one thing that is registered: from the state that the caller knows, under a revision, and on record."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, NamedTuple

from service.domain.audit import Action, Change
from service.store.engine.database import Connection
from service.store.workshop import audit
from service.store.workshop.workshops import next_revision
from service.workflows.entity_tags import Precondition, expect, revision_tag
from service.workflows.workspace import Workspace


class Entry(NamedTuple):
    """What is to become of one thing.

    Attributes:
        what: as a message calls it.
        subject: as the record calls it.
        there: what is registered now and the workshop's revision when that last changed; None where nothing is.
        wanted: what is to be registered instead; None to take it back.
        save: keeps what is wanted under a revision, or refuses it.
        gone: how the record calls it if it is taken back.
    """

    what: str
    subject: str
    there: tuple[Any, int] | None
    wanted: Any
    save: Callable[[int], object]
    gone: Action = Action.WITHDRAWN


@dataclass(frozen=True, slots=True, kw_only=True)
class Registering:
    """What registering did, and what is there after it.

    Attributes:
        action: as it is on record; None where nothing changed.
        revision: the workshop's revision when the row last changed.
        state: what is registered now. Where nothing changed, in the digits in which it was first sent.
    """

    action: Action | None
    revision: int
    state: Any


def change(connection: Connection, workspace: Workspace, entry: Entry, precondition: Precondition) -> Registering:
    """Make of a thing what is wanted, under the workshop's lock; the same again changes nothing.

    Raises:
        PreconditionFailedError: the caller had seen another state.
    """
    before, revision_now = entry.there or (None, None)
    expect(None if revision_now is None else revision_tag(workspace.workshop, revision_now), precondition, entry.what)
    if revision_now is not None and before == entry.wanted:
        return Registering(action=None, revision=revision_now, state=before)
    revision = next_revision(connection, workspace.workshop_id)
    entry.save(revision)
    registered = Action.REGISTERED if revision_now is None else Action.REPLACED
    action = entry.gone if entry.wanted is None else registered
    made = Change(subject=entry.subject, action=action, before=before, after=entry.wanted)
    audit.record(connection, workspace.workshop_id, workspace.actor, [made])
    return Registering(action=action, revision=revision, state=entry.wanted)
