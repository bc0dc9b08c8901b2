"""The workshops of `attack`: the attackers' with what is dear to compute, and another that only wants to work."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from benchmark_server import pugmill
from largest import DAY, FEES, POLICY, Put, fee, money, rated

from service.client.http import Service
from service.domain.values.references import Registered, Thing, references_in
from service.store.engine.database import Database
from service.store.engine.tables import registrations, uses
from service.store.registering.registrations import find_registration

PRODUCTS, MACHINES = 200, 12
LISTED, ALSO_LISTED, ORDINARY = 1_000, 3_500, 10_000
"""Listings on the first and the second dear channel, and of the workshop that reprices."""
LINES, QUOTATIONS = 200, 3
AS_OF = "2026-11-25"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """What attackers and others know.

    Attributes:
        read_only: the attackers' key, which cannot write.
        writing: another key of the same workshop.
        repricing: the key of a workshop with many ordinary listings, whose repricing was applied once.
        other: the key of the workshop whose work must go on.
        quotations: ids of the attackers' quotations, each of many lines.
        repriced: the address of the changes of the repricing that was applied.
    """

    read_only: str
    writing: str
    repricing: str
    other: str
    quotations: tuple[str, ...]
    repriced: str


def made(url: str, environment: dict[str, str], at: str) -> Ground:
    """Register everything with the service at an address, and quickly, in its database, what is many."""

    def created(name: str) -> str:
        return pugmill(["workshop", "create", "--name", name, "--currency", "EUR"], environment).splitlines()[-1]

    writing, repricing, other = (created(name) for name in ("Hostile", "Busy", "Harbour"))
    for key in (writing, repricing, other):
        service = Service(at, key)
        for path, body in entries():
            service.send("PUT", f"/v1/{path}", body)
    for key in (writing, repricing):
        copy(url, key, Thing("products", "small-0"), products())
    copy(url, writing, Thing("listings", "dear-0"), listings("dear", LISTED))
    copy(url, writing, Thing("listings", "second-0"), listings("second", ALSO_LISTED))
    copy(url, repricing, Thing("listings", "plain-0"), listings("plain", ORDINARY))
    applied = Service(at, repricing).send("POST", "/v1/repricings", {"apply": True}, is_long=True)
    names = ["key", "create", str(workshop_of(writing)), "--name", "Reads", "--read-only"]
    return Ground(
        read_only=pugmill(names, environment).splitlines()[-1],
        writing=writing,
        repricing=repricing,
        other=other,
        quotations=tuple(quotations(Service(at, writing))),
        repriced=f"{applied.headers['Location']}/changes",
    )


def workshop_of(key: str) -> UUID:
    """The workshop's id, which its keys contain."""
    return UUID(hex=key.split("_")[1])


def entries() -> Iterator[Put]:
    """What every workshop has: resources, a product, conditions of sale, and a listing of each kind."""
    tariff = {"price_per_kwh": {"day": money("0.31")}}
    yield from rated("tariffs/grid", {"name": "Grid", "bands": ["day"]}, tariff)
    machine = {"replacement_value": money("24000"), "life_years": "10", "planned_hours_per_year": "1600"}
    for each in range(MACHINES):
        facts = {"name": f"Machine {each}", "rated_power_kw": "11", "tariff": "grid", "hours_per_week": "40"}
        yield from rated(f"machines/machine-{each}", facts, machine)
    yield from rated("materials/flakes", {"name": "Flakes", "unit": "kg"}, {"price": money("0.85")})
    yield from rated("taxes/standard", {"name": "VAT"}, {"rate_share": "0.21"})
    channel = {"name": "Market", "display": "tax_inclusive"}
    for code in ("dear", "second"):
        yield from rated(f"channels/{code}", channel, {"currency": "EUR", "fees": [fee(each) for each in range(FEES)]})
    payment = {"name": "payment", "share": "0.019", "fixed": "0.30"}
    yield from rated("channels/plain", channel, {"currency": "EUR", "fees": [payment]})
    step = {"name": "pressing", "machine": "machine-0", "cycle_minutes": "1.1", "setup_minutes": "20",
            "band_shares": {"day": "1"}}  # fmt: skip
    bill = [{"material": "flakes", "quantity_per_piece": "1.2"}]
    yield "products/small-0", {"name": "Small 0", "bill_of_materials": bill, "operations": [step]}
    listing = {"product": "small-0", "currency": "EUR", "locale": "de_DE", "policy": POLICY, "tax": "standard"}
    for code in ("dear", "second", "plain"):
        yield f"listings/{code}-0", {**listing, "channel": code, "standard_batch": 10}


Copies = Callable[[Any], Iterator[tuple[str, Registered]]]
"""Turns facts into others, each with its code."""


def products() -> Copies:
    """Products like the first, each with other times, on one of the machines."""

    def copies(first: Any) -> Iterator[tuple[str, Registered]]:
        (step,) = first.operations
        for each in range(1, PRODUCTS):
            cycle = Decimal(f"1.{each + 100}")
            own = replace(step, machine=f"machine-{each % MACHINES}", cycle_minutes=cycle)
            yield f"small-{each}", replace(first, name=f"Small {each}", operations=(own,))

    return copies


def listings(kind: str, count: int) -> Copies:
    """Listings with different products and batches, so that no two share a bill."""

    def copies(first: Any) -> Iterator[tuple[str, Registered]]:
        for each in range(1, count):
            yield f"{kind}-{each}", replace(first, product=f"small-{each % PRODUCTS}", standard_batch=10 + each)

    return copies


def copy(url: str, key: str, of: Thing, copies: Copies) -> None:
    """Register others of a kind in one transaction, as the service would one by one."""
    database, workshop_id = Database(url), workshop_of(key)
    with database.writing() as connection:
        found = find_registration(connection, workshop_id, of)
        if found is None:
            raise LookupError(str(of))
        stored, used = [], []
        for code, facts in copies(found.facts):
            key_of_it = {"workshop_id": workshop_id, "collection": of.collection, "code": code}
            stored.append({**key_of_it, "facts": facts, "revision": found.revision})
            for collection, named in dict.fromkeys(each for _, each in references_in(facts)):
                used.append({**key_of_it, "used_collection": collection, "used_code": named})
        connection.execute(registrations.insert(), stored)
        connection.execute(uses.insert(), used)
    if database.engine.dialect.name != "sqlite":
        with database.engine.execution_options(isolation_level="AUTOCOMMIT").connect() as connection:
            connection.execute(sa.text("ANALYZE"))
    database.dispose()


def quotations(service: Service) -> Iterator[str]:
    """Draft quotations of as many lines as there may be; yields their ids."""
    for number in range(QUOTATIONS):
        lines = [
            {"product": f"small-{each}", "quantity": 100 + each + number, "tax": "standard", "policy": POLICY}
            for each in range(LINES)
        ]
        body = {"customer": {"name": f"Trust {number}"}, "quoted_on": AS_OF, "lines": lines}
        yield service.send("POST", "/v1/quotations", body, is_long=True).json()["id"]


def plan() -> dict[str, Any]:
    """A month of as many lines as there may be, half of them in whole batches."""
    lines = [
        {"product": f"small-{each}", "standard_batch": 20 + each, "pieces": 100, "policy": POLICY, "tax": "standard",
         "most_per_month": 400 + each, "least_per_month": 10, "in_whole_batches": each % 2 == 0}
        for each in range(PRODUCTS)
    ]  # fmt: skip
    return {"as_of": AS_OF, "lines": lines}


__all__ = ["AS_OF", "DAY", "LINES", "Ground", "made", "plan", "workshop_of"]
