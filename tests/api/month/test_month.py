"""The month over HTTP: fixed costs, sales of its products, time, best mix, and refusals."""

from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from tests.api.outside import pointers, refused
from tests.conftest import Client, make_client
from tests.support.builders import (
    channel_rate,
    listing,
    machine,
    machine_rate,
    money,
    month_plan,
    overhead_rate,
    planned,
    policy,
    register_workshop,
    tariff,
    tariff_rate,
)

DAY = "2026-01-01"
MINUTES_OF_20 = 20 + Fraction(20) / Fraction("0.95") * 40
"""Minutes on the press for a batch of 20 sheets: set-up, and a cycle for each piece started."""


def figure(money: Any) -> Decimal:
    return Decimal(money["amount"])


def asked(client: Client, **changes: Any) -> Any:
    response = client.post("break-even", month_plan(**changes))
    assert response.status_code == 200, response.json
    return response.json


def sheet_costs(client: Client, quantity: int = 20) -> dict[str, Decimal]:
    sheet = client.get(f"products/sheet/cost-sheet?quantity={quantity}&as_of=2026-11-25").json
    return {name: figure(each["per_piece"]) for name, each in sheet["subtotals"].items()}


@pytest.fixture
def workshop(client: Client) -> Client:
    register_workshop(client)
    return client


class TestFixedCosts:
    def test_include_the_parts_of_a_machine_and_the_charges_of_a_tariff(self, workshop: Client) -> None:
        terms = machine_rate(
            residual_value=money("4000"),
            interest_share="0.06",
            floor_m2="10",
            space_cost_per_m2_month=money("7.50"),
            maintenance_share="0.02",
            other_per_year=money("240"),
        )
        workshop.register("machines/press", machine(), **{DAY: terms})
        charged = tariff_rate(
            standing_charge_per_month=money("36"), demand_charge_per_month=money("44"), expected_kwh_per_month="1700"
        )
        workshop.register("tariffs/grid", tariff(), **{DAY: charged})

        press, _, grid = asked(workshop)["fixed_costs"]

        assert {name: figure(each) for name, each in press["components"].items()} == {
            "depreciation": Decimal("166.67"),  # 20,000 ÷ 10 ÷ 12
            "interest": Decimal("70.00"),  # 14,000 × 0.06 ÷ 12
            "space": Decimal("75.00"),
            "maintenance": Decimal("40.00"),
            "other": Decimal("20.00"),
        }
        assert press["amount"] == money("371.67")
        assert grid["components"] == {"demand charge": money("44.00"), "standing charge": money("36.00")}

    def test_in_another_currency_are_converted(self, workshop: Client) -> None:
        workshop.put("exchange-rates/2026-11-25", {"base": "EUR", "rates": {"USD": "1.25"}})
        loan = {"name": "Loan", "amount": money("250", "USD")}

        found = asked(workshop, other_fixed_costs=[loan], target_profit=money("125", "USD"))

        assert found["fixed_costs"][-1]["amount"] == money("200.00")
        assert found["target_profit"] == money("100.00")
        assert [each["base"] for each in found["exchange_rates"]] == ["EUR"]


class TestWhatIsSupposed:
    def test_is_told_and_not_stored(self, workshop: Client) -> None:
        rates, facts = {"overheads/rent": overhead_rate("700")}, {"machines/press": machine(hours_per_week="9")}
        before = asked(workshop)

        found = asked(workshop, rates=rates, facts=facts)

        assert found["supposed"] == ["machines/press", "overheads/rent"]
        assert found["fixed_cost"] == money("900.00")
        assert found["loads"][1]["minutes_available"] == "2340"
        assert asked(workshop) == before
        assert before["supposed"] == []


class TestHowProductsAreSold:
    def test_the_figures_are_those_of_the_price_and_cost_sheets(self, workshop: Client) -> None:
        found = asked(workshop)
        query = "quantity=20&as_of=2026-11-25&target=margin&value=0.35&tax=vat"
        price = workshop.get(f"products/sheet/price-sheet?{query}").json["price_per_piece"]

        (line,) = found["lines"]
        assert line["price"] == price["price"]
        assert figure(line["variable_cost"]) == sheet_costs(workshop)["variable_cost"]
        contribution = figure(price["price"]) - sheet_costs(workshop)["variable_cost"]
        assert figure(line["contribution"]) == contribution
        assert abs(figure(found["contribution"]) - contribution * 100) < Decimal("0.01")
        assert figure(found["profit"]) == figure(found["contribution"]) - 800
        assert line["sales"] == found["sales"] == money(f"{figure(price['price']) * 100:.2f}")

    def test_a_listing_is_sold_on_its_own_conditions_and_its_fees_are_deducted(self, workshop: Client) -> None:
        workshop.register("listings/sheet-online", listing(name="Board"))
        price = workshop.get("listings/sheet-online/price-sheet?as_of=2026-11-25").json

        (line,) = asked(workshop, lines=[{"listing": "sheet-online", "pieces": 60}])["lines"]

        assert (line["product"], line["listing"], line["name"]) == ("sheet", "sheet-online", "Board")
        assert line["standard_batch"] == "20"
        assert line["price"] == price["price_per_piece"]["price"]
        assert round(figure(line["proceeds"]), 4) == round(figure(price["settlement"]["proceeds"]), 4)
        assert figure(line["proceeds"]) < figure(line["net_price"])

    def test_a_sale_in_another_currency_is_converted(self, workshop: Client) -> None:
        workshop.put("exchange-rates/2026-11-25", {"base": "EUR", "rates": {"USD": "1.25"}})
        line = planned(policy=None, price="50", currency="USD", tax=None)

        found = asked(workshop, lines=[line])

        assert found["lines"][0]["price"] == money("50", "USD")
        assert found["lines"][0]["net_price"] == money("40.000000")
        assert found["sales"] == money("4000.00")

    def test_a_price_below_variable_cost_never_breaks_even_and_says_so(self, workshop: Client) -> None:
        found = asked(workshop, lines=[planned(policy=None, price="0.50")], target_profit=money("10"))

        assert figure(found["contribution"]) < 0
        assert (found["break_even"], found["target"], found["margin_of_safety"]) == (None, None, None)
        assert found["lines"][0]["alone_break_even"] is None
        assert found["operating_leverage"] is None
        assert [each["milestone"] for each in found["profit_by_volume"]] == ["nothing", "plan"]


class TestTime:
    @pytest.fixture
    def timed(self, workshop: Client) -> Client:
        workshop.put("machines/press", machine(hours_per_week="15"))
        workshop.put("labour-grades/operator", {"name": "Operator", "hours_per_week": "40"})
        return workshop

    def test_minutes_needed_are_compared_with_minutes_available(self, timed: Client) -> None:
        found = asked(timed)

        loads = {load["resource"]: load for load in found["loads"]}
        press = loads["machines/press"]
        assert abs(Fraction(press["minutes_needed"]) - 5 * MINUTES_OF_20) < Fraction("0.000001")
        assert press["minutes_available"] == "3900"  # 15 × 60 × 52 ÷ 12
        assert press["load_share"] == str(round(Decimal(press["minutes_needed"]) / 3900, 6))
        assert press["is_bottleneck"]
        assert press["is_over_full"]
        assert not loads["labour-grades/operator"]["is_over_full"]
        assert found["bottleneck"] == "machines/press"

    def test_profit_by_volume_rises_from_nothing_sold_to_full_capacity(self, timed: Client) -> None:
        found = asked(timed, lines=[planned(policy=None, price="60")], target_profit=money("500"))

        profits = {each["milestone"]: each for each in found["profit_by_volume"]}
        assert list(profits) == ["nothing", "break_even", "target", "full_capacity", "plan"]
        assert profits["nothing"]["profit"] == money("-800.00")
        assert profits["nothing"]["cost"] == found["fixed_cost"]
        assert profits["break_even"]["profit"] == money("0.00")
        assert profits["target"]["profit"] == money("500.00")
        assert profits["plan"]["profit"] == found["profit"]
        assert profits["full_capacity"]["bottleneck_share"] == "1"
        pieces = 3900 / MINUTES_OF_20 * 20
        assert abs(Fraction(profits["full_capacity"]["pieces"]) - pieces) < Fraction("0.000001")
        for each in found["profit_by_volume"]:
            assert figure(each["proceeds"]) - figure(each["cost"]) == figure(each["profit"])

    def test_the_best_mix_fills_the_press_in_whole_pieces(self, timed: Client) -> None:
        found = asked(timed, lines=[planned(policy=None, price="60")])

        mix = found["best_mix"]
        assert mix["outcome"] == "found"
        assert mix["is_proven"]
        assert mix["lines"][0]["pieces"] == str(int(3900 / MINUTES_OF_20 * 20))
        assert int(mix["lines"][0]["change"]) == int(mix["lines"][0]["pieces"]) - 100
        assert mix["profit"] == mix["profit_at_most"]
        assert figure(mix["gain"]) == figure(mix["profit"]) - figure(found["profit"])
        (hour,) = mix["time_values"]
        assert hour["resource"] == "machines/press"
        assert figure(hour["value_of_another_hour"]) == figure(found["lines"][0]["contribution_per_hour"])

    def test_the_least_of_each_product_may_take_more_time_than_available(self, timed: Client) -> None:
        mix = asked(timed, lines=[planned(least_per_month=100)])["best_mix"]

        assert (mix["outcome"], mix["limited_by"]) == ("too_little_time", ["machines/press"])
        assert mix["profit"] is None

    def test_the_best_mix_is_computed_only_if_requested(self, timed: Client) -> None:
        assert asked(timed, best_mix=False)["best_mix"] is None


BAD: dict[str, tuple[dict[str, Any], str]] = {
    "no line": ({"lines": []}, "/lines"),
    "a line too many": ({"lines": [planned()] * 201}, "/lines"),
    "neither product nor listing": ({"lines": [planned(product=None)]}, "/lines/0/product"),
    "both": ({"lines": [planned(listing="x")]}, "/lines/0/product"),
    "a listing with a tax": ({"lines": [{"listing": "x", "pieces": 1, "tax": "vat"}]}, "/lines/0/tax"),
    "a product without a batch": ({"lines": [planned(standard_batch=None)]}, "/lines/0/standard_batch"),
    "a product without a price": ({"lines": [planned(policy=None)]}, "/lines/0/policy"),
    "a product with two": ({"lines": [planned(price="5")]}, "/lines/0/policy"),
    "a zone without a service": ({"lines": [planned(shipping_zone="home")]}, "/lines/0/shipping_zone"),
    "half a piece": ({"lines": [planned(), planned(pieces="0.5")]}, "/lines/1/pieces"),
    "a batch of half a piece": ({"lines": [planned(standard_batch="20.5")]}, "/lines/0/standard_batch"),
    "pieces beyond the gram": ({"lines": [planned(pieces="0.0001")]}, "/lines/0/pieces"),
    "negative pieces": ({"lines": [planned(pieces=-1)]}, "/lines/0/pieces"),
    "most below least": ({"lines": [planned(least_per_month=9, most_per_month=8)]}, "/lines/0/most_per_month"),
    "no batch between": (
        {"lines": [planned(in_whole_batches=True, least_per_month=21, most_per_month=39)]},
        "/lines/0/in_whole_batches",
    ),
    "an unknown product": ({"lines": [planned(product="gold")]}, "/lines/0/product"),
    "an unknown listing": ({"lines": [planned(), {"listing": "gold", "pieces": 1}]}, "/lines/1/listing"),
    "an unknown tax": ({"lines": [planned(tax="gold")]}, "/lines/0/tax"),
    "an unknown currency": ({"lines": [planned(currency="XXX")]}, "/lines/0/currency"),
    "a price finer than a cent": ({"lines": [planned(policy=None, price="1.001")]}, "/lines/0/price"),
    "a step finer than a cent": ({"lines": [planned(policy=policy(price_step="0.001"))]}, "/lines/0/policy/price_step"),
    "a currency without a rate": ({"lines": [planned(currency="USD")]}, "/lines/0"),
    "a listing that cannot be priced": ({"lines": [planned(), {"listing": "dear", "pieces": 1}]}, "/lines/1"),
    "a listing at no price": ({"lines": [{"listing": "dear", "pieces": 1, "price": "1.001"}]}, "/lines/0/price"),
    "a negative fixed cost": (
        {"other_fixed_costs": [{"name": "x", "amount": money("-1")}]},
        "/other_fixed_costs/0/amount/amount",
    ),
    "a negative target": ({"target_profit": money("-1")}, "/target_profit/amount"),
    "no weeks": ({"weeks": "0"}, "/weeks"),
    "the weeks of a year": ({"weeks": "52"}, "/weeks"),
    "weeks and a month": ({"weeks": "4", "month": "2026-12"}, "/weeks"),
    "a day for a month": ({"month": "2026-12-01"}, "/month"),
    "a material left out": ({"leave_out": ["materials/hdpe"]}, "/leave_out/0"),
    "an unknown machine left out": ({"leave_out": ["machines/press", "machines/gold"]}, "/leave_out/1"),
    "a rate of nothing": ({"rates": {"machines/gold": machine_rate()}}, "/rates/machines~1gold"),
    "a rate of a product": ({"rates": {"products/sheet": {}}}, "/rates/products~1sheet"),
    "facts of nothing": ({"facts": {"machines/gold": machine()}}, "/facts/machines~1gold"),
    "facts of no collection": ({"facts": {"things/gold": {}}}, "/facts/things~1gold"),
    "facts that break a rule": (
        {"facts": {"machines/press": machine(load_factor="2")}},
        "/facts/machines~1press/load_factor",
    ),
    "an unknown member": ({"mix": []}, "/mix"),
}


@pytest.mark.parametrize(("changes", "pointer"), BAD.values(), ids=BAD)
def test_what_is_invalid_is_named_by_its_pointer(workshop: Client, changes: dict[str, Any], pointer: str) -> None:
    workshop.put(
        "channels/quay-market/rates/2026-01-01",
        channel_rate(fees=[{"name": "half", "base": "net_price", "share": "0.5"}]),
    )
    workshop.register("listings/dear", listing(policy=policy(value="0.6")))
    workshop.put("machines/press", machine(hours_per_week="40"))

    response = refused(workshop, "POST", "break-even", month_plan(**changes), status=422)

    assert pointer in pointers(response)


def test_the_answer_says_why_a_listing_cannot_be_priced(workshop: Client) -> None:
    workshop.put(
        "channels/quay-market/rates/2026-01-01",
        channel_rate(fees=[{"name": "half", "base": "net_price", "share": "0.5"}]),
    )
    workshop.register("listings/dear", listing(policy=policy(value="0.6")))

    response = refused(workshop, "POST", "break-even", month_plan(lines=[{"listing": "dear", "pieces": 1}]), status=422)

    assert "a margin of 60 % cannot be reached" in response.json["errors"][0]["detail"]


def test_the_same_question_has_the_same_answer_until_a_rate_changes(workshop: Client) -> None:
    first = workshop.post("break-even", month_plan()).data

    assert workshop.post("break-even", month_plan()).data == first

    workshop.register("overheads/rent", {"name": "Rent", "base": "machine_hour"}, **{DAY: overhead_rate("700")})

    assert asked(workshop)["fixed_cost"] == money("900.00")


def test_every_resource_without_a_rate_is_named(workshop: Client) -> None:
    response = refused(workshop, "POST", "break-even", month_plan(as_of="2025-06-30"), status=422)

    missing = {each["resource"] for each in response.json["missing"]}
    of_resources = {"machines/press", "materials/hdpe", "labour-grades/operator", "tariffs/grid"}
    assert missing == of_resources | {"taxes/vat"}


@pytest.mark.parametrize(
    "changes",
    [
        {"other_fixed_costs": [{"name": "x", "amount": money("9" * 28)}]},
        {"target_profit": money("9" * 26 + ".99"), "lines": [planned(policy=None, price="9" * 26)]},
        {"lines": [planned(pieces=1_000_000_000, policy=None, price="9" * 25)]},
    ],
)
def test_figures_too_large_for_exact_arithmetic_are_refused(workshop: Client, changes: dict[str, Any]) -> None:
    assert "too-large" in refused(workshop, "POST", "break-even", month_plan(**changes), status=422).json["type"]


def test_the_greatest_number_of_lines_has_a_best_mix(workshop: Client) -> None:
    workshop.put("machines/press", machine(hours_per_week="40"))
    lines = [planned(policy=None, price=f"{50 + line % 37}.{line % 10}0", pieces=1 + line % 7) for line in range(200)]

    found = asked(workshop, lines=[{**line, "most_per_month": 3} for line in lines])

    assert len(found["lines"]) == 200
    assert found["best_mix"]["outcome"] == "found"
    assert sum(figure(line["month_contribution"]) for line in found["lines"]) == figure(found["contribution"])
    assert sorted(line["rank"] for line in found["lines"]) == list(range(1, 201))


def test_amounts_without_a_minor_unit_are_whole(app: Any, contract: Any) -> None:
    client = make_client(app, contract, currency="JPY")
    client.register("materials/hdpe", {"name": "x", "unit": "piece"}, **{DAY: {"price": money("33", "JPY")}})
    client.register(
        "products/sheet", {"name": "x", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "0.333"}]}
    )
    line = {"product": "sheet", "standard_batch": 1, "pieces": 7, "price": "100"}

    found = asked(client, lines=[line], other_fixed_costs=[{"name": "x", "amount": money("1000.4", "JPY")}])

    assert found["fixed_cost"] == money("1000", "JPY")
    assert found["contribution"] == money("623", "JPY")  # 7 × (100 − 10.989) = 623.077
    assert found["profit"] == money("-377", "JPY")
