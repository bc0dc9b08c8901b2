"""A month at what-if rates and facts: the month there would be if they were registered, and nothing is stored."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from service.domain.making.errors import InconsistentProductError, ProductLoopError
from service.domain.month.verdict import Verdict
from service.domain.values.errors import InvalidValuesError
from service.workflows.costing.supposing import supposed_in_force
from tests.domain.examples import D, euros
from tests.support import builders
from tests.support.builders import planned
from tests.workflows.owner import Owner

DAY = "2026-01-01"
PRESSED_AGAIN = builders.product(operations=[builders.operation(), builders.operation(name="pressing again")])
DEAR = builders.listing(policy=builders.policy(value="0.5"))

RATES: dict[str, tuple[str, dict[str, Any]]] = {
    "a material": ("materials/hdpe", builders.material_rate("1.60")),
    "a machine": ("machines/press", builders.machine_rate(life_years="5")),
    "a grade": ("labour-grades/operator", builders.labour_rate("30")),
    "a grade paid by the month": ("labour-grades/operator", builders.labour_rate(paid_hours_per_month="24")),
    "a tariff": ("tariffs/grid", builders.tariff_rate("0.60", "0.50")),
    "a pool": ("overheads/rent", builders.overhead_rate("900")),
    "a tax": ("taxes/vat", {"rate_share": "0.10"}),
    "a channel": ("channels/quay-market", builders.channel_rate(fees=[builders.fee(share="0.2")])),
}
FACTS: dict[str, tuple[str, dict[str, Any]]] = {
    "a machine's hours and power": ("machines/press", builders.machine(hours_per_week="9", rated_power_kw="20")),
    "a grade's hours": ("labour-grades/operator", {"name": "Operator", "hours_per_week": "4"}),
    "a pool that varies": ("overheads/rent", {"name": "Rent", "base": "machine_hour", "variable": True}),
    "a product": ("products/sheet", PRESSED_AGAIN),
    "a product of what it was not made of": (
        "products/sheet",
        builders.product(bill_of_materials=[{"material": "pp", "quantity_per_piece": "5"}]),
    ),
    "a listing": ("listings/sheet-online", DEAR),
    "a closure": ("closures/move", {"name": "Move", "first_day": "2026-12-07", "last_day": "2026-12-18"}),
}


@pytest.fixture
def open_workshop(furnished: Owner) -> Owner:
    """With a listing, a closure, and a second material that nothing is made of."""
    furnished.put("machines/press", builders.machine(hours_per_week="15"))
    furnished.put("listings/sheet-online", builders.listing())
    furnished.put("closures/move", {"name": "Move", "first_day": "2026-12-07", "last_day": "2026-12-07"})
    furnished.register("materials/pp", builders.material(name="PP flakes"), **{DAY: builders.material_rate("1.10")})
    return furnished


def plan(**changes: Any) -> dict[str, Any]:
    return {"month": "2026-12", "lines": [planned(), {"listing": "sheet-online", "pieces": 6}], **changes}


@pytest.mark.parametrize("what", RATES)
def test_a_rate_does_what_it_would_do_if_it_were_registered(open_workshop: Owner, what: str) -> None:
    resource, terms = RATES[what]
    before = open_workshop.plan_month(**plan())

    supposed = open_workshop.plan_month(rates={resource: terms}, **plan())

    assert open_workshop.plan_month(**plan()) == before
    open_workshop.put_rate(resource, DAY, terms)
    assert supposed.supposed == (resource,)
    assert replace(supposed, supposed=()) == open_workshop.plan_month(**plan()) != before


@pytest.mark.parametrize("what", FACTS)
def test_a_fact_does_what_it_would_do_if_it_were_registered(open_workshop: Owner, what: str) -> None:
    resource, facts = FACTS[what]
    before = open_workshop.plan_month(**plan())

    supposed = open_workshop.plan_month(facts={resource: facts}, **plan())

    assert open_workshop.plan_month(**plan()) == before
    open_workshop.put(resource, facts)
    assert supposed.supposed == (resource,)
    assert replace(supposed, supposed=()) == open_workshop.plan_month(**plan()) != before


def test_a_rate_may_be_supposed_for_a_resource_that_has_none(open_workshop: Owner) -> None:
    open_workshop.put("machines/shredder", builders.machine(name="Shredder"))

    found = open_workshop.plan_month(rates={"machines/shredder": builders.machine_rate()}, **plan())

    (shredder,) = [each for each in found.fixed_costs if each.resource == "machines/shredder"]
    assert (shredder.name, shredder.amount) == ("Shredder", euros("200.00"))
    assert shredder.amount.amount + D("800") == found.fixed_cost.amount


def test_rates_and_facts_are_supposed_together(open_workshop: Owner) -> None:
    rates = {"machines/press": builders.machine_rate(replacement_value=builders.money("48000"))}
    facts = {"machines/press": builders.machine(hours_per_week="40")}

    found = open_workshop.plan_month(rates=rates, facts=facts, **plan(best_mix=False))

    assert found.supposed == ("machines/press",)
    assert found.fixed_costs[0].amount == euros("400.00")
    assert found.verdict is not Verdict.CANNOT_BE_MADE


@pytest.mark.parametrize(
    ("supposed", "path"),
    [
        ({"rates": {"machines/gold": builders.machine_rate()}}, ("rates", "machines/gold")),
        ({"facts": {"machines/gold": builders.machine()}}, ("facts", "machines/gold")),
        ({"facts": {"closures/gold": FACTS["a closure"][1]}}, ("facts", "closures/gold")),
        ({"facts": {"machines/press": builders.machine(tariff="gas")}}, ("facts", "machines/press", "tariff")),
        ({"facts": {"materials/hdpe": builders.material(unit="piece")}}, ("facts", "materials/hdpe", "unit")),
        (
            {"facts": {"products/sheet": builders.product(operations=[builders.operation(band_shares={})])}},
            ("facts", "products/sheet", "operations", 0, "band_shares"),
        ),
        ({"facts": {"listings/sheet-online": {**DEAR, "tax": "gold"}}}, ("facts", "listings/sheet-online", "tax")),
    ],
)
def test_what_does_not_fit_is_named(open_workshop: Owner, supposed: dict[str, Any], path: tuple[Any, ...]) -> None:
    with pytest.raises(InvalidValuesError) as refusal:
        open_workshop.plan_month(**plan(), **supposed)

    assert path in {tuple(each.path) for each in refusal.value.problems}


def test_a_resource_that_is_retired_meanwhile_is_named(open_workshop: Owner) -> None:
    supposed = open_workshop.supposed({"machines/gold": builders.machine_rate()}, {})

    with pytest.raises(InvalidValuesError, match="there is no machine 'gold'"):
        supposed_in_force(open_workshop.workspace, [], supposed, date(2026, 11, 25))


def test_what_is_retired_cannot_be_supposed(open_workshop: Owner) -> None:
    open_workshop.retire("closures/move")

    with pytest.raises(InvalidValuesError, match="there is no closure 'move'"):
        open_workshop.plan_month(**plan(), facts={"closures/move": FACTS["a closure"][1]})


def test_a_product_may_not_be_supposed_to_contain_itself(open_workshop: Owner) -> None:
    itself = builders.product(bill_of_materials=[{"product": "sheet", "quantity_per_piece": "1"}])

    with pytest.raises(ProductLoopError):
        open_workshop.plan_month(**plan(), facts={"products/sheet": itself})


def test_a_machine_may_not_be_supposed_to_break_a_product(open_workshop: Owner) -> None:
    with pytest.raises(InconsistentProductError):
        open_workshop.plan_month(**plan(), facts={"machines/press": {"name": "Hand press"}})


def test_supposing_leaves_no_trace_in_the_memory_between_requests(open_workshop: Owner) -> None:
    """What a sale through a channel keeps is remembered: neither must a supposition be, nor what it replaces."""
    sold = [planned(channel="quay-market", policy=None, price="50")]
    dear = {"channels/quay-market": builders.channel_rate(fees=[builders.fee(share="0.5")])}

    found = [open_workshop.plan_month(lines=sold, rates=rates).lines[0].proceeds for rates in (dear, {}, dear, {})]

    assert found[0] == found[2] != found[1] == found[3]


def test_a_cost_sheet_takes_facts_as_well(open_workshop: Owner) -> None:
    before = open_workshop.cost()

    supposed = open_workshop.cost_supposed(facts={"products/sheet": PRESSED_AGAIN})

    open_workshop.put("products/sheet", PRESSED_AGAIN)
    assert supposed == open_workshop.cost() != before
    assert supposed.as_of == date(2026, 11, 25)
