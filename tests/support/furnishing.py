"""A workshop is furnished once on each database; every other one like it gets copies of the rows."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import wraps
from inspect import signature
from typing import Any, ParamSpec, TypeVar
from uuid import UUID
from weakref import WeakKeyDictionary

import sqlalchemy as sa
from uuid_utils.compat import uuid7

from service.domain.audit import Actor
from service.store.engine.database import Connection, Database
from service.store.engine.tables import workshops
from service.store.workshop.moving import TABLES

UUID_TEXT = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}")
"""An id as the service gives it; other UUIDs are a client's."""
FURNISHED = [table for name, table in TABLES.items() if name != workshops.name]
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
        instants: on record, oldest first.
        answer: of what furnished it.
        is_answered_itself: whether that is the workshop's client or owner.
        asked: what that was called with; kept, so that no other object can take its place.
    """

    workshop_id: UUID
    actor: Actor
    rows: Rows
    revision: int
    given: list[str]
    instants: list[datetime]
    answer: Any
    is_answered_itself: bool
    asked: Any


_DONE: WeakKeyDictionary[Database, dict[Any, Furnishing]] = WeakKeyDictionary()


def furnishes(register: Callable[Asked, Answer]) -> Callable[Asked, Answer]:
    """Make of a function that furnishes a workshop one that does so once, and then copies.

    A copy is what the function would have stored: with ids of its own in the same order, by the key that asks for it,
    just now. The function runs as it is where the workshop is not a new one. What it is called with first is a Client
    or an Owner; a fixture that answers it answers it again. Where the calls themselves are the matter,
    `inspect.unwrap` finds the function.
    """
    asked = signature(register)

    @wraps(register)
    def furnish(*args: Any, **options: Any) -> Any:
        client, *others = asked.bind(*args, **options).arguments.values()
        workshop, database = client.workshop, client.database
        with database.reading() as connection:
            is_new = _revision(connection, workshop.workshop_id) == 0
        if not is_new:
            return register(*args, **options)
        like = (workshop.name, workshop.address, workshop.currency, workshop.locale, workshop.time_zone)
        key = (type(client), client.actor.name, like, register, repr(others))
        done = _DONE.setdefault(database, {})
        if key in done:
            copied = _copied(done[key], database, workshop.workshop_id, client.actor)
            return client if done[key].is_answered_itself else copied
        before = rows_of(database, workshop.workshop_id)
        answer = register(*args, **options)
        done[key] = _recorded(client, before, answer, others)
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
        instants=sorted({value for value in values if isinstance(value, datetime)}),
        answer=None if answer is client else answer,
        is_answered_itself=answer is client,
        asked=asked,
    )


def _copied(done: Furnishing, database: Database, workshop_id: UUID, actor: Actor) -> Any:
    own: dict[Any, Any] = {given: str(uuid7()) for given in done.given}
    own |= {str(done.workshop_id): str(workshop_id), str(done.actor.key_id): str(actor.key_id)}
    now = datetime.now(UTC)  # and so on, in less time than it takes to keep the rows
    own |= {instant: now + place * timedelta.resolution for place, instant in enumerate(done.instants)}
    with database.writing() as connection:
        for table in FURNISHED:
            if rows := done.rows.get(table.name):
                made = [{name: _own(value, own) for name, value in row.items()} for row in rows]
                connection.execute(table.insert(), made)
        its_revision = sa.update(workshops).where(workshops.c.workshop_id == workshop_id)
        connection.execute(its_revision.values(revision=done.revision))
    return _own(done.answer, own)


def _own(value: Any, own: Mapping[Any, Any]) -> Any:
    """The value as it is in the copy."""
    match value:
        case UUID():
            return UUID(own.get(str(value), str(value)))
        case datetime():
            return own[value]
        case str():
            return UUID_TEXT.sub(lambda found: own.get(found[0], found[0]), value)
        case Mapping():
            return {name: _own(each, own) for name, each in value.items()}
    return value
