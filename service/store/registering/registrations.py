"""What a workshop has registered, and what uses what."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service import clock
from service.domain.register import COLLECTIONS
from service.domain.values.references import Registered, Thing
from service.encoding import trusted
from service.store.engine import metering
from service.store.engine.database import Database
from service.store.engine.stored_rows import put
from service.store.engine.tables import registrations, uses


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """A registered value, and the workshop's revision when it last changed."""

    collection: str
    code: str
    facts: Registered
    revision: int
    retired_at: datetime | None


def within(table: sa.FromClause, workshop_id: Any, collection: Any, code: Any) -> sa.ColumnElement[bool]:
    """Selects the rows of one registered thing of one workshop."""
    return sa.and_(table.c.workshop_id == workshop_id, table.c.collection == collection, table.c.code == code)


def _registration(row: Iterable[Any]) -> Registration:
    _, collection, code, facts, revision, retired_at = row
    return Registration(
        collection=collection,
        code=code,
        facts=trusted(facts, COLLECTIONS[collection].facts),
        revision=revision,
        retired_at=retired_at,
    )


_SOME = 500
_ONE = sa.select(registrations).where(within(registrations, *map(sa.bindparam, ("workshop_id", "collection", "code"))))
"""Built once, because every price sheet of a listing runs it."""


def find_registration(connection: sa.Connection, workshop_id: UUID, thing: Thing) -> Registration | None:
    """The registration, retired or not, or None."""
    row = connection.execute(_ONE, {"workshop_id": workshop_id, **thing._asdict()}).first()
    return None if row is None else _registration(row)


def find_registration_now(database: Database, workshop_id: UUID, thing: Thing) -> Registration | None:
    """The same, without a transaction around it."""
    rows = database.rows(_ONE, workshop_id=workshop_id, collection=thing.collection, code=thing.code)
    return _registration(rows[0]) if rows else None


def find_registrations(
    connection: sa.Connection, workshop_id: UUID, things: Iterable[Thing]
) -> dict[Thing, Registration]:
    """Those of the things that are registered, retired or not."""
    found: dict[Thing, Registration] = {}
    for collection, some in by_collection(things):
        ours = registrations.c.workshop_id == workshop_id, registrations.c.collection == collection
        for row in connection.execute(sa.select(registrations).where(*ours, registrations.c.code.in_(some))):
            found[Thing(collection, row.code)] = _registration(row)
    return found


def by_collection(things: Iterable[Thing]) -> Iterator[tuple[str, Sequence[str]]]:
    """The codes of things by collection, as many at a time as one statement looks for."""
    codes: dict[str, list[str]] = {}
    for collection, code in things:
        codes.setdefault(collection, []).append(code)
    for collection, every in codes.items():
        yield from ((collection, every[place : place + _SOME]) for place in range(0, len(every), _SOME))


def page_of_registrations(
    connection: sa.Connection, workshop_id: UUID, collection: str, *, after: str, limit: int
) -> list[Registration]:
    """Registrations that are not retired, by code, after the code `after`."""
    rows = connection.execute(
        sa.select(registrations)
        .where(
            registrations.c.workshop_id == workshop_id,
            registrations.c.collection == collection,
            registrations.c.retired_at.is_(None),
            registrations.c.code > after,
        )
        .order_by(registrations.c.code)
        .limit(limit)
    )
    return [_registration(row) for row in rows]


def codes_near(connection: sa.Connection, workshop_id: UUID, thing: Thing, most: int) -> list[str]:
    """Codes of its collection that are not retired: at most so many on either side of its own, in their order."""
    there = sa.and_(
        registrations.c.workshop_id == workshop_id,
        registrations.c.collection == thing.collection,
        registrations.c.retired_at.is_(None),
    )
    before = registrations.c.code < thing.code, registrations.c.code.desc()
    after = registrations.c.code > thing.code, registrations.c.code
    found: list[str] = []
    for side, order in (before, after):
        found += connection.scalars(sa.select(registrations.c.code).where(there, side).order_by(order).limit(most))
    return found


def save_registrations(
    connection: sa.Connection, workshop_id: UUID, facts: Mapping[Thing, Registered], revision: int
) -> None:
    """Create or replace registrations, without their uses; retired ones are restored."""
    for collection, some in by_collection(facts):
        its_codes = registrations.c.collection == collection, registrations.c.code.in_(some)
        rows = (
            {
                "workshop_id": workshop_id,
                "collection": collection,
                "code": code,
                "facts": facts[Thing(collection, code)],
                "revision": revision,
                "retired_at": None,
            }
            for code in some
        )
        with metering.replaced(connection, registrations, workshop_id, *its_codes):
            put(connection, registrations, *rows)


def save_uses(connection: sa.Connection, workshop_id: UUID, used: Mapping[Thing, Collection[Thing]]) -> None:
    """Replace the uses of registrations by these, all of which are registered."""
    for collection, some in by_collection(used):
        its_codes = uses.c.workshop_id == workshop_id, uses.c.collection == collection, uses.c.code.in_(some)
        connection.execute(uses.delete().where(*its_codes))
    rows = [
        {"workshop_id": workshop_id, **thing._asdict(), "used_collection": each.collection, "used_code": each.code}
        for thing, named in used.items()
        for each in named
    ]
    if rows:
        connection.execute(uses.insert(), rows)


def retire_registration(connection: sa.Connection, workshop_id: UUID, thing: Thing, revision: int) -> None:
    """Mark the registration retired and delete its uses. Its rates stay."""
    connection.execute(
        registrations.update()
        .where(within(registrations, workshop_id, *thing))
        .values(retired_at=clock.now(), revision=revision)
    )
    save_uses(connection, workshop_id, {thing: ()})


def users_of(connection: sa.Connection, workshop_id: UUID, thing: Thing) -> list[str]:
    """What refers to it, as "products/brick"."""
    rows = connection.execute(
        sa.select(uses.c.collection, uses.c.code)
        .where(
            uses.c.workshop_id == workshop_id,
            uses.c.used_collection == thing.collection,
            uses.c.used_code == thing.code,
        )
        .order_by(uses.c.collection, uses.c.code)
    )
    return [f"{row.collection}/{row.code}" for row in rows]


def product_users(connection: sa.Connection, workshop_id: UUID, code: str) -> dict[str, list[str]]:
    """The products that use a product, at any depth: for each product, those that name it."""
    above = (
        sa.select(uses.c.code, uses.c.used_code)
        .where(
            uses.c.workshop_id == workshop_id,
            uses.c.collection == "products",
            uses.c.used_collection == "products",
            uses.c.used_code == code,
        )
        .cte("above", recursive=True)
    )
    further = uses.alias("further")
    above = above.union(
        sa.select(further.c.code, further.c.used_code).where(
            further.c.workshop_id == workshop_id,
            further.c.collection == "products",
            further.c.used_collection == "products",
            further.c.used_code == above.c.code,
        )
    )
    found: dict[str, list[str]] = {}
    for row in connection.execute(sa.select(above.c.code, above.c.used_code)):
        found.setdefault(row.used_code, []).append(row.code)
    return found


def parts_of_products(connection: sa.Connection, workshop_id: UUID) -> list[tuple[str, str]]:
    """Every product with each of the products that it is made of."""
    rows = connection.execute(
        sa.select(uses.c.code, uses.c.used_code).where(
            uses.c.workshop_id == workshop_id, uses.c.collection == "products", uses.c.used_collection == "products"
        )
    )
    return [(row.code, row.used_code) for row in rows]


def all_registered(
    connection: sa.Connection, workshop_id: UUID, collections: Iterable[str]
) -> dict[str, dict[str, Registered]]:
    """Everything in the collections that is not retired, by collection and code."""
    found: dict[str, dict[str, Registered]] = {collection: {} for collection in collections}
    rows = connection.execute(
        sa.select(registrations.c.collection, registrations.c.code, registrations.c.facts)
        .where(
            registrations.c.workshop_id == workshop_id,
            registrations.c.collection.in_(list(found)),
            registrations.c.retired_at.is_(None),
        )
        .order_by(registrations.c.collection, registrations.c.code)
    )
    for collection, code, facts in rows:
        found[collection][code] = trusted(facts, COLLECTIONS[collection].facts)
    return found


def registered_among(
    connection: sa.Connection, workshop_id: UUID, wanted: Iterable[tuple[str, str]]
) -> set[tuple[str, str]]:
    """Those of the pairs (collection, code) that are registered and not retired."""
    found: set[tuple[str, str]] = set()
    by_collection: dict[str, set[str]] = {}
    for collection, code in wanted:
        by_collection.setdefault(collection, set()).add(code)
    for collection, codes in by_collection.items():
        rows = connection.execute(
            sa.select(registrations.c.code).where(
                registrations.c.workshop_id == workshop_id,
                registrations.c.collection == collection,
                registrations.c.code.in_(sorted(codes)),
                registrations.c.retired_at.is_(None),
            )
        )
        found |= {(collection, row.code) for row in rows}
    return found
