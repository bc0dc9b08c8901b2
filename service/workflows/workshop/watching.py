"""Whether the service is ready."""

from dataclasses import dataclass

from service.store.currency import exchange
from service.store.engine.database import Database
from service.store.engine.schema import find_schema_state


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """Whether requests can be answered.

    Attributes:
        is_ready: whether the database answers and its tables are up to date.
        database: "reachable" or "unreachable".
        migrations: "current", "pending", "newer than this code", or "unknown".
    """

    is_ready: bool
    database: str
    migrations: str


def readiness(database: Database) -> Readiness:
    """Query the database, and compare its schema revision with the code's."""
    state = find_schema_state(database)
    if state is None:
        return Readiness(is_ready=False, database="unreachable", migrations="unknown")
    migrations = "current" if state.is_current else "pending" if state.is_known else "newer than this code"
    return Readiness(is_ready=state.is_current, database="reachable", migrations=migrations)


def find_feed_state(database: Database) -> exchange.FeedState | None:
    """The age of the feed's exchange rates across workshops; None if the database does not answer."""
    return exchange.find_feed_state(database)
