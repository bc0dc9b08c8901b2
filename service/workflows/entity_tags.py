"""Entity tags, which identify a state, and the preconditions of a change."""

import hashlib
from collections.abc import Callable

from service.store.workshop.workshops import Workshop
from service.workflows.errors import PreconditionFailedError

_ENOUGH_DIGITS = 12
"""Last digits of a workshop's id, which are random: enough to tell workshops apart."""

Precondition = Callable[[str | None], bool]
"""Whether a change may go ahead, given the tag of the current state; None if there is none."""


def always(_tag: str | None) -> bool:
    """No precondition."""
    return True


def expect(tag: str | None, precondition: Precondition, what: str) -> None:
    """Raises PreconditionFailedError if the current state is not the one that the caller expects."""
    if not precondition(tag):
        raise PreconditionFailedError(what)


def tag(*parts: object) -> str:
    """A tag made of parts that identify the state."""
    return "-".join(map(str, parts))


def revision_tag(workshop: Workshop, revision: int) -> str:
    """The tag of a revision in this workshop; other workshops' tags for the same address differ."""
    return tag(workshop.workshop_id.hex[-_ENOUGH_DIGITS:], revision)


def content_tag(content: bytes) -> str:
    """The tag of a content: its digest."""
    return hashlib.sha256(content).hexdigest()[:32]
