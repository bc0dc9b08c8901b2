"""Connections to PostgreSQL that are given up when the server does not answer within the time limit of an answer."""

from typing import Any

import psycopg

from service import time_limit

SPARE_SECONDS = 5
"""Extra time after the time limit, for the server to notice that it is over."""


class NoAnswerError(psycopg.OperationalError):
    """The server did not answer in time, and its connection was closed."""

    sqlstate = "08S01"

    def __init__(self) -> None:
        super().__init__("the server did not answer within the time limit")


class PatientConnection(psycopg.Connection[Any]):
    """A connection on which nothing is awaited long after the time limit.

    The server's own timeouts do not help if it, or a node behind it, is silent.
    """

    def wait(self, gen: Any, interval: float = 0.1, timeout: float | None = None) -> Any:
        """What the server answers; raises NoAnswerError if it does not in time."""
        left = time_limit.seconds_left()
        if timeout is not None or left is None:
            return super().wait(gen, interval, timeout)
        try:
            return super().wait(gen, interval, max(left, 0) + SPARE_SECONDS)
        except psycopg.Error as error:
            if error.sqlstate is None and time_limit.seconds_left() == 0:
                self.pgconn.finish()
                raise NoAnswerError from None
            raise
