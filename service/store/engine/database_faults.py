"""Faults of the database, or of the machine, and their remedies: one table for both engines."""

from dataclasses import dataclass

from sqlalchemy.exc import DBAPIError, OperationalError


@dataclass(frozen=True, slots=True, kw_only=True)
class DatabaseFault:
    """A fault of the database that passes by itself, or that the operator can mend while the service runs.

    Attributes:
        kind: the last part of the problem's type.
        retry_after_seconds: when trying again may help.
    """

    kind: str
    detail: str
    retry_after_seconds: int


BUSY = DatabaseFault(
    kind="busy", detail="the database is busy or out of reach; try again in a moment", retry_after_seconds=5
)
STORAGE_FULL = DatabaseFault(
    kind="storage-full",
    detail="the database's disk is full; nothing was stored. Ask the operator of the service to free space, then send "
    "the request again",
    retry_after_seconds=60,
)
READ_ONLY = DatabaseFault(
    kind="read-only",
    detail="the database is read-only at the moment; nothing was stored, and reading still works. Ask the operator of "
    "the service to make it writable, then send the request again",
    retry_after_seconds=60,
)

OUT_OF_TIME = DatabaseFault(
    kind="out-of-time",
    detail="this exceeded the time limit and was given up; nothing was stored. Ask for less at a time, or again when "
    "the service has less to do",
    retry_after_seconds=30,
)
NO_ANSWER = DatabaseFault(
    kind="no-answer",
    detail="the database stopped answering, so it is not known whether this was done; check, or send it again with "
    "the same Idempotency-Key",
    retry_after_seconds=30,
)
MOVED = DatabaseFault(
    kind="database-moved",
    detail="the database file was moved or replaced while the service was running; nothing was stored. Ask the "
    "operator to put it back, or to restore a backup while the service is stopped",
    retry_after_seconds=60,
)
INTERRUPTED = DatabaseFault(
    kind="interrupted",
    detail="the process that worked on this was ended, so it is not known whether this was done; check, or send it "
    "again with the same Idempotency-Key",
    retry_after_seconds=10,
)
TOO_LARGE = DatabaseFault(
    kind="too-large",
    detail="this needs more memory than an answer may use and was given up; nothing was stored. Ask for less at a time",
    retry_after_seconds=60,
)

FAULTS = (BUSY, STORAGE_FULL, READ_ONLY, MOVED, OUT_OF_TIME, NO_ANSWER, INTERRUPTED, TOO_LARGE)
"""All faults answered with 503; service/serving/README.md says what to do about each."""

# SQLite's result codes by name (sqlite.org/rescode.html). The name of an extended code begins with that of its
# primary code, so extended ones come first.
_OF_SQLITE = {
    "SQLITE_READONLY_DBMOVED": MOVED,
    "SQLITE_INTERRUPT": OUT_OF_TIME,  # only our time limit interrupts
    "SQLITE_READONLY": READ_ONLY,
    "SQLITE_FULL": STORAGE_FULL,
    "SQLITE_IOERR_WRITE": STORAGE_FULL,
    "SQLITE_IOERR_SHMSIZE": STORAGE_FULL,
}
# SQLSTATEs of PostgreSQL (its documentation, appendix A).
_OF_POSTGRESQL = {
    "53100": STORAGE_FULL,  # disk_full
    "25006": READ_ONLY,  # read_only_sql_transaction: a standby, or a server that was set so
    "40001": BUSY,  # serialization_failure
    "40P01": BUSY,  # deadlock_detected
    "08S01": NO_ANSWER,  # communication link failure (ISO/IEC 9075-3), as a patient connection says it
}
_LOST_AT_COMMIT = "XX000", "could not commit transaction for shard"
"""SQLSTATE and message of Citus if the node that holds the rows was lost while it committed: it may have committed."""


def fault_of(error: DBAPIError) -> DatabaseFault | None:
    """The fault behind an error; None if the error is ours."""
    name, state = getattr(error.orig, "sqlite_errorname", ""), getattr(error.orig, "sqlstate", None)
    for code, fault in _OF_SQLITE.items():
        if name.startswith(code):
            return fault
    if state in _OF_POSTGRESQL:
        return _OF_POSTGRESQL[state]
    if state == _LOST_AT_COMMIT[0] and str(error.orig).startswith(_LOST_AT_COMMIT[1]):
        return NO_ANSWER
    # SQLite reports its own trouble (busy, unreachable) and our mistakes (a missing table) by the same class.
    is_passing = isinstance(error, OperationalError) and name != "SQLITE_ERROR"
    return BUSY if is_passing or error.connection_invalidated else None
