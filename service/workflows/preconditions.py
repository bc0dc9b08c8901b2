"""What a caller knows of the state that he changes."""

from collections.abc import Callable

from service.workflows.errors import PreconditionFailedError

Precondition = Callable[[str], bool]
"""Whether a change may go ahead, given the tag of the state that is there now."""


def always(_tag: str) -> bool:
    """No precondition."""
    return True


def expect(tag: str, precondition: Precondition, what: str) -> None:
    """Go ahead only from the state that the caller knows.

    Raises:
        PreconditionFailedError: it is another.
    """
    if not precondition(tag):
        raise PreconditionFailedError(what)
