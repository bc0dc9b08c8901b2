"""Exit statuses of the owner's commands, and the errors that cause them."""

from collections.abc import Mapping
from enum import IntEnum
from typing import Any


class End(IntEnum):
    """Exit status of a command."""

    DONE = 0
    FAILED = 1
    MISUSED = 2
    WAITING = 3
    TRY_AGAIN = 4


ENDS = """Exit status
  0  done, or there was nothing to do
  1  refused or failed; the reason is on standard error
  2  the command line is wrong
  3  done, but something needs attention
  4  busy or out of reach, or somebody changed something meanwhile: try again"""


class EndedError(Exception):
    """Why the exit status is not 0.

    Attributes:
        end: the exit status.
    """

    end = End.FAILED


class RefusedError(EndedError):
    """The service refused, or cannot be reached.

    Attributes:
        status: the HTTP status of its answer, if there is one.
        problem: its problem document (RFC 9457); empty if there is none.
    """

    def __init__(self, told: str, status: int | None = None, problem: Mapping[str, Any] | None = None) -> None:
        super().__init__(told)
        self.status, self.problem = status, problem or {}


class OutOfReachError(RefusedError):
    """The service cannot be reached or is busy; a retry later may succeed."""

    end = End.TRY_AGAIN


class WaitingError(EndedError):
    """The job is done, but something needs attention."""

    end = End.WAITING
