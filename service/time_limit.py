"""The time limit of an answer, checked between the steps of the work."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar


class OutOfTimeError(RuntimeError):
    """The work exceeded its time limit and is given up; nothing of it is stored."""

    def __init__(self) -> None:
        super().__init__("the work exceeded its time limit")


_end: ContextVar[float | None] = ContextVar("end", default=None)
"""On the monotonic clock; None if there is no limit."""


@contextmanager
def within(seconds: float) -> Iterator[None]:
    """Limit the time of what is done within the context."""
    token = _end.set(time.monotonic() + seconds)
    try:
        yield
    finally:
        _end.reset(token)


def is_over() -> bool:
    """Whether the time limit is exceeded."""
    end = _end.get()
    return end is not None and time.monotonic() >= end


def seconds_left() -> float | None:
    """Seconds until the time limit, 0 if it is exceeded; None if there is none."""
    end = _end.get()
    return None if end is None else max(end - time.monotonic(), 0)


def next_step() -> None:
    """Check the time limit before the next step.

    Raises:
        OutOfTimeError: if it is exceeded.
    """
    if is_over():
        raise OutOfTimeError
