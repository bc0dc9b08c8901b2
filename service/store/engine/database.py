"""Access to SQLite and PostgreSQL: short transactions that read or write."""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from copy import copy
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event

from service import time_limit
from service.memory import MEGABYTE, Memory, MemoryOfStates
from service.store.engine.metering import Quota, metered
from service.store.engine.one_file import OneFile
from service.store.engine.prepared import Prepared

_ROOM = 100 * MEGABYTE
"""What a process remembers of the states of its workshops."""
_ROOM_OF_A_SNAPSHOT = 24 * MEGABYTE
"""What one piece of work remembers of the state that it sees."""
_BUSY_SECONDS = 5
_POOL = {"pool_size": 5, "max_overflow": 20, "pool_use_lifo": True}
"""As many connections as a process has threads, of which a few stay open."""
_WRITING = "pugmill_writing"
_STEPS = 100_000
"""Instructions of SQLite's virtual machine between two looks at the clock; some milliseconds."""
_POSTGRESQL = {
    "options": (
        "-c timezone=UTC -c statement_timeout=30s -c lock_timeout=10s -c idle_in_transaction_session_timeout=60s"
    ),
    # Gives up on a server that no longer answers, or a network that drops packets. Seconds; the last in milliseconds.
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
    """The database refuses rows: one is a duplicate, or refers to a row that does not exist."""

    def __init__(self, reason: str) -> None:
        super().__init__(f"the rows contradict each other: {reason}")


@contextmanager
def refused_rows() -> Iterator[None]:
    """Raises RefusedRowsError if the database refuses rows, with its own words but without the rows."""
    try:
        yield
    except (sa.exc.IntegrityError, sa.exc.DataError) as error:
        raise RefusedRowsError(str(error.orig).partition("\n")[0]) from None


def make_engine(url: str, file: OneFile | None = None) -> sa.Engine:
    """An engine with this service's settings; raises UnknownDatabaseError if it is not SQLite or PostgreSQL."""
    if not url.startswith(("sqlite:", "postgresql+psycopg:")):
        raise UnknownDatabaseError
    if url.startswith("sqlite"):
        return _sqlite_engine(url, file or OneFile(_file_named(url)))
    asked = sa.make_url(url).query  # the operator may override our settings in the URL
    ours = {name: value for name, value in _POSTGRESQL.items() if name not in asked}
    engine = sa.create_engine(url, hide_parameters=True, pool_pre_ping=True, connect_args=ours, **_POOL)
    event.listen(engine, "do_connect", _connected)
    # Some hundred rows in one statement; a distributed database would take each on its own from node to node.
    engine.dialect.use_insertmanyvalues_wo_returning = True
    return engine


def _connected(_dialect: Any, _record: Any, arguments: tuple[Any, ...], options: dict[str, Any]) -> Any:
    from service.store.engine.patience import PatientConnection  # noqa: PLC0415  # the driver, for servers alone

    return PatientConnection.connect(*arguments, **options)


def _file_named(url: str) -> Path | None:
    """The file of a SQLite database; None if it is on a server or in memory."""
    name = sa.make_url(url).database if url.startswith("sqlite") else None
    return None if not name or name == ":memory:" else Path(name)


class _CarefulConnection(sqlite3.Connection):
    """A connection that closes as its file allows."""

    def __init__(self, file: OneFile, *arguments: Any, **options: Any) -> None:
        super().__init__(*arguments, **options)
        self._file = file

    def close(self) -> None:
        """Close it; the last one applies the log to its own database only."""
        with self._file.closing():
            super().close()


def _sqlite_engine(url: str, file: OneFile) -> sa.Engine:
    pool = {} if _file_named(url) is None else _POOL  # a database in memory has one connection
    options = {"timeout": _BUSY_SECONDS, "factory": partial(_CarefulConnection, file)}
    engine = sa.create_engine(url, hide_parameters=True, connect_args=options, **pool)

    @event.listens_for(engine, "do_connect")
    @event.listens_for(engine, "checkout")
    def look(*_: Any) -> None:
        file.look()

    @event.listens_for(engine, "connect")
    def configure(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # the driver must not begin or commit on its own
        # WAL lets readers go on while one writes; NORMAL keeps every commit through a crash of the process,
        # FULL through a loss of power too, which a workshop's machine may well see.
        if connection.execute("PRAGMA journal_mode=WAL").fetchone() == ("wal",):
            file.logs()
        for pragma in ("synchronous=FULL", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}")
        # Interrupts a running statement when the time limit of the answer is reached.
        connection.set_progress_handler(time_limit.is_over, _STEPS)

    @event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        # A writer takes the lock at once: SQLite refuses, and does not queue, a reader that starts to write.
        begin_now = "BEGIN IMMEDIATE" if connection.get_execution_options().get(_WRITING) else "BEGIN"
        driver: Any = connection.connection.dbapi_connection
        try:
            driver.execute(begin_now)
        except sqlite3.OperationalError as error:  # another process holds the lock: raised as SQLAlchemy does elsewhere
            raise sa.exc.OperationalError(begin_now, None, error) from error

    return engine


Connection = sa.Connection
"""An open transaction, the first argument of the store's functions."""


class Database:
    """The database that holds everything.

    Attributes:
        engine: SQLAlchemy's engine for it.
        file: the file of a SQLite database; None if it is on a server or in memory.
        memory: values read from it, by the state that they were read in.
        prepared: the queries of `rows`.
        states: the same; for a snapshot that of the process and not only its own, for keys with the revision it sees.
    """

    def __init__(self, url: str, *, has_memory: bool = True, quota: Quota = Quota()) -> None:  # noqa: B008 (immutable)
        self.file = _file_named(url)
        self._one_file = OneFile(self.file)
        self.engine = make_engine(url, self._one_file)
        self.memory: Memory[Any] = MemoryOfStates(_ROOM if has_memory else 0)
        self.states: Memory[Any] = self.memory
        is_sqlite = self.engine.dialect.name == "sqlite"  # whose readers see one state anyway
        self._reading = self.engine if is_sqlite else self.engine.execution_options(isolation_level="REPEATABLE READ")
        self._held: sa.Connection | None = None
        self._memory_outside: Memory[Any] = self.memory
        self._until_answered: ExitStack | None = None
        self._quota = quota
        self._writing = self.engine.execution_options(**{_WRITING: True})
        self.prepared: dict[sa.Select[Any], Prepared] = {}

    def rows(self, query: sa.Select[Any], **parameters: Any) -> Sequence[Sequence[Any]]:
        """The rows of a query, which is built once because it is asked very often: see `Prepared`."""
        if self._held is not None:
            return self._held.execute(query, parameters).all()
        prepared = self.prepared.get(query)
        if prepared is None:
            prepared = self.prepared[query] = Prepared(self.engine, query)
        return prepared.rows(parameters)

    def reading(self) -> AbstractContextManager[Connection]:
        """A transaction that reads one consistent state and writes nothing."""
        return self._reading.connect() if self._held is None else nullcontext(self._held)

    @contextmanager
    def snapshot(self) -> Iterator["Database"]:
        """A database to read from that sees one state only, with a memory of that state alone."""
        with self.reading() as connection:
            yield self.seen_through(connection)

    def seen_through(self, connection: Connection, *, has_written: bool = False) -> "Database":
        """A database to read from through an open transaction; its memory ends with the transaction.

        If the transaction holds the workshop's lock, all readings are of one state, and no idle timeout ends it.

        Args:
            has_written: whether it has written what may never be committed; nothing of it is then remembered.
        """
        frozen = copy(self)
        frozen.memory = Memory(_ROOM_OF_A_SNAPSHOT)
        if has_written:
            frozen.states = Memory(0)
        frozen._held = connection
        return frozen

    def writing(self) -> AbstractContextManager[Connection]:
        """A transaction that writes: committed at the end, rolled back on any error.

        Raises QuotaExceededError at the end if a workshop then stores more than the quota.
        """
        return self._metered() if self._until_answered is None else self._joined(self._until_answered)

    @contextmanager
    def _metered(self) -> Iterator[Connection]:
        with self._writing.begin() as connection, metered(connection, self._quota):
            yield connection

    @contextmanager
    def rehearsing(self) -> Iterator[Connection]:
        """A transaction that writes and is rolled back at the end, after what a commit would check.

        Raises QuotaExceededError as `writing` does.
        """
        with self._writing.connect() as connection, connection.begin() as transaction:
            with metered(connection, self._quota):
                yield connection
            transaction.rollback()

    @contextmanager
    def _joined(self, open_until: ExitStack) -> Iterator[Connection]:
        """A part of the joint transaction, which stays open."""
        if self._held is None:
            self._held = open_until.enter_context(self._metered())
            # From now on, reads may see rows that are never committed.
            self._memory_outside, self.memory, self.states = self.memory, Memory(0), Memory(0)
        yield self._held

    def let_others_write(self) -> None:
        """End the joint transaction, if there is one, in which nothing was written: a later change begins it anew."""
        if self._until_answered is not None and self._held is not None:
            self._until_answered.close()
            self._held, self.memory, self.states = None, self._memory_outside, self._memory_outside

    @contextmanager
    def until_answered(self) -> Iterator["Database"]:
        """A database whose changes are all one transaction, committed at the end or rolled back on any error.

        Reads before the first change block nobody; reads after it see the change.
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
        self._one_file.leave()
