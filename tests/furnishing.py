"""A workshop is furnished once on each database; every other one like it gets copies of the rows."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import wraps
from typing import Any, ParamSpec, TypeVar
from uuid import UUID
from weakref import WeakKeyDictionary

import sqlalchemy as sa
from uuid_utils.compat import uuid7

from service.domain.changes import Actor
from service.store.database import Connection, Database
from service.store.moving import TABLES
from service.store.tables import workshops

UUID_TEXT = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")
"""An id as the service gives it; other UUIDs are a client's."""
FURNISHED = [table for table in TABLES.values() if table is not workshops]
"""What is copied is what travels with a workshop: neither its keys nor what they asked for a moment ago."""

Rows = dict[str, list[dict[str, Any]]]
Asked = ParamSpec("Asked")
Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True, kw_only=True)
class Furnishing:
    """What furnishing a workshop has stored.

    Attributes:
        workshop_id: whose it is.
        actor: who did it.
        rows: what was added, by table.
        revision: the workshop's afterwards.
        given: the ids that the service gave, oldest first.
        last_at: the last instant on record.
        answer: of what furnished it.
        asked: what that was called with; kept, so that no other object can take its place.
    """

    workshop_id: UUID
    actor: Actor
    rows: Rows
    revision: int
    given: list[str]
    last_at: datetime
    answer: Any
    asked: Any


_DONE: WeakKeyDictionary[Database, dict[Any, Furnishing]] = WeakKeyDictionary()


def furnishes(register: Callable[Asked, Answer]) -> Callable[Asked, Answer]:
    """Make of a function that furnishes a workshop one that does so once, and then copies.

    A copy is what the function would have stored: with ids of its own in the same order, by the key that asks for it,
    just now. The function runs as it is where the workshop is not a new one. What it is called with first is a Client
    or an Owner. Where the calls themselves are the matter, `inspect.unwrap` finds it.
    """

    @wraps(register)
    def furnish(client: Any, *args: Any, **options: Any) -> Any:
        workshop, database = client.workshop, client.database
        with database.reading() as connection:
            is_new = _revision(connection, workshop.workshop_id) == 0
        if not is_new:
            return register(client, *args, **options)
        like = (workshop.name, workshop.address, workshop.currency, workshop.locale, workshop.time_zone)
        key = (type(client), client.actor.name, like, register, repr(args), repr(options))
        done = _DONE.setdefault(database, {})
        if key in done:
            return _copied(done[key], database, workshop.workshop_id, client.actor)
        before = rows_of(database, workshop.workshop_id)
        answer = register(client, *args, **options)
        done[key] = _recorded(client, before, answer, (args, options))
        return answer

    return furnish


def _revision(connection: Connection, workshop_id: UUID) -> int:
    query = sa.select(workshops.c.revision).where(workshops.c.workshop_id == workshop_id)
    return int(connection.execute(query).scalar_one())


def rows_of(database: Database, workshop_id: UUID) -> Rows:
    with database.reading() as connection:
        return {
            table.name: [
                dict(row._mapping)
                for row in connection.execute(sa.select(table).where(table.c.workshop_id == workshop_id))
            ]
            for table in FURNISHED
        }


def _recorded(client: Any, before: Rows, answer: Any, asked: Any) -> Furnishing:
    workshop_id, database = client.workshop.workshop_id, client.database
    after = rows_of(database, workshop_id)
    rows = {name: [row for row in found if row not in before[name]] for name, found in after.items()}
    values = [value for found in rows.values() for row in found for value in row.values()]
    given = {found for value in values for found in UUID_TEXT.findall(str(value))}
    with database.reading() as connection:
        revision = _revision(connection, workshop_id)
    return Furnishing(
        workshop_id=workshop_id,
        actor=client.actor,
        rows={name: found for name, found in rows.items() if found},
        revision=revision,
        given=sorted(given - {str(workshop_id), str(client.actor.key_id)}),
        last_at=max(_aware(value) for value in values if isinstance(value, datetime)),
        answer=answer,
        asked=asked,
    )


def _aware(instant: datetime) -> datetime:
    """SQLite tells instants in UTC, without saying so."""
    return instant if instant.tzinfo else instant.replace(tzinfo=UTC)


def _copied(done: Furnishing, database: Database, workshop_id: UUID, actor: Actor) -> Any:
    own = {given: str(uuid7()) for given in done.given}
    own |= {str(done.workshop_id): str(workshop_id), str(done.actor.key_id): str(actor.key_id)}
    later = datetime.now(UTC) - done.last_at
    with database.writing() as connection:
        for table in FURNISHED:
            if rows := done.rows.get(table.name):
                made = [{name: _own(value, own, later) for name, value in row.items()} for row in rows]
                connection.execute(table.insert(), made)
        its_revision = sa.update(workshops).where(workshops.c.workshop_id == workshop_id)
        connection.execute(its_revision.values(revision=done.revision))
    return _own(done.answer, own, later)


def _own(value: Any, own: Mapping[str, str], later: timedelta) -> Any:
    """The value as it is in the copy."""
    match value:
        case UUID():
            return UUID(own.get(str(value), str(value)))
        case datetime():
            return _aware(value) + later
        case str():
            return UUID_TEXT.sub(lambda found: own.get(found[0], found[0]), value)
        case Mapping():
            return {name: _own(each, own, later) for name, each in value.items()}
    return value
