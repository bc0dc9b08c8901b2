"""The month of random workshops against an independent computation in fractions, to the last digit.

The workshops are those of tests/api/costing/test_independent_computation.py; each is asked about some plans, and about
the best mix of one. A failure names the plan and each figure that differs.
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
from tests.api.independent import number, shown_quantity
from tests.api.independent_month import OF_A_SALE, Month
from tests.api.independent_prices import MINOR_DECIMALS, orders_in
from tests.conftest import Client, make_client
from tests.support.contract import Contract
from tests.support.profiles import seeds

SEEDS = seeds(9)
PLANS = 8
BATCHES = (1, 2, 7, 12, 40, 333)
PLANNED = (0, 1, 7, 120, 999)
PARTS_OF_UNITS = ("1.5", "12.125", "33.333", "240.05")
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
    product = maker.code("products")
    parts = PARTS_OF_UNITS if independent.unit_of(maker.workshop, product) != "piece" else ()
    batch = number(maker.random.choice((*BATCHES, *parts)))
    together = maker.sold_together(product, batch) if maker.is_so(0.5) else {}
    sale = {name: value for name, value in {**maker.sale(product), **together}.items() if name in OF_A_SALE}
    currency = sale.get("currency", maker.workshop.currency)
    found = independent.costed(maker.workshop, product, batch, as_of, {}, orders_in(batch, sale))
    cost = independent.unit_cost(maker.workshop, found)["full_cost"]
    in_sale = independent.Exchange(maker.workshop, as_of).in_currency(cost, maker.workshop.currency, currency)
    return {
        "product": product,
        "standard_batch": shown_quantity(batch),
        "pieces": str(maker.random.choice((*PLANNED, *parts))),
        "price": maker.around(in_sale, MINOR_DECIMALS[currency]),
        **maker.some(most_per_month=maker.share("40", "1000", *parts), in_whole_batches=True),
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
    for name in ("break_even", "after_income_tax"):
        if found[name] is not None and expected[name] is not None:
            found[name] = {each: found[name][each] for each in expected[name]}
    found["resources_used"] = {**answer["resources_used"], **taken(answer["resources_used"])}
    return found


def taken(used: dict[str, Any]) -> dict[str, Any]:
    """Materials, electricity and work by resource, with their quantities alone."""
    return {
        "materials": {
            each["resource"]: {name: each[name] for name in each if name not in ("resource", "name", "unit")}
            for each in used["materials"]
        },
        "electricity": {f"{each['resource']}#{each['band']}": {"kwh": each["kwh"]} for each in used["electricity"]},
        "labour": {each["resource"]: {"hours": each["hours"]} for each in used["labour"]},
    }


def judge(month: Month, mix: dict[str, Any]) -> None:
    """A best mix can be made and sold, earns what it says, and neither the plan nor one product alone earns more."""
    limits = [month.most_alone(place) for place in range(len(month.lines))]
    endless = {
        asked["product"]
        for asked, line, limit in zip(month.plan["lines"], month.lines, limits, strict=True)
        if limit is None and line.contribution > 0
    }
    assert (mix["outcome"], set(mix["limited_by"])) == ("unlimited" if endless else "found", endless)
    if endless:
        return
    pieces = [number(each["pieces"]) for each in mix["lines"]]
    profit = month.profit(pieces)
    assert (mix["profit"], mix["gain"]) == (month.money(profit), month.money(profit - month.profit(month.pieces)))
    assert month.can_be_made(pieces), pieces
    others = [
        [limit or Fraction(0) if other == place else Fraction(0) for other in range(len(limits))]
        for place, limit in enumerate(limits)
    ]
    if month.can_be_made(month.pieces):
        others.append(month.pieces)
    assert max(month.profit(each) for each in others) <= profit, (pieces, others)
    bound = number(mix["profit_at_most"]["amount"]) * 10**month.decimals
    assert profit <= bound
    assert mix["is_proven"] is (profit == bound)


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

    for place in range(PLANS):
        asked = plan(maker) | {"best_mix": place == 0}  # it takes longer than all the rest
        response = client.post("break-even", asked)
        assert response.status_code == 200, (asked, response.json)
        left_out = [each["resource"] for each in response.json["absorption"] if each["is_left_out"]]
        month = Month(maker.workshop, asked, left_out)
        expected = month.answer()

        differ = list(differences(expected, told(response.json, expected)))

        assert not differ, "\n".join([str(asked), *differ[:12]])
        if response.json["best_mix"] is not None:
            judge(month, response.json["best_mix"])
        profits = sum(Fraction(of["month_profit"]["amount"]) for of in response.json["lines"])
        assert profits == Fraction(response.json["reconciliation"]["profit_of_products"]["amount"])


def test_the_random_plans_have_all_that_a_month_can_bear() -> None:
    """Pay by the month and by the hour, idle and not, charges, pools, what is left out, units, waste, orders."""
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
            units = {independent.unit_of(maker.workshop, each["product"]) for each in asked["lines"]}
            found |= {"units" if len(units) > 1 else "a unit", *(name for each in asked["lines"] for name in each)}
            for material in month.used(0, 0)["materials"].values():
                found |= {name for name in ("gate_fee", "disposal_cost") if material[name]}
                found |= {"gained"} if material["net"].startswith("-") else set()
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
        "units",
        "gate_fee",
        "disposal_cost",
        "gained",
        "pieces_per_order",
        "most_per_month",
        "in_whole_batches",
    } <= found
