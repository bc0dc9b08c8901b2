"""The month of random workshops against an independent computation in fractions, to the last digit.

The workshops are those of tests/api/costing/test_independent_computation.py; each is asked about some plans. A failure
names the plan and each figure that differs.
"""

from fractions import Fraction
from typing import Any

import flask
import pytest

from tests.api import independent
from tests.api.costing.test_independent_computation import (
    ASKED_DAYS,
    HOMES,
    Maker,
    by_name,
    differences,
    made_workshop,
    register_all,
)
from tests.api.independent_month import OF_A_SALE, Month
from tests.api.independent_prices import MINOR_DECIMALS
from tests.conftest import Client, make_client
from tests.support.contract import Contract
from tests.support.profiles import seeds

SEEDS = seeds(9)
PLANS = 8
BATCHES = (1, 2, 7, 12, 40, 333)
COLLECTIONS = ("machines/", "labour-grades/", "tariffs/", "overheads/")
TIMED = ("machines/", "labour-grades/")


def with_hours(maker: Maker) -> Maker:
    """Machines and people with the hours that there are of them in a week, for some."""
    for resource, facts in maker.workshop.facts.items():
        if resource.startswith(TIMED) and maker.is_so(0.7):
            facts["hours_per_week"] = maker.figure(5, 160)
    return maker


def line(maker: Maker, as_of: str) -> dict[str, Any]:
    """So many pieces of a product, at a price around its cost, sold in any way."""
    product, batch = maker.code("products"), maker.random.choice(BATCHES)
    sale = {name: value for name, value in maker.sale().items() if name in OF_A_SALE}
    currency = sale.get("currency", maker.workshop.currency)
    found = independent.costed(maker.workshop, product, batch, as_of, {})
    cost = independent.unit_cost(maker.workshop, found)["full_cost"]
    in_sale = independent.Exchange(maker.workshop, as_of).in_currency(cost, maker.workshop.currency, currency)
    return {
        "product": product,
        "standard_batch": batch,
        "pieces": maker.random.choice((0, 1, 7, 120, 999)),
        "price": maker.around(in_sale, MINOR_DECIMALS[currency]),
        **sale,
    }


def plan(maker: Maker) -> dict[str, Any]:
    as_of = maker.random.choice(ASKED_DAYS)
    resources = [each for each in maker.workshop.facts if each.startswith(COLLECTIONS)]
    return {
        "as_of": as_of,
        "lines": [line(maker, as_of) for _ in range(maker.random.randint(1, 4))],
        "leave_out": [each for each in resources if maker.is_so(0.15)],
        "other_fixed_costs": [
            {"name": "Other", "amount": maker.money(1, 900)} for _ in range(maker.random.randint(0, 2))
        ],
        "best_mix": False,
        **({"income_tax_share": maker.share()} if maker.is_so(0.5) else {}),
    }


def told(answer: dict[str, Any], expected: dict[str, Any]) -> dict[str, Any]:
    """The members of the answer that are computed independently, in the same form."""
    found = {name: answer[name] for name in expected}
    found["lines"] = [{name: of[name] for name in expected["lines"][0]} for of in answer["lines"]]
    for name in ("absorption", "loads"):
        rows = by_name(answer[name], "resource")
        wanted = next(iter(expected[name].values()), {})
        found[name] = {resource: {each: row[each] for each in wanted} for resource, row in rows.items()}
    found["resources_used"] = {**answer["resources_used"], **taken(answer["resources_used"])}
    if found["after_income_tax"] is not None:
        found["after_income_tax"] = {each: found["after_income_tax"][each] for each in expected["after_income_tax"]}
    return found


def taken(used: dict[str, Any]) -> dict[str, Any]:
    """Materials, electricity and work by resource, with their quantities alone."""
    return {
        "materials": {
            each["resource"]: {name: each[name] for name in ("issued", "reclaimed", "net")}
            for each in used["materials"]
        },
        "electricity": {f"{each['resource']}#{each['band']}": {"kwh": each["kwh"]} for each in used["electricity"]},
        "labour": {each["resource"]: {"hours": each["hours"]} for each in used["labour"]},
    }


@pytest.mark.seeded
@pytest.mark.parametrize("seed", SEEDS)
def test_every_figure_of_a_month_is_the_independent_computations(
    app: flask.Flask, contract: Contract, seed: int
) -> None:
    currency = HOMES[seed % len(HOMES)]
    maker = with_hours(made_workshop(seed, currency))
    client: Client = make_client(app, contract, currency=currency)
    client.is_checked = seed == SEEDS[0]
    register_all(client, maker.workshop)

    for _ in range(PLANS):
        asked = plan(maker)
        response = client.post("break-even", asked)
        assert response.status_code == 200, (asked, response.json)
        left_out = [each["resource"] for each in response.json["absorption"] if each["is_left_out"]]
        expected = Month(maker.workshop, asked, left_out).answer()

        differ = list(differences(expected, told(response.json, expected)))

        assert not differ, "\n".join([str(asked), *differ[:12]])
        profits = sum(Fraction(of["month_profit"]["amount"]) for of in response.json["lines"])
        assert profits == Fraction(response.json["reconciliation"]["profit_of_products"]["amount"])


def test_the_random_plans_have_all_that_a_month_can_bear() -> None:
    """Pay by the month and by the hour, idle and not, charges, pools of both kinds, what is left out."""
    found: set[str] = set()
    for seed in SEEDS:
        maker = with_hours(made_workshop(seed, "EUR"))
        for _ in range(PLANS):
            asked = plan(maker)
            month = Month(maker.workshop, asked, [])
            found |= {each.partition("/")[0] for each in month.borne}
            found |= {f"{each.partition('/')[0]} left out" for each in asked["leave_out"]}
            rows = {each: month.row(each) for each in month.borne}
            found |= {"under" if incurred > absorbed else "over" for incurred, absorbed in rows.values()}
            found |= {"idle" for each, (paid, worked) in rows.items() if each.startswith("labour") and worked < paid}
            found |= {
                "by the hour" for each in maker.workshop.facts if each.startswith("labour") and each not in month.borne
            }

    collections = {"machines", "labour-grades", "tariffs", "overheads"}
    assert {
        *collections,
        *(f"{each} left out" for each in collections),
        "under",
        "over",
        "idle",
        "by the hour",
    } <= found
