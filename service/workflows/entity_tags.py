"""Entity tags, which tell a state of something from every other, and what a caller expects of the state he changes."""

import hashlib
from collections.abc import Callable

from service.store.workshop.workshops import Workshop
from service.workflows.errors import PreconditionFailedError

_ENOUGH_DIGITS = 12
"""Of a workshop's id, from its end, where it is random: no two workshops have the same."""

Precondition = Callable[[str | None], bool]
"""Whether a change may go ahead, given the tag of the state that is there now (None if nothing is)."""


def always(_tag: str | None) -> bool:
    """No precondition."""
    return True


def expect(tag: str | None, precondition: Precondition, what: str) -> None:
    """Go ahead only from the state that the caller knows.

    Raises:
        PreconditionFailedError: it is another.
    """
    if not precondition(tag):
        raise PreconditionFailedError(what)


def tag(*parts: object) -> str:
    """The tag of a state that these tell from every other."""
    return "-".join(str(part) for part in parts)


def revision_tag(workshop: Workshop, revision: int) -> str:
    """The tag of a revision: of this workshop's row alone, though others have the same address."""
    return tag(workshop.workshop_id.hex[-_ENOUGH_DIGITS:], revision)


def content_tag(content: bytes) -> str:
    """The tag of what is told from every other by all that it says."""
    return hashlib.sha256(content).hexdigest()[:32]
