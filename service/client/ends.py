"""How the workshop's commands end, and why."""

from collections.abc import Mapping
from enum import IntEnum
from typing import Any


class End(IntEnum):
    """A command's exit status, for whatever has started it."""

    DONE = 0
    FAILED = 1
    MISUSED = 2
    WAITING = 3
    TRY_AGAIN = 4


ENDS = """It ends with
  0  done, or there was nothing to do
  1  refused or failed; the reason stands on standard error
  2  the command line makes no sense
  3  done, but something waits for somebody to look at it
  4  the service or its feed is out of reach or busy, or something was changed at the same moment: run it again later"""


class EndedError(Exception):
    """Why a command does not end with 0.

    Attributes:
        end: what it ends with.
    """

    end = End.FAILED


class RefusedError(EndedError):
    """The service did not do what it was asked to, or cannot be reached.

    Attributes:
        status: the HTTP status of its answer, if it gave one.
        problem: the problem document (RFC 9457), as far as it answered with one.
    """

    def __init__(self, told: str, status: int | None = None, problem: Mapping[str, Any] | None = None) -> None:
        super().__init__(told)
        self.status, self.problem = status, problem or {}


class OutOfReachError(RefusedError):
    """The same a while later may be done."""

    end = End.TRY_AGAIN


class WaitingError(EndedError):
    """It is done, and something waits for somebody to look at it."""

    end = End.WAITING
