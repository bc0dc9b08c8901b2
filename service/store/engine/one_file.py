"""The file of a SQLite database, which must stay the one that was opened, with a log of its own."""

import fcntl
import logging
import os
import sqlite3
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Lock
from typing import NoReturn

import sqlalchemy as sa

from service.store.engine.sqlite_files import dated, log_of, set_log_aside, shared_lock_taken
from service.whole_file import synchronise

_MODE_PLACE, _ROLLBACK = 18, b"\x01\x01"
"""Two bytes of the header say whether a database has a write-ahead log (sqlite.org, "Database File Format", 1.3.3)."""
_logger = logging.getLogger("pugmill")
_users: Counter[tuple[int, int]] = Counter()
_idle: dict[tuple[int, int], list[int]] = {}
"""Closing any descriptor of a file ends all locks that the process has on it, those of SQLite's connections too
(POSIX, fcntl). So descriptors are closed together, when nothing in this process uses the file any more."""


class OneFile:
    """The file of a SQLite database.

    In WAL mode SQLite does not check that a file stays the one that was opened: it would go on writing to a file that
    was moved away, and apply the old log to another database that was put in its place, also after a crash or at the
    end of the process. A backup, as `pugmill backup` makes it, is in rollback mode and so has no log: a log beside it
    is the one of the file that was there before.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._descriptor: int | None = None
        self._first: tuple[int, int] | None = None
        self._has_log = False
        self._lock = Lock()

    def look(self) -> None:
        """Before a connection is used: open the file, or check that it is still the same one.

        The first time, a missing file is created for its owner alone, and a foreign log is set aside.

        Raises:
            sa.exc.OperationalError: SQLITE_READONLY_DBMOVED, SQLite's own code for this (sqlite.org/rescode.html).
        """
        if self._path is None:
            return
        with self._lock:
            if self._descriptor is None:
                self._open(self._path)
            elif self._identity(self._path) != self._first:
                _refuse("the file was moved or replaced since it was opened")
            elif self._is_overwritten():
                _refuse("another database was copied over the file since it was opened")

    def _open(self, path: Path) -> None:
        with suppress(OSError):  # what cannot be opened here, SQLite cannot open either, and says so
            os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        try:
            self._descriptor = os.open(path, os.O_RDWR if os.access(path, os.W_OK) else os.O_RDONLY)
        except OSError:
            return
        found = os.fstat(self._descriptor)
        self._first = found.st_dev, found.st_ino
        _users[self._first] += 1
        log = log_of(path)
        if log.exists() and log.stat().st_size and self._is_in_rollback_mode():
            self._set_foreign_log_aside(path, self._descriptor)

    def _set_foreign_log_aside(self, path: Path, descriptor: int) -> None:
        with shared_lock_taken(descriptor) as is_taken:
            if not is_taken:
                _refuse("another database was put in the place of one that is still in use")
            aside = dated(path)
            set_log_aside(path, aside)
            synchronise(path.parent)
        _logger.warning("%s belonged to another database; it was set aside as %s", log_of(path), log_of(aside))

    def logs(self) -> None:
        """Note that the database is in WAL mode now."""
        self._has_log = True

    @contextmanager
    def closing(self) -> Iterator[None]:
        """Within this, a connection is closed. It does not apply its log to a database that was copied over its own.

        A connection that is the last one applies its log when it is closed, unless its file was moved.
        """
        with self._lock:
            if self._path is None or self._descriptor is None:
                yield
            else:
                with self._away_if_overwritten(self._path):
                    yield

    def leave(self) -> None:
        """Close the file, once all connections are closed."""
        with self._lock:
            if self._descriptor is not None:
                self._close()

    @contextmanager
    def _away_if_overwritten(self, path: Path) -> Iterator[None]:
        """Give the file another name for this moment, if another database was copied over it."""
        assert self._descriptor is not None
        fcntl.flock(self._descriptor, fcntl.LOCK_EX)  # one process at a time; another may have given it that name
        try:
            if self._identity(path) != self._first or not self._is_overwritten():
                yield
                return
            away = path.with_name(f"{path.name}.closing")
            path.rename(away)
            try:
                yield
            finally:
                away.rename(path)
        finally:
            fcntl.flock(self._descriptor, fcntl.LOCK_UN)

    def _close(self) -> None:
        assert self._first is not None
        assert self._descriptor is not None
        _idle.setdefault(self._first, []).append(self._descriptor)
        _users[self._first] -= 1
        if not _users[self._first]:
            del _users[self._first]
            for each in _idle.pop(self._first):
                os.close(each)
        self._descriptor, self._first, self._has_log = None, None, False

    def _is_overwritten(self) -> bool:
        return self._has_log and self._is_in_rollback_mode()

    def _is_in_rollback_mode(self) -> bool:
        assert self._descriptor is not None
        return os.pread(self._descriptor, len(_ROLLBACK), _MODE_PLACE) == _ROLLBACK

    @staticmethod
    def _identity(path: Path) -> tuple[int, int] | None:
        try:
            found = path.stat()
        except FileNotFoundError:
            return None
        return found.st_dev, found.st_ino


def _refuse(reason: str) -> NoReturn:
    moved = sqlite3.OperationalError(reason)
    moved.sqlite_errorname = "SQLITE_READONLY_DBMOVED"
    raise sa.exc.OperationalError("opening the database", None, moved)
