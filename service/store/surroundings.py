"""A product with everything it needs, in one statement."""

from collections.abc import Iterable
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
    """A product with everything it is made of and with, and the rates of a date.

    Attributes:
        catalogue: the facts.
        rates: by resource, those that have one on the date.
    """

    catalogue: Catalogue
    rates: dict[str, DatedRate]

    def __len__(self) -> int:
        """How many things are in it."""
        return sum(len(getattr(self.catalogue, name)) for name in Catalogue.__dataclass_fields__)


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


def surroundings(connection: Connection, workshop_id: UUID, products: Iterable[str], as_of: date) -> Surroundings:
    """The products, everything they name through any depth, the overhead pools, and their rates on the date."""
    found = [_surroundings_of(connection, workshop_id, product, as_of) for product in dict.fromkeys(products)]
    return found[0] if len(found) == 1 else _together(found)


def _surroundings_of(connection: Connection, workshop_id: UUID, product: str, as_of: date) -> Surroundings:
    rows = connection.execute(_SURROUNDINGS, {"workshop_id": workshop_id, "product": product, "as_of": as_of}).all()
    facts: dict[str, dict[str, Any]] = {name: {} for name in COLLECTIONS}
    in_force: dict[str, DatedRate] = {}
    for collection, code, facts_text, valid_from, terms_text in rows:
        kind = COLLECTIONS[collection]
        facts[collection][code] = from_text(facts_text, kind.facts)
        if terms_text is not None and kind.terms is not None:
            resource = f"{collection}/{code}"
            in_force[resource] = DatedRate(
                resource=resource, valid_from=valid_from, terms=from_text(terms_text, kind.terms)
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
