"""Whether the service is ready."""

from dataclasses import dataclass

from service.store.currency import exchange
from service.store.engine import schema
from service.store.engine.database import Database


@dataclass(frozen=True, slots=True, kw_only=True)
class Readiness:
    """Whether requests can be answered.

    Attributes:
        is_ready: whether the database answers and its tables are up to date.
        database: "reachable" or "unreachable".
        migrations: "current", "pending", "newer than this code", "not distributed" if a table is not yet distributed
            over the database's nodes, or "unknown".
    """

    is_ready: bool
    database: str
    migrations: str


def readiness(database: Database) -> Readiness:
    """Query the database, and compare its schema revision with the code's."""
    state = schema.find_schema_state(database)
    if state is None:
        return Readiness(is_ready=False, database="unreachable", migrations="unknown")
    return Readiness(is_ready=state.is_current, database="reachable", migrations=state.told)


def is_answering(database: Database) -> bool:
    """Whether the database answers; unlike `find_feed_state`, a part of it that has failed does not matter."""
    return schema.is_answering(database)


def find_feed_state(database: Database) -> exchange.FeedState | None:
    """The age of the feed's exchange rates across workshops; None if the database, or a node, does not answer."""
    return exchange.find_feed_state(database)
