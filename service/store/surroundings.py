"""What is registered with everything it needs, in one statement."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.products import Catalogue
from service.domain.rates import DatedRate
from service.domain.register import COLLECTIONS
from service.encoding import from_text
from service.store.database import Connection
from service.store.tables import rates, registrations, uses


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """Some registered things with everything they name, through any depth, and the rates of a date.

    Attributes:
        facts: what is registered, by collection and code.
        catalogue: the same, as far as an explosion meets it.
        rates: by resource, those that have one on the date.
    """

    facts: Mapping[str, Mapping[str, Any]]
    catalogue: Catalogue
    rates: Mapping[str, DatedRate]

    def __len__(self) -> int:
        """How many things are in it."""
        return sum(map(len, self.facts.values()))


def _surroundings_query() -> sa.Select[Any]:
    """Everything that one thing needs, through any depth, each with its rate in force, in one statement."""
    workshop_id = sa.bindparam("workshop_id", type_=sa.Uuid)
    reached = (
        sa.select(registrations.c.collection, registrations.c.code)
        .where(
            registrations.c.workshop_id == workshop_id,
            sa.or_(
                sa.and_(
                    registrations.c.collection == sa.bindparam("collection"),
                    registrations.c.code == sa.bindparam("code"),
                ),
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


def surroundings(
    connection: Connection, workshop_id: UUID, named: Iterable[tuple[str, str]], as_of: date
) -> Surroundings:
    """Some things, everything they name through any depth, the overhead pools, and their rates on the date.

    Args:
        named: the things by collection and code; one that is not registered is left out.
    """
    facts: dict[str, dict[str, Any]] = {name: {} for name in COLLECTIONS}
    in_force: dict[str, DatedRate] = {}
    for collection, code in dict.fromkeys(named):
        _add(
            connection,
            {"workshop_id": workshop_id, "collection": collection, "code": code, "as_of": as_of},
            facts,
            in_force,
        )
    facts["overheads"] = dict(sorted(facts["overheads"].items()))
    members = {name: facts[name.replace("_", "-")] for name in Catalogue.__dataclass_fields__}
    return Surroundings(facts=facts, catalogue=Catalogue(**members), rates=in_force)


def _add(
    connection: Connection,
    question: Mapping[str, Any],
    facts: Mapping[str, dict[str, Any]],
    in_force: dict[str, DatedRate],
) -> None:
    for collection, code, facts_text, valid_from, terms_text in connection.execute(_SURROUNDINGS, question):
        if code in facts[collection]:
            continue  # what several need is read once
        kind = COLLECTIONS[collection]
        facts[collection][code] = from_text(facts_text, kind.facts)
        if terms_text is not None and kind.terms is not None:
            resource = f"{collection}/{code}"
            terms = from_text(terms_text, kind.terms)
            in_force[resource] = DatedRate(resource=resource, valid_from=valid_from, terms=terms)
