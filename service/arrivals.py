"""The rate limit of keys: a table in memory that the processes of one machine share."""

import fcntl
import mmap
import os
import struct
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from uuid import UUID

WINDOW_SECONDS = 60
_WINDOW = WINDOW_SECONDS * 1_000_000_000
_ROW = struct.Struct("=16sq")
_ROWS_A_BUCKET = 16
_BUCKETS = 4096
TABLE_BYTES = _BUCKETS * _ROWS_A_BUCKET * _ROW.size
"""Room for 65,536 keys in use within the same minute."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """What a key has left.

    Attributes:
        is_allowed: whether this request may be answered.
        limit: requests a minute, and as many at once.
        remaining: further requests possible now.
        full_after_seconds: until the whole limit is available again.
        retry_after_seconds: until the next request may be made; 0 if one may be made now.
    """

    is_allowed: bool
    limit: int
    remaining: int
    full_after_seconds: int
    retry_after_seconds: int


class Arrivals:
    """The theoretical arrival time of each key's next request (generic cell rate algorithm, ITU-T I.371, from memory).

    Each request moves its key's time forward by window ÷ limit, starting from now or later. A request that would move
    it further ahead than the window is refused and moves nothing. So a minute's requests may come at once, and then
    one per window ÷ limit.
    """

    def __init__(self, limit: int, table: Path | None = None, clock: Callable[[], int] = time.monotonic_ns) -> None:
        """Open the table.

        Args:
            limit: requests a minute for each key.
            table: a file of `TABLE_BYTES` shared with other processes; without one, the table is this process's.
            clock: monotonic nanoseconds, the same for every process of the machine.
        """
        self._step, self._limit, self._clock = _WINDOW // limit, limit, clock
        self._file = None if table is None else os.open(table, os.O_RDWR | os.O_CLOEXEC)
        self._table = mmap.mmap(-1 if self._file is None else self._file, TABLE_BYTES)
        self._lock = Lock()

    def admit(self, key: UUID) -> Allowance:
        """Count a request of the key, unless it exceeds the limit."""
        with self._alone():
            now = self._clock()
            place, arrival = self._row(key.bytes)
            ahead = max(arrival - now, 0)
            is_allowed = ahead + self._step <= self._step * self._limit
            if is_allowed:
                ahead += self._step
                _ROW.pack_into(self._table, place, key.bytes, now + ahead)
        return self._allowance(ahead, is_allowed=is_allowed)

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Lock the table against other threads and processes; the lock ends with the process."""
        with self._lock:
            if self._file is not None:
                fcntl.flock(self._file, fcntl.LOCK_EX)
            try:
                yield
            finally:
                if self._file is not None:
                    fcntl.flock(self._file, fcntl.LOCK_UN)

    def _row(self, key: bytes) -> tuple[int, int]:
        """Place and time of the key's row; a new key takes the row whose time ends first."""
        # The last bits of an id are random; the first are its time of creation.
        begin = int.from_bytes(key[-4:]) % _BUCKETS * _ROWS_A_BUCKET * _ROW.size
        end = begin + _ROWS_A_BUCKET * _ROW.size
        found = [
            (arrival, at, whose)
            for at, (whose, arrival) in zip(
                range(begin, end, _ROW.size), _ROW.iter_unpack(self._table[begin:end]), strict=True
            )
        ]
        for arrival, at, whose in found:
            if whose == key:
                return at, arrival
        return min(found)[1], 0

    def _allowance(self, ahead: int, *, is_allowed: bool) -> Allowance:
        left = self._step * self._limit - ahead
        return Allowance(
            is_allowed=is_allowed,
            limit=self._limit,
            remaining=left // self._step,
            full_after_seconds=_seconds_up(ahead),
            retry_after_seconds=_seconds_up(max(self._step - left, 0)),
        )


def _seconds_up(nanoseconds: int) -> int:
    return -(-nanoseconds // 1_000_000_000)
