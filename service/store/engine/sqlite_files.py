"""A SQLite database as a file: copied while in use, checked, put in the place of another."""

import fcntl
import hashlib
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

from service import clock
from service.whole_file import synchronise

_OURS = {"alembic_version", "workshops", "api_keys"}
_FIRST_BYTES = b"SQLite format 3\0"
_SHARED_FIRST, _SHARED_BYTES = 0x40000002, 510
"""Every open connection to a database in WAL mode holds a lock on these bytes (sqlite.org, "File Locking And
Concurrency In SQLite Version 3"; the offsets are from memory of its os.h)."""


class UnusableFileError(ValueError):
    """A file is not a whole database of this service."""

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"{path} cannot be used: {reason}")
        self.path = path
        self.reason = reason


class InUseElsewhereError(RuntimeError):
    """Somebody has the database open."""

    def __init__(self, path: Path) -> None:
        super().__init__(f"{path} is in use; stop the service, and whatever else has it open, and try again")
        self.path = path


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """The contents of an intact database: schema revision, number of rows, and digest of the file."""

    revision: str
    workshops: int
    rows: int
    size_bytes: int
    sha256: str


def copy_into(source: Path, target: Path) -> None:
    """Copy one state of a database, which may be in use, to an empty file; raises UnusableFileError."""
    try:
        with closing(sqlite3.connect(_address(source, "mode=rw"), uri=True, isolation_level=None)) as connection:
            connection.execute("VACUUM INTO ?", (str(target),))
    except sqlite3.DatabaseError as error:
        raise UnusableFileError(source, str(error)) from None


def _address(path: Path, options: str) -> str:
    return f"file:{quote(str(path.resolve()))}?{options}"


def holding_of(path: Path) -> Holding:
    """Check all of a database that nobody has open.

    Raises:
        UnusableFileError: it is not a database of this service, or is damaged or incomplete.
    """
    log = log_of(path)
    if log.exists() and log.stat().st_size:
        raise UnusableFileError(path, f"{log.name} beside it holds changes that are not in the file")
    try:
        with closing(sqlite3.connect(_address(path, "mode=ro&immutable=1"), uri=True)) as connection:
            return _holding(connection, path)
    except sqlite3.DatabaseError as error:
        raise UnusableFileError(path, str(error)) from None


def _holding(connection: sqlite3.Connection, path: Path) -> Holding:
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    if not tables >= _OURS:
        raise UnusableFileError(path, "it is not a database of this service")
    (found,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    if found != "ok":
        raise UnusableFileError(path, f"it is damaged: {found.splitlines()[-1]}")
    if orphans := connection.execute("PRAGMA foreign_key_check").fetchall():
        raise UnusableFileError(path, f"{len(orphans)} rows refer to missing rows, the first in {orphans[0][0]}")
    counts = {name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in tables}  # noqa: S608
    revisions = [name for (name,) in connection.execute("SELECT version_num FROM alembic_version")]
    if len(revisions) != 1:
        raise UnusableFileError(path, "it does not name one schema revision")
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return Holding(
        revision=revisions[0],
        workshops=counts["workshops"],
        rows=sum(counts.values()) - counts["alembic_version"],
        size_bytes=path.stat().st_size,
        sha256=digest,
    )


def exchange_for(new: Path, place: Path) -> Path | None:
    """Put a new file in the place of a database; returns where the old one is now, if there was one.

    At every moment the place holds either the old file or the new one. Both must be on the same disk.

    Raises:
        InUseElsewhereError: somebody has the old one open.
    """
    _give_as(new, place)
    if not place.exists():
        set_log_aside(place, dated(place))
        new.replace(place)
        synchronise(place.parent)
        return None
    aside = dated(place)
    with _alone_with(place):
        os.link(place, aside)
        set_log_aside(place, aside)
        synchronise(place.parent)
        new.replace(place)
        synchronise(place.parent)
    return aside


def dated(place: Path) -> Path:
    """The name under which what is in this place now is set aside."""
    return place.with_name(f"{place.name}.before-{clock.now():%Y%m%dT%H%M%S.%fZ}")


def log_of(place: Path) -> Path:
    """The write-ahead log of a database."""
    return place.with_name(f"{place.name}-wal")


def set_log_aside(place: Path, aside: Path) -> None:
    """Move a left-over log along with its own database: SQLite must never apply it to another."""
    log = log_of(place)
    if log.exists():
        log.replace(log_of(aside))
    place.with_name(f"{place.name}-shm").unlink(missing_ok=True)


def _give_as(new: Path, place: Path) -> None:
    """Give the new file the permissions and owner of the old one; if there is none, the directory's owner."""
    like = place if place.exists() else place.parent
    new.chmod(place.stat().st_mode & 0o777 if place.exists() else 0o600)
    if os.geteuid() == 0:
        shutil.chown(new, like.stat().st_uid, like.stat().st_gid)


@contextmanager
def _alone_with(path: Path) -> Iterator[None]:
    """Lock others out of a database, with its log merged into the file; a damaged one is left unchanged."""
    with path.open("rb") as file:
        is_database = file.read(len(_FIRST_BYTES)) == _FIRST_BYTES
    with ExitStack() as held:
        try:
            # SQLite deletes the log of a file that it does not take for a database.
            held.enter_context(_closed_to_others(path) if is_database else _locked(path))
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise InUseElsewhereError(path) from None
            raise UnusableFileError(path, str(error)) from None
        except sqlite3.DatabaseError:
            held.enter_context(_locked(path))
        yield


@contextmanager
def _closed_to_others(path: Path) -> Iterator[None]:
    with closing(sqlite3.connect(_address(path, "mode=rw"), uri=True, isolation_level=None, timeout=0)) as connection:
        # Leaving WAL mode needs every other connection closed, and merges the log into the file.
        connection.execute("PRAGMA journal_mode=DELETE")
        connection.execute("BEGIN EXCLUSIVE")
        yield


@contextmanager
def _locked(path: Path) -> Iterator[None]:
    """Take SQLite's own lock on a file that SQLite cannot open."""
    with path.open("r+b") as file, shared_lock_taken(file.fileno()) as is_taken:
        if not is_taken:
            raise InUseElsewhereError(path)
        yield


@contextmanager
def shared_lock_taken(descriptor: int) -> Iterator[bool]:
    """Keep everybody from opening a database; whether that was possible, because nobody has it open."""
    try:
        fcntl.lockf(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB, _SHARED_BYTES, _SHARED_FIRST)
    except OSError:
        yield False
        return
    try:
        yield True
    finally:
        fcntl.lockf(descriptor, fcntl.LOCK_UN, _SHARED_BYTES, _SHARED_FIRST)


def copy_whole(source: Path, target: Path) -> None:
    """Copy a file that nobody is writing to."""
    shutil.copyfile(source, target)
    synchronise(target)
