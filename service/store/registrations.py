"""What a workshop has registered, what uses what, and the dated rates."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from typing import Any, TypeVar
from uuid import UUID

import sqlalchemy as sa

from service.domain.products import Catalogue, Registered
from service.domain.rates import DatedRate
from service.domain.register import COLLECTIONS
from service.encoding import decode_with, decoded, from_text, to_text
from service.store.tables import rates, registrations, uses

T = TypeVar("T")
_READ_TEXTS = 20_000


@lru_cache(maxsize=_READ_TEXTS)
def _read_once(text: str, to: Any) -> Any:
    return from_text(text, to)


def _read(text: str, to: type[T]) -> T:
    """The value in a row. Values are immutable and follow from the text alone, so each text is read once."""
    kind: Any = to
    value: T = _read_once(text, kind)
    return value


def _dated_rate(data: Any) -> DatedRate:
    collection = COLLECTIONS[data["resource"].partition("/")[0]]
    assert collection.terms is not None  # only rated collections have dated rates
    return DatedRate(
        resource=data["resource"],
        valid_from=date.fromisoformat(data["valid_from"]),
        terms=decoded(data["terms"], collection.terms),
    )


decode_with(DatedRate, _dated_rate)


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """A row of the register.

    Attributes:
        collection: where it is registered.
        code: under which code.
        facts: what is registered.
        revision: the workshop's revision when it last changed.
        retired_at: when it was retired, if it is.
    """

    collection: str
    code: str
    facts: Registered
    revision: int
    retired_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRate:
    """A row of the rates.

    Attributes:
        rate: the terms and their first day.
        revision: the workshop's revision when it last changed.
    """

    rate: DatedRate
    revision: int


def _within(table: sa.Table, workshop_id: UUID, collection: str, code: str) -> sa.ColumnElement[bool]:
    return sa.and_(table.c.workshop_id == workshop_id, table.c.collection == collection, table.c.code == code)


def _registration(row: Any) -> Registration:
    return Registration(
        collection=row.collection,
        code=row.code,
        facts=_read(row.facts, COLLECTIONS[row.collection].facts),
        revision=row.revision,
        retired_at=row.retired_at,
    )


def find_registration(connection: sa.Connection, workshop_id: UUID, collection: str, code: str) -> Registration | None:
    """The row, retired or not."""
    row = connection.execute(
        sa.select(registrations).where(_within(registrations, workshop_id, collection, code))
    ).first()
    return None if row is None else _registration(row)


def page_of_registrations(
    connection: sa.Connection, workshop_id: UUID, collection: str, *, after: str, limit: int
) -> list[Registration]:
    """What is not retired, by code, beyond the code `after`."""
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


def save_registration(
    connection: sa.Connection, workshop_id: UUID, collection: str, code: str, facts: Registered, revision: int
) -> None:
    """Create or replace the row and what it uses; a retired one is in use again."""
    values = {"facts": to_text(facts), "revision": revision, "retired_at": None}
    key = {"workshop_id": workshop_id, "collection": collection, "code": code}
    changed = connection.execute(
        registrations.update().where(_within(registrations, workshop_id, collection, code)).values(values)
    )
    if changed.rowcount == 0:
        connection.execute(registrations.insert(), {**key, **values})
    _forget_uses(connection, workshop_id, collection, code)
    used = dict.fromkeys((used_collection, used_code) for _, used_collection, used_code in facts.references())
    if used:
        connection.execute(
            uses.insert(),
            [
                {**key, "used_collection": used_collection, "used_code": used_code}
                for used_collection, used_code in used
            ],
        )


def retire_registration(
    connection: sa.Connection, workshop_id: UUID, collection: str, code: str, revision: int
) -> None:
    """Mark the row retired; it uses nothing any more. Its rates stay."""
    connection.execute(
        registrations.update()
        .where(_within(registrations, workshop_id, collection, code))
        .values(retired_at=datetime.now(UTC), revision=revision)
    )
    _forget_uses(connection, workshop_id, collection, code)


def _forget_uses(connection: sa.Connection, workshop_id: UUID, collection: str, code: str) -> None:
    connection.execute(uses.delete().where(_within(uses, workshop_id, collection, code)))


def users_of(connection: sa.Connection, workshop_id: UUID, collection: str, code: str) -> list[str]:
    """What names it, as "products/brick"."""
    rows = connection.execute(
        sa.select(uses.c.collection, uses.c.code)
        .where(uses.c.workshop_id == workshop_id, uses.c.used_collection == collection, uses.c.used_code == code)
        .order_by(uses.c.collection, uses.c.code)
    )
    return [f"{row.collection}/{row.code}" for row in rows]


def product_users(connection: sa.Connection, workshop_id: UUID, code: str) -> dict[str, list[str]]:
    """The products that a product goes into, through any depth: for each product, those that name it."""
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


def registered_among(
    connection: sa.Connection, workshop_id: UUID, wanted: Iterable[tuple[str, str]]
) -> set[tuple[str, str]]:
    """Those of the collection and code pairs that are registered and not retired."""
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """A product with everything it is made of and with, and the rates of a date.

    Attributes:
        catalogue: the facts.
        rates: by resource, those that have one on the date.
    """

    catalogue: Catalogue
    rates: dict[str, DatedRate]


def _surroundings_query() -> sa.Select[Any]:
    """Everything some products need, through any depth, each with its rate in force, in one statement."""
    workshop_id = sa.bindparam("workshop_id", type_=sa.Uuid)
    reached = (
        sa.select(registrations.c.collection, registrations.c.code)
        .where(
            registrations.c.workshop_id == workshop_id,
            sa.or_(
                sa.and_(registrations.c.collection == "products", registrations.c.code == sa.bindparam("product")),
                registrations.c.collection == "overheads",
            ),
            registrations.c.retired_at.is_(None),
        )
        .cte("reached", recursive=True)
    )
    reached = reached.union(
        sa.select(uses.c.used_collection, uses.c.used_code).where(
            uses.c.workshop_id == workshop_id, uses.c.collection == reached.c.collection, uses.c.code == reached.c.code
        )
    )
    in_force = rates.alias("in_force")
    latest = (
        sa.select(sa.func.max(rates.c.valid_from))
        .where(
            rates.c.workshop_id == workshop_id,
            rates.c.collection == reached.c.collection,
            rates.c.code == reached.c.code,
            rates.c.valid_from <= sa.bindparam("as_of", type_=sa.Date),
        )
        .scalar_subquery()
    )
    return (
        sa.select(
            registrations.c.collection,
            registrations.c.code,
            registrations.c.facts,
            in_force.c.valid_from,
            in_force.c.terms,
        )
        .select_from(reached)
        .join(
            registrations,
            sa.and_(
                registrations.c.workshop_id == workshop_id,
                registrations.c.collection == reached.c.collection,
                registrations.c.code == reached.c.code,
            ),
        )
        .outerjoin(
            in_force,
            sa.and_(
                in_force.c.workshop_id == workshop_id,
                in_force.c.collection == reached.c.collection,
                in_force.c.code == reached.c.code,
                in_force.c.valid_from == latest,
            ),
        )
    )


_SURROUNDINGS = _surroundings_query()


def surroundings(connection: sa.Connection, workshop_id: UUID, products: Iterable[str], as_of: date) -> Surroundings:
    """The products, everything they name through any depth, the overhead pools, and their rates on the date."""
    found = [_surroundings_of(connection, workshop_id, product, as_of) for product in dict.fromkeys(products)]
    return found[0] if len(found) == 1 else _together(found)


def _surroundings_of(connection: sa.Connection, workshop_id: UUID, product: str, as_of: date) -> Surroundings:
    rows = connection.execute(_SURROUNDINGS, {"workshop_id": workshop_id, "product": product, "as_of": as_of}).all()
    facts: dict[str, dict[str, Any]] = {name: {} for name in COLLECTIONS}
    in_force: dict[str, DatedRate] = {}
    for collection, code, facts_text, valid_from, terms_text in rows:
        kind = COLLECTIONS[collection]
        facts[collection][code] = _read(facts_text, kind.facts)
        if terms_text is not None and kind.terms is not None:
            resource = f"{collection}/{code}"
            in_force[resource] = DatedRate(
                resource=resource, valid_from=valid_from, terms=_read(terms_text, kind.terms)
            )
    catalogue = Catalogue(
        products=facts["products"],
        materials=facts["materials"],
        machines=facts["machines"],
        labour_grades=facts["labour-grades"],
        tariffs=facts["tariffs"],
        overheads=dict(sorted(facts["overheads"].items())),
        tools=facts["tools"],
    )
    return Surroundings(catalogue=catalogue, rates=in_force)


def _together(found: Iterable[Surroundings]) -> Surroundings:
    """Several products' surroundings as one."""
    parts = list(found)
    members = {
        name: {code: facts for part in parts for code, facts in getattr(part.catalogue, name).items()}
        for name in Catalogue.__dataclass_fields__
    }
    rates_together = {resource: rate for part in parts for resource, rate in part.rates.items()}
    return Surroundings(catalogue=Catalogue(**members), rates=rates_together)


def find_rate(
    connection: sa.Connection, workshop_id: UUID, collection: str, code: str, valid_from: date
) -> StoredRate | None:
    """The rate that begins on this day."""
    row = connection.execute(
        sa.select(rates).where(_within(rates, workshop_id, collection, code), rates.c.valid_from == valid_from)
    ).first()
    return None if row is None else _stored_rate(row)


def find_rate_on(
    connection: sa.Connection, workshop_id: UUID, collection: str, code: str, as_of: date
) -> DatedRate | None:
    """The rate in force on a date."""
    row = connection.execute(
        sa.select(rates)
        .where(_within(rates, workshop_id, collection, code), rates.c.valid_from <= as_of)
        .order_by(rates.c.valid_from.desc())
        .limit(1)
    ).first()
    return None if row is None else _stored_rate(row).rate


def _stored_rate(row: Any) -> StoredRate:
    terms_type = COLLECTIONS[row.collection].terms
    assert terms_type is not None  # only rated collections have rows here
    rate = DatedRate(
        resource=f"{row.collection}/{row.code}", valid_from=row.valid_from, terms=_read(row.terms, terms_type)
    )
    return StoredRate(rate=rate, revision=row.revision)


def page_of_rates(
    connection: sa.Connection, workshop_id: UUID, collection: str, code: str, *, after: date | None, limit: int
) -> list[StoredRate]:
    """The rates by their first day, beyond the day `after`."""
    query = sa.select(rates).where(_within(rates, workshop_id, collection, code))
    if after is not None:
        query = query.where(rates.c.valid_from > after)
    return [_stored_rate(row) for row in connection.execute(query.order_by(rates.c.valid_from).limit(limit))]


def has_rates(connection: sa.Connection, workshop_id: UUID, collection: str, code: str) -> bool:
    """Whether anything was ever priced under it."""
    found = connection.execute(sa.select(rates.c.code).where(_within(rates, workshop_id, collection, code)).limit(1))
    return found.first() is not None


def save_rate(connection: sa.Connection, workshop_id: UUID, rate: DatedRate, revision: int) -> None:
    """Create or replace the rate that begins on its day."""
    collection, _, code = rate.resource.partition("/")
    values = {"terms": to_text(rate.terms), "revision": revision}
    changed = connection.execute(
        rates.update()
        .where(_within(rates, workshop_id, collection, code), rates.c.valid_from == rate.valid_from)
        .values(values)
    )
    if changed.rowcount == 0:
        key = {"workshop_id": workshop_id, "collection": collection, "code": code, "valid_from": rate.valid_from}
        connection.execute(rates.insert(), {**key, **values})


def delete_rate(connection: sa.Connection, workshop_id: UUID, collection: str, code: str, valid_from: date) -> bool:
    """Take back the rate that begins on this day; whether there was one."""
    found = connection.execute(
        rates.delete().where(_within(rates, workshop_id, collection, code), rates.c.valid_from == valid_from)
    )
    return found.rowcount == 1


def _in_force(workshop_id: UUID, as_of: date) -> sa.Select[Any]:
    latest = (
        sa.select(rates.c.collection, rates.c.code, sa.func.max(rates.c.valid_from).label("valid_from"))
        .where(rates.c.workshop_id == workshop_id, rates.c.valid_from <= as_of)
        .group_by(rates.c.collection, rates.c.code)
        .subquery()
    )
    return (
        sa.select(rates, registrations.c.facts)
        .join(
            latest,
            sa.and_(
                rates.c.collection == latest.c.collection,
                rates.c.code == latest.c.code,
                rates.c.valid_from == latest.c.valid_from,
            ),
        )
        .join(
            registrations,
            sa.and_(
                registrations.c.workshop_id == rates.c.workshop_id,
                registrations.c.collection == rates.c.collection,
                registrations.c.code == rates.c.code,
            ),
        )
        .where(rates.c.workshop_id == workshop_id, registrations.c.retired_at.is_(None))
        .order_by(rates.c.collection, rates.c.code)
    )


def rates_in_force(connection: sa.Connection, workshop_id: UUID, as_of: date) -> list[tuple[DatedRate, Registered]]:
    """Every rate in force on the date, with what it is the rate of."""
    return [
        (_stored_rate(row).rate, _read(row.facts, COLLECTIONS[row.collection].facts))
        for row in connection.execute(_in_force(workshop_id, as_of))
    ]


def first_rate_days(connection: sa.Connection, workshop_id: UUID, resources: Iterable[str]) -> dict[str, date]:
    """For those of the resources that have any rate, the first day of their first one."""
    found: dict[str, date] = {}
    for resource in resources:
        collection, _, code = resource.partition("/")
        first = connection.execute(
            sa.select(sa.func.min(rates.c.valid_from)).where(_within(rates, workshop_id, collection, code))
        ).scalar_one()
        if first is not None:
            found[resource] = first
    return found
