"""One way to reach SQLite and PostgreSQL: short transactions, reading or writing."""

import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from copy import copy
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event

from service import time_limit
from service.memory import Memory, MemoryOfStates

_ROOM = 60_000
"""Registered things that are kept; one of them takes about 1.7 kB (measured with the demo workshop)."""
_BUSY_SECONDS = 5
_WRITING = "pugmill_writing"
_STEPS = 100_000
"""Of SQLite's virtual machine between two looks at the clock; some milliseconds."""
_POSTGRESQL = {
    "options": (
        "-c timezone=UTC -c statement_timeout=30s -c lock_timeout=10s -c idle_in_transaction_session_timeout=60s"
    ),
    # A server that is there and silent, or a network that swallows what is sent, is given up; seconds, but the last.
    "connect_timeout": 5,
    "keepalives_idle": 15,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 30_000,
}


class UnknownDatabaseError(ValueError):
    """The URL names no database that this service can use."""

    def __init__(self) -> None:
        super().__init__("DATABASE_URL must begin with sqlite:/// or postgresql+psycopg:// and name a database")


class RefusedRowsError(ValueError):
    """The database does not take rows: one is there twice, or what it refers to is not there."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"the rows do not hold together: {reason}")


@contextmanager
def refused_rows() -> Iterator[None]:
    """Tell what stands against rows in the database's own words, without the rows.

    Raises:
        RefusedRowsError: the database does not take them.
    """
    try:
        yield
    except (sa.exc.IntegrityError, sa.exc.DataError) as error:
        raise RefusedRowsError(str(error.orig).partition("\n")[0]) from None


def make_engine(url: str) -> sa.Engine:
    """An engine with this service's settings; explicit transactions on SQLite too.

    Raises:
        UnknownDatabaseError: the URL is not one of SQLite or PostgreSQL.
    """
    if not url.startswith(("sqlite:", "postgresql+psycopg:")):
        raise UnknownDatabaseError
    if url.startswith("sqlite"):
        return _sqlite_engine(url)
    asked = sa.make_url(url).query  # whoever runs the service may say otherwise
    ours = {name: value for name, value in _POSTGRESQL.items() if name not in asked}
    return sa.create_engine(url, hide_parameters=True, pool_pre_ping=True, connect_args=ours)


def _file_named(url: sa.URL) -> Path | None:
    """The file of a SQLite database; None if it is on a server or in memory."""
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return None
    return Path(url.database)


def _sqlite_engine(url: str) -> sa.Engine:
    engine = sa.create_engine(url, hide_parameters=True, connect_args={"timeout": _BUSY_SECONDS})
    file = _OneFile(_file_named(engine.url))

    @event.listens_for(engine, "do_connect")
    @event.listens_for(engine, "checkout")
    def look(*_: Any) -> None:
        file.check()

    @event.listens_for(engine, "connect")
    def configure(connection: Any, _record: Any) -> None:
        file.opened()
        connection.isolation_level = None  # the driver must not begin or commit on its own
        # WAL lets readers go on while one writes; NORMAL keeps every commit through a crash of the process,
        # FULL through a loss of power too, which a workshop's machine may well see.
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}")
        # A statement that is under way when the time for the answer is over is interrupted.
        connection.set_progress_handler(time_limit.is_over, _STEPS)

    @event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        # A writer takes the lock at once: a reader that turns writer half way would be refused, not queued.
        begin_now = "BEGIN IMMEDIATE" if connection.get_execution_options().get(_WRITING) else "BEGIN"
        driver: Any = connection.connection.dbapi_connection
        try:
            driver.execute(begin_now)
        except sqlite3.OperationalError as error:  # another process holds the lock: as SQLAlchemy tells it elsewhere
            raise sa.exc.OperationalError(begin_now, None, error) from error

    return engine


class _OneFile:
    """The file of a SQLite database, which must stay what it was when it was first opened.

    In WAL mode SQLite does not look: it would go on to write into a file that was moved away, and a new connection
    would make an empty file in its place or read the log that is left over into another database.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._first: tuple[int, int] | None = None

    def _now(self) -> tuple[int, int] | None:
        assert self._path is not None
        try:
            found = self._path.stat()
        except FileNotFoundError:
            return None
        return found.st_dev, found.st_ino

    def opened(self) -> None:
        """Which file it is, from the first time on."""
        if self._path is not None and self._first is None:
            self._first = self._now()

    def check(self) -> None:
        """Make sure that it is still there.

        Raises:
            sa.exc.OperationalError: SQLITE_READONLY_DBMOVED, SQLite's own code for this (sqlite.org/rescode.html).
        """
        if self._first is not None and self._now() != self._first:
            moved = sqlite3.OperationalError("the file was moved or replaced since it was opened")
            moved.sqlite_errorname = "SQLITE_READONLY_DBMOVED"
            raise sa.exc.OperationalError("opening the database", None, moved)


Connection = sa.Connection
"""A transaction under way, as the store's functions take it."""


class Database:
    """Where everything is kept.

    Attributes:
        engine: what reaches it.
        file: of a SQLite database; None if it is on a server or in memory.
        memory: values that were read from it, by the state that they follow from.
    """

    def __init__(self, url: str, *, has_memory: bool = True) -> None:
        self.engine = make_engine(url)
        self.file = _file_named(self.engine.url)
        self.memory: Memory[Any] = MemoryOfStates(_ROOM if has_memory else 0, len)
        is_sqlite = self.engine.dialect.name == "sqlite"  # whose readers see one state anyway
        self._reading = self.engine if is_sqlite else self.engine.execution_options(isolation_level="REPEATABLE READ")
        self._held: sa.Connection | None = None
        self._until_answered: ExitStack | None = None
        self._writing = self.engine.execution_options(**{_WRITING: True})

    def reading(self) -> AbstractContextManager[Connection]:
        """One consistent view; nothing is kept of it."""
        return self._reading.connect() if self._held is None else nullcontext(self._held)

    @contextmanager
    def snapshot(self) -> Iterator["Database"]:
        """A database to read from, whose readings are all of one state, and which remembers that state alone."""
        with self.reading() as connection:
            yield self.seen_through(connection)

    def seen_through(self, connection: Connection) -> "Database":
        """A database to read from, as a transaction under way sees it; what it remembers ends with that.

        One that holds the workshop's lock sees one state, and is not taken for idle while it is being read from.
        """
        frozen = copy(self)
        frozen.memory = Memory(_ROOM, len)
        frozen._held = connection
        return frozen

    def writing(self) -> AbstractContextManager[Connection]:
        """All or nothing: committed at the end, rolled back on any error."""
        return self._writing.begin() if self._until_answered is None else self._joined(self._until_answered)

    @contextmanager
    def _joined(self, open_until: ExitStack) -> Iterator[Connection]:
        """A part of the one transaction, which goes on."""
        if self._held is None:
            self._held = open_until.enter_context(self._writing.begin())
            self.memory = Memory(0, len)  # what is read from now on may never come to be
        yield self._held

    @contextmanager
    def until_answered(self) -> Iterator["Database"]:
        """A database of which all changes are one transaction, committed at the end or rolled back on any error.

        What is done before the first change holds nobody up; what is read after it sees it.
        """
        joint = copy(self)
        try:
            with ExitStack() as open_until:
                joint._until_answered = open_until
                yield joint
        finally:
            joint._held = joint._until_answered = None

    def dispose(self) -> None:
        """Close every connection."""
        self.engine.dispose()
