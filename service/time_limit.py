"""How long an answer may take: whoever works on it looks at the clock where one step is done and the next begins."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar


class OutOfTimeError(RuntimeError):
    """The work takes longer than it may; it is given up, and what it would have stored is not stored."""

    def __init__(self) -> None:
        super().__init__("the work takes longer than it may")


ALLOWED = "pugmill.seconds"
"""In a request's environ, once it is known: the seconds that its answer may take."""
_end: ContextVar[float | None] = ContextVar("end", default=None)
"""On the machine's steady clock; None where nothing is limited."""


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Allow so much time for what is done in here."""
    token = _end.set(time.monotonic() + seconds)
    try:
        yield
    finally:
        _end.reset(token)


def is_over() -> bool:
    """Whether the time is used up."""
    end = _end.get()
    return end is not None and time.monotonic() >= end


def next_step() -> None:
    """Go on, if there is time.

    Raises:
        OutOfTimeError: there is none left.
    """
    if is_over():
        raise OutOfTimeError
