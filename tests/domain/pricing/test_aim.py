"""A policy applied to one sale, for any cost: the price, whether a price keeps to the policy, and the margin."""

import tracemalloc
from copy import copy
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.domain.pricing.aim import Aim
from service.domain.pricing.policy import Rounding
from service.domain.pricing.price_statement import price_statement
from service.domain.selling.channels import ChannelRate, Display
from service.domain.selling.sale import Sale, sale_through
from service.domain.solving.segments import common
from service.domain.values.exact import exactly, half_up
from service.domain.values.unit_costs import CostBasis, UnitCosts
from service.encoding import decoded
from tests.domain.examples import a_policy
from tests.domain.pricing.questions import Question, questions, sold


def costing(full: str, variable: str | None = None) -> UnitCosts:
    of_variable = Decimal(full if variable is None else variable)
    return UnitCosts(variable=of_variable, full=Decimal(full), shown_variable=of_variable)


def an_aim(sale: Sale | None = None, currency: str = "EUR", **policy: str) -> Aim:
    return Aim(a_policy(**policy), sale or Sale(), currency)


def price(aim: Aim, costs: UnitCosts) -> tuple[Decimal | None, Decimal | None]:
    return exactly(aim.target)(costs), exactly(aim.price)(costs)


def in_general(aim: Aim) -> Aim:
    """The same aim with the short cut switched off."""
    found = copy(aim)
    found._is_simple = False
    return found


class TestOneAimForManyCosts:
    def test_finds_the_price_of_each_cost_as_if_it_were_the_only_one(self) -> None:
        aim = an_aim(value="0.20", price_step="0.05")

        assert [price(aim, costing(cost))[1] for cost in ("8", "8.01", "0", "800")] == [
            Decimal(each) for each in ("10.00", "10.05", "0", "1000")
        ]

    @sold
    @given(questions(), st.lists(st.integers(0, 300), min_size=2, max_size=4))
    def test_does_not_remember_the_cost_before(self, question: Question, percents: list[int]) -> None:
        aim, costs = question.pricing.aim, question.asked.costs
        several = [exactly(costs.converted)(lambda cost, by=by: cost * by / 100) for by in percents]

        one_after_another = [price(aim, each) for each in several]

        assert one_after_another == [price(question.pricing.aim, each) for each in several]


class TestManyPoliciesOnOneSale:
    def test_share_its_function_and_take_little_memory_and_time_each(self) -> None:
        """Forty fees of fifty bands: a copy of their function for each policy took a megabyte."""
        bands = [{"above": str(each), "up_to": str(each + 1), "share": "0.001"} for each in range(49)]
        fees = [
            {"name": f"fee {each}", "bands": [*bands, {"above": "49"}], "minimum": f"0.0{each + 10}"}
            for each in range(40)
        ]
        terms = decoded({"currency": "EUR", "fees": fees}, ChannelRate)
        sale = exactly(sale_through)(
            terms,
            display=Display.TAX_INCLUSIVE,
            tax_share=Decimal("0.21"),
            convert=lambda amount: amount,
            is_converted=False,
        )

        tracemalloc.start()
        aims = [an_aim(sale, value=f"0.{each:03}") for each in range(100, 200)]
        found = [price(aim, costing("8"))[1] for aim in aims]
        taken, _ = tracemalloc.get_traced_memory()
        tracemalloc.stop()

        assert len(sale) > 2_000
        assert taken < 500_000
        assert found == sorted(found)
        assert found[0] < found[-1]


class TestTheShortCutWhereMoreIsKeptOfEveryHigherPrice:
    @sold
    @given(questions(Rounding.UP))
    def test_finds_what_the_general_way_finds(self, question: Question) -> None:
        aim = question.pricing.aim
        assume(aim._is_simple)

        assert price(aim, question.asked.costs) == price(in_general(aim), question.asked.costs)

    def test_is_taken_where_proceeds_never_fall_and_the_price_is_rounded_up(self) -> None:
        assert an_aim()._is_simple
        assert not an_aim(rounding="nearest")._is_simple

    @pytest.mark.parametrize(
        ("taken", "policy", "found"),
        [
            ("0.5", {"value": "0.5"}, (None, None)),  # the target takes the other half, so nothing is left for the cost
            ("1", {"target": "fixed_price", "value": "5", "never_below_cost": "full_cost"}, ("5", None)),
        ],
    )
    def test_finds_no_price_where_there_is_none(self, taken: str, policy: dict[str, str], found: Any) -> None:
        aim = an_aim(Sale(conversion_share=Decimal(taken)), **policy)
        expected = tuple(None if each is None else Decimal(each) for each in found)

        assert aim._is_simple
        assert price(aim, costing("2")) == price(in_general(aim), costing("2")) == expected

    @pytest.mark.parametrize(
        "policy",
        [
            {"target": "fixed_price", "value": "10", "never_below_cost": "full_cost"},
            {"value": "0", "never_below_amount": "10"},
            {"value": "0", "never_below_amount": "9"},
        ],
    )
    def test_skips_a_price_where_the_target_or_the_floor_is_met_only_above_it(self, policy: dict[str, str]) -> None:
        """The channel takes half up to a price of 10, and nothing above it."""
        bands = [{"up_to": "10", "share": "0.5"}, {"above": "10"}]
        terms = decoded({"currency": "EUR", "fees": [{"name": "commission", "bands": bands}]}, ChannelRate)
        sale = exactly(sale_through)(
            terms,
            display=Display.TAX_INCLUSIVE,
            tax_share=Decimal(0),
            convert=lambda amount: amount,
            is_converted=False,
        )
        aim = an_aim(sale, **policy)

        assert aim._is_simple
        assert price(aim, costing("8"))[1] == price(in_general(aim), costing("8"))[1] == Decimal("10.01")


class TestWhetherAPriceKeepsToThePolicy:
    @sold
    @given(questions(), st.integers(-3, 6), st.integers(0, 40))
    def test_it_does_where_it_meets_the_target_and_the_floor(self, question: Question, near: int, far: int) -> None:
        """Tried at prices of the grid around the asked price, or anywhere if there is no such price."""
        aim, costs = question.pricing.aim, question.asked.costs
        asked = price(aim, costs)[1]
        tried = max(far * aim.grid.step if asked is None else asked + near * aim.grid.step, Decimal(0))

        keeps = exactly(aim.keeps)(tried, costs)

        exact = Fraction(tried)
        assert keeps is (question.asked.meets_target(exact) and question.asked.keeps_floor(exact))
        intervals = exactly(lambda: common(aim.meeting(costs), aim.allowed(costs)))()
        assert keeps is any(interval.holds(tried) for interval in intervals)

    @sold
    @given(questions())
    def test_the_asked_price_rounded_up_keeps_to_it(self, question: Question) -> None:
        aim, costs = question.pricing.aim, question.asked.costs
        asked = price(aim, costs)[1]
        assume(asked is not None and aim.policy.rounding is Rounding.UP)

        assert exactly(aim.keeps)(asked, costs)

    @pytest.mark.parametrize(
        ("policy", "costs", "least"),
        [
            ({"value": "0.20"}, costing("8"), "10.00"),
            ({"target": "markup", "value": "0.25"}, costing("8"), "10.00"),
            ({"target": "profit_per_piece", "value": "2"}, costing("8"), "10.00"),
            ({"target": "fixed_price", "value": "10"}, costing("99"), "10.00"),
            ({"value": "0", "cost_basis": "variable_cost"}, costing("99", "10"), "10.00"),
            ({"value": "0", "never_below_amount": "10"}, costing("8"), "10.00"),
            ({"value": "0", "cost_basis": "variable_cost", "never_below_cost": "full_cost"}, costing("10", "8"), "10"),
            ({"target": "fixed_price", "value": "1", "never_below_cost": "variable_cost"}, costing("99", "10"), "10"),
        ],
    )
    def test_a_cent_less_does_not(self, policy: dict[str, str], costs: UnitCosts, least: str) -> None:
        aim = an_aim(**policy)

        assert exactly(aim.keeps)(Decimal(least), costs)
        assert not exactly(aim.keeps)(Decimal(least) - Decimal("0.01"), costs)

    def test_the_last_digit_of_a_division_decides_nothing(self) -> None:
        """The cost is a third of 10, which no decimal equals."""
        third = exactly(lambda: Decimal(10) / 3)()
        aim = an_aim(target="markup", value="2")

        assert exactly(aim.keeps)(Decimal(10), costing(str(third)))


class TestTheMargin:
    @sold
    @given(questions(), st.integers(1, 400))
    def test_is_profit_over_net_price_as_the_price_sheet_shows_it(self, question: Question, steps: int) -> None:
        aim, costs = question.pricing.aim, question.asked.costs
        tried = steps * aim.minor.step

        margin = exactly(aim.margin)(tried, costs)

        reckoning, exact = question.asked.reckoning, Fraction(tried)
        profit = reckoning.proceeds(exact) - Fraction(costs.full)
        assert abs(Fraction(margin) - profit / reckoning.net(exact)) < Fraction(1, 10**18)
        stated = price_statement(
            question.pricing.kept_at(tried), None, quantity=1, currency=question.currency
        ).margin_share
        assert half_up(margin, 6) == stated

    def test_of_a_price_of_0_is_none(self) -> None:
        assert exactly(an_aim().margin)(Decimal(0), costing("8")) is None

    def test_does_not_depend_on_whether_the_price_shows_the_tax(self) -> None:
        shares = {"tax_share": Decimal("0.25")}

        inclusive = exactly(an_aim(Sale(display=Display.TAX_INCLUSIVE, **shares)).margin)(Decimal("12.5"), costing("8"))
        exclusive = exactly(an_aim(Sale(**shares)).margin)(Decimal(10), costing("8"))

        assert inclusive == exclusive == Decimal("0.2")


@sold
@given(questions())
def test_the_price_does_not_depend_on_a_cost_that_the_policy_does_not_name(question: Question) -> None:
    aim, costs = question.pricing.aim, question.asked.costs
    assume(CostBasis.VARIABLE not in (aim.policy.cost_basis, aim.policy.never_below_cost))
    without = UnitCosts(variable=costs.full, full=costs.full, shown_variable=costs.full)

    assert price(aim, without) == price(aim, costs)


@pytest.mark.parametrize(("currency", "least"), [("EUR", "3.08"), ("JPY", "4"), ("KWD", "3.077")])
def test_prices_are_multiples_of_the_currencys_minor_unit_where_the_policy_says_no_more(
    currency: str, least: str
) -> None:
    aim = an_aim(currency=currency)

    assert aim.grid == aim.minor
    assert price(aim, costing("2"))[1] == Decimal(least)  # 2 ÷ 0.65 = 3.0769…
