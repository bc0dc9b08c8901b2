"""A registered thing with everything it refers to, read in one statement."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.costing.rate_card import DatedRate
from service.domain.making.products import Catalogue
from service.domain.register import COLLECTIONS
from service.domain.values.references import Thing
from service.encoding import from_text
from service.store.engine.column_types import as_text
from service.store.engine.database import Database
from service.store.engine.tables import rates, registrations, uses
from service.store.registering.registrations import within


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Registered things with everything they refer to, at any depth, and the rates of a date.

    Attributes:
        facts: the registered values by collection and code; an empty collection may be missing.
        catalogue: those of them that an explosion needs.
        rates: the rates in force on the date, by resource.
        earlier: for each of them the one before it, if there is one.
        size: bytes that it takes in memory.
    """

    facts: Mapping[str, Mapping[str, Any]]
    catalogue: Catalogue
    rates: Mapping[str, DatedRate]
    earlier: Mapping[str, DatedRate] = field(default_factory=dict)
    size: int = 0

    def find(self, thing: Thing) -> Any | None:
        """What is registered of it, if it is in it."""
        return self.facts.get(thing.collection, {}).get(thing.code)

    def replaced(self, facts: Mapping[str, Any]) -> "Surroundings":
        """With other facts of some things in it; facts of what is not in it are added."""
        found = {collection: dict(registered) for collection, registered in self.facts.items()}
        for name, each in facts.items():
            collection, code = Thing.of(name)
            found.setdefault(collection, {})[code] = each
        return _surroundings(found, self.rates, self.earlier, self.size)


_SIZE_OF_A_THING, _SIZE_OF_A_CHARACTER = 400, 8
"""Bytes that a registered thing takes in memory, and that each character of its stored text adds (measured)."""
_WORKSHOP_ID = sa.bindparam("workshop_id", type_=sa.Uuid)


def _reached() -> sa.CTE:
    """One thing and everything it refers to, at any depth, by collection and code."""
    collection, code = (sa.bindparam(name, type_=sa.String) for name in ("collection", "code"))
    registered = sa.select(registrations.c.collection, registrations.c.code).where(
        registrations.c.workshop_id == _WORKSHOP_ID, registrations.c.retired_at.is_(None)
    )
    # Two queries rather than one with OR, for which the engines would scan the whole register.
    thing = registered.where(registrations.c.collection == collection, registrations.c.code == code)
    pools = registered.where(registrations.c.collection == "overheads", collection == "products")
    reached = thing.cte("reached", recursive=True)
    # What a pool names it bears on, and does not consume: none of that is needed for what comes with the pool.
    step = sa.select(uses.c.used_collection, uses.c.used_code).where(reached.c.collection != "overheads")
    return reached.union(pools, step.where(within(uses, _WORKSHOP_ID, reached.c.collection, reached.c.code)))


def _surroundings_query() -> sa.Select[Any]:
    """One statement for the same, each with its rate in force and the rate before that."""
    reached, in_force, before = _reached(), rates.alias("in_force"), rates.alias("before")
    thing = _WORKSHOP_ID, reached.c.collection, reached.c.code
    as_of = sa.bindparam("as_of", type_=sa.Date)
    latest = sa.select(sa.func.max(rates.c.valid_from)).where(within(rates, *thing))
    now, earlier = latest.where(rates.c.valid_from <= as_of), latest.where(rates.c.valid_from < in_force.c.valid_from)
    return (
        sa.select(
            registrations.c.collection,
            registrations.c.code,
            as_text(registrations.c.facts),
            in_force.c.valid_from,
            as_text(in_force.c.terms),
            before.c.valid_from,
            as_text(before.c.terms),
        )
        .select_from(reached)
        .join(registrations, within(registrations, *thing))
        .outerjoin(in_force, sa.and_(within(in_force, *thing), in_force.c.valid_from == now.scalar_subquery()))
        .outerjoin(before, sa.and_(within(before, *thing), before.c.valid_from == earlier.scalar_subquery()))
    )


_SURROUNDINGS = _surroundings_query()


def surroundings(database: Database, workshop_id: UUID, named: Iterable[Thing], as_of: date) -> Surroundings:
    """As `surroundings_of_one`, of several things; those that are not registered are left out."""
    return together(surroundings_of_one(database, workshop_id, thing, as_of) for thing in dict.fromkeys(named))


def surroundings_of_one(database: Database, workshop_id: UUID, thing: Thing, as_of: date) -> Surroundings:
    """One thing, everything it refers to at any depth, and their rates on the date; with a product, overhead pools."""
    facts: dict[str, dict[str, Any]] = {}
    in_force: dict[str, DatedRate] = {}
    earlier: dict[str, DatedRate] = {}
    size = 0
    asked = {"collection": thing.collection, "code": thing.code, "as_of": as_of}
    for used_collection, used_code, registered, *dated in database.rows(
        _SURROUNDINGS, workshop_id=workshop_id, **asked
    ):
        kind = COLLECTIONS[used_collection]
        facts.setdefault(used_collection, {})[used_code] = from_text(registered, kind.facts)
        size += _SIZE_OF_A_THING + len(registered) * _SIZE_OF_A_CHARACTER
        resource = f"{used_collection}/{used_code}"
        for found, valid_from, terms in ((in_force, *dated[:2]), (earlier, *dated[2:])):
            if terms is not None and kind.terms is not None:
                read = from_text(terms, kind.terms)
                found[resource] = DatedRate(resource=resource, valid_from=valid_from, terms=read)
                size += len(terms) * _SIZE_OF_A_CHARACTER
    return _surroundings(facts, in_force, earlier, size)


def together(found: Iterable[Surroundings]) -> Surroundings:
    """Merge several surroundings into one."""
    parts = list(found)
    if len(parts) == 1:
        return parts[0]
    facts: dict[str, dict[str, Any]] = {}
    in_force: dict[str, DatedRate] = {}
    earlier: dict[str, DatedRate] = {}
    for part in parts:
        in_force.update(part.rates)
        earlier.update(part.earlier)
        for collection, registered in part.facts.items():
            facts.setdefault(collection, {}).update(registered)
    return _surroundings(facts, in_force, earlier, sum(part.size for part in parts))


def _surroundings(
    facts: dict[str, dict[str, Any]], in_force: Mapping[str, DatedRate], earlier: Mapping[str, DatedRate], size: int
) -> Surroundings:
    facts["overheads"] = dict(sorted(facts.get("overheads", {}).items()))
    members = {name: facts.get(name.replace("_", "-"), {}) for name in Catalogue.__dataclass_fields__}
    return Surroundings(facts=facts, catalogue=Catalogue(**members), rates=in_force, earlier=earlier, size=size)
