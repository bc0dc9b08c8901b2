"""Prices by hand: targets, edges of grids, floors, the statement, and questions that are refused."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.cost_sheet import unit_costs
from service.domain.pricing.policy import PricingPolicy
from service.domain.pricing.price import Price
from service.domain.pricing.price_grid import PriceGrid, grid_of
from service.domain.pricing.price_statement import price_statement
from service.domain.solving.segments import EVERYWHERE, Interval
from service.domain.values.errors import FigureTooLargeError, InvalidValuesError
from service.domain.values.exact import exactly
from service.domain.values.unit_costs import UnitCosts
from tests.domain.examples import a_line, a_policy, a_product, a_shop, euros, kept_at, price

JUST_ABOVE_5 = "5.000000000000000000000000000000001"
"""The result of 3.00 × 1 ÷ (1 − 0.4) in 34 digits."""


def costs_of(full: str = "8", variable: str = "5") -> UnitCosts:
    return UnitCosts(variable=Decimal(variable), full=Decimal(full), shown_variable=Decimal(variable))


def priced(policy: PricingPolicy, costs: UnitCosts | None = None, tax: str = "0", currency: str = "EUR") -> Price:
    return price(policy, costs or costs_of(), tax_share=Decimal(tax), currency=currency)


def asked(**policy: Any) -> str:
    return str(priced(a_policy(**policy)).asked)


def grid(step: str, *endings: str) -> PriceGrid:
    return PriceGrid(step=Decimal(step), endings=tuple(Decimal(each) for each in endings) or (Decimal(0),))


class TestTargets:
    @pytest.mark.parametrize(
        ("policy", "price_asked"),
        [
            ({"target": "margin", "value": "0.2"}, "10.00"),
            ({"target": "margin", "value": "0.35"}, "12.31"),  # 12.3076…
            ({"target": "margin", "value": "-1"}, "4.00"),
            ({"target": "markup", "value": "0.5"}, "12.00"),
            ({"target": "markup", "value": "0.5", "cost_basis": "variable_cost"}, "7.50"),
            ({"target": "markup", "value": "-1"}, "0.00"),
            ({"target": "profit_per_piece", "value": "2.5"}, "10.50"),
            ({"target": "profit_per_piece", "value": "-9"}, "0.00"),
            ({"target": "fixed_price", "value": "9.99"}, "9.99"),
            ({"target": "fixed_price", "value": "9.991"}, "10.00"),
            ({"target": "fixed_price", "value": "0"}, "0.00"),
        ],
    )
    def test_are_met_by_the_next_price_up(self, policy: dict[str, str], price_asked: str) -> None:
        assert asked(**policy) == price_asked

    def test_that_only_an_infinite_price_would_meet_are_refused(self) -> None:
        with pytest.raises(InvalidValuesError, match="value: a margin must be less than 1"):
            a_policy(value="1")

    @pytest.mark.parametrize(
        ("policy", "message"),
        [
            ({"target": "markup", "value": "-1.01"}, "value: a markup must be -1 or more"),
            ({"target": "fixed_price", "value": "-1"}, "value: a price must be 0 or more"),
            ({"price_endings": ["1"]}, "price_endings: must be less than the step of 1"),
            ({"price_endings": ["0.9"], "price_step": "0.5"}, "price_endings: must be less than the step of 0.5"),
            ({"price_endings": ["-0.1"]}, "price_endings: must be 0 or more"),
            ({"price_step": "0"}, "price_step: must be more than 0"),
        ],
    )
    def test_invalid_targets_and_grids_are_refused(self, policy: dict[str, Any], message: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            a_policy(**policy)

        assert message in str(error.value)

    def test_finer_than_the_minor_unit_are_named_as_step_or_ending(self) -> None:
        fine = a_policy(price_step="0.5", price_endings=["0.125", "0.25"])

        assert [problem.path for problem in fine.grid_problems("JPY")] == [("price_step",), ("price_endings",)]
        assert [problem.path for problem in fine.grid_problems("EUR")] == [("price_endings",)]
        assert list(fine.grid_problems("KWD")) == []

    def test_finer_than_the_minor_unit_are_refused_for_a_fixed_price_alone(self) -> None:
        for target, paths in {"fixed_price": [("value",)], "margin": [], "profit_per_piece": []}.items():
            policy = a_policy(target=target, value="0.125")
            assert [problem.path for problem in policy.grid_problems("EUR")] == paths


class TestTheGrid:
    def test_is_of_minor_units_where_the_policy_names_none(self) -> None:
        assert grid_of(a_policy(), "KWD") == grid("0.001")

    def test_repeats_its_endings_by_1_where_the_policy_names_no_step(self) -> None:
        assert grid_of(a_policy(price_endings=["0.90"]), "EUR") == grid("1", "0.90")
        assert grid_of(a_policy(price_endings=["4.90"], price_step="10"), "EUR") == grid("10", "4.90")

    @pytest.mark.parametrize(
        ("price", "allowed", "nearest"),
        [
            ("7.2", [("1", "3"), ("5", "6")], "6"),  # above all of them
            ("4.2", [("1", "3"), ("5", "6")], "5"),
            ("3.8", [("1", "3"), ("5", "6")], "3"),
            ("4", [("1", "3"), ("5", "6")], "5"),  # the higher of two
            ("0.2", [("1", "3"), ("5", "6")], "1"),
            ("2.4", [("2.2", "2.6"), ("2.7", "2.9")], None),  # no price of the grid is in them
            ("2.4", [], None),
        ],
    )
    def test_the_nearest_price_is_within_what_is_allowed(
        self, price: str, allowed: list[tuple[str, str]], nearest: str | None
    ) -> None:
        intervals = [Interval(low=Decimal(low), high=Decimal(high)) for low, high in allowed]

        found = grid("1").nearest(Decimal(price), intervals)

        assert found == (None if nearest is None else Decimal(nearest))

    @pytest.mark.parametrize(
        ("steps", "wanted", "above", "below"),
        [
            (("0.05",), "1.01", "1.05", "1.00"),
            (("0.05",), "1.05", "1.05", "1.05"),
            (("1", "0.90"), "0.50", "0.90", None),
            (("1", "0.90"), "3.91", "4.90", "3.90"),
            (("1", "0.90", "0.50"), "3.91", "4.50", "3.90"),
            (("10", "9", "4"), "10", "14", "9"),
            (("5",), "0", "0", "0"),
            (("0.01",), "0.0100000000000000000000000000000001", "0.01", "0.01"),
            (("0.01",), "0.00999999999999999999999999999999999", "0.01", "0.01"),
        ],
    )
    def test_has_a_next_price_above_and_below(
        self, steps: tuple[str, ...], wanted: str, above: str, below: str | None
    ) -> None:
        found = grid(*steps)

        assert exactly(found.at_or_above)(Decimal(wanted)) == Decimal(above)
        assert exactly(found.below)(Decimal(wanted)) == (None if below is None else Decimal(below))

    @pytest.mark.parametrize(
        ("wanted", "floor", "nearest"),
        [
            ("1.02", "0", "1.00"),
            ("1.03", "0", "1.05"),
            ("1.025", "0", "1.05"),  # equally near to both: the higher
            ("1.02", "1.01", "1.05"),
            ("1.02", "1.00", "1.00"),
            ("0.01", "0", "0"),
        ],
    )
    def test_has_a_nearest_price_that_is_not_below_the_floor(self, wanted: str, floor: str, nearest: str) -> None:
        allowed = (Interval(low=Decimal(floor)),)

        assert exactly(grid("0.05").nearest)(max(Decimal(wanted), Decimal(floor)), allowed) == Decimal(nearest)

    def test_takes_the_price_above_where_there_is_none_below(self) -> None:
        assert exactly(grid("1", "0.90").nearest)(Decimal("0.10"), EVERYWHERE) == Decimal("0.90")

    def test_does_not_go_beyond_the_digits_that_the_service_computes(self) -> None:
        with pytest.raises(FigureTooLargeError):
            priced(a_policy(target="fixed_price", value="9" * 27))


class TestFloors:
    @pytest.mark.parametrize(
        ("policy", "price_asked", "is_raised"),
        [
            ({"never_below_cost": "full_cost"}, "8.00", True),
            ({"never_below_cost": "variable_cost"}, "5.00", True),
            ({"never_below_amount": "6.505"}, "6.51", True),
            ({"never_below_amount": "3"}, "4.00", False),
            ({"never_below_amount": "4"}, "4.00", False),
            ({"never_below_cost": "variable_cost", "never_below_amount": "7"}, "7.00", True),
            ({}, "4.00", False),
        ],
    )
    def test_raise_a_price_that_is_too_low(self, policy: dict[str, str], price_asked: str, is_raised: bool) -> None:
        found = priced(a_policy(target="fixed_price", value="4", **policy))

        assert (str(found.asked), found.raised_to is not None) == (price_asked, is_raised)

    def test_on_cost_contain_the_tax_where_the_price_does(self) -> None:
        policy = a_policy(target="fixed_price", value="4", never_below_cost="full_cost", display="tax_inclusive")

        found = priced(policy, tax="0.25")

        assert (found.asked, found.net_price, found.gross_price) == (10, 8, 10)

    def test_are_the_variable_cost_where_the_policy_names_none_though_they_are_not_enforced(self) -> None:
        found = priced(a_policy(target="fixed_price", value="4"))

        assert found.floor_price == 5
        assert price_statement(found, None, quantity=1, currency="EUR").is_below_floor

    def test_that_are_above_the_grid_by_a_rounding_error_still_count_as_raising_the_price(self) -> None:
        policy = a_policy(target="fixed_price", value="4", never_below_cost="full_cost")

        found = priced(policy, costs_of(full=JUST_ABOVE_5))

        assert found.asked == 5
        assert found.raised_to is not None

    def test_that_equal_the_price_with_tax_do_not_count_as_raising_it(self) -> None:
        """0.19 ÷ 1.21 × 1.21 is less than 0.19 by a rounding error alone, which must not count."""
        policy = a_policy(target="fixed_price", value="0.19", never_below_amount="0.19", display="tax_inclusive")

        found = priced(policy, tax="0.21")

        assert found.asked == Decimal("0.19")
        assert found.raised_to is None


class TestTheStatement:
    def test_shows_every_term_from_the_cost_to_a_price_with_tax(self) -> None:
        policy = a_policy(
            value="0.2", display="tax_inclusive", rounding="nearest", price_endings=["0.50"], never_below_amount="1"
        )

        stated = price_statement(priced(policy, tax="0.25"), policy, quantity=10, currency="EUR")

        assert [(term.name, term.formula, str(term.amount.amount)) for term in stated.terms] == [
            ("variable cost", "variable lines of the cost sheet ÷ pieces", "5.000000"),
            ("full cost", "all lines of the cost sheet ÷ pieces", "8.000000"),
            ("target net price", "full cost ÷ (1 − 0.2)", "10.000000"),
            ("target price", "target net price × (1 + 0.25)", "12.500000"),
            ("price", "rounded to the nearest of your price steps that is not below the floor", "12.500000"),
            ("net price", "price without tax", "10.000000"),
            ("tax", "net price × 0.25", "2.500000"),
            ("profit", "net price − full cost", "2.000000"),
            ("contribution", "net price − variable cost", "5.000000"),
        ]
        assert stated.price == euros("12.50")
        assert (stated.margin_share, stated.markup_share) == (Decimal("0.2"), Decimal("0.25"))
        assert stated.contribution_margin_share == Decimal("0.5")
        assert stated.batch_net_price == euros("100")
        assert stated.batch_profit == euros("20")

    def test_shows_the_floor_where_that_raised_the_price(self) -> None:
        policy = a_policy(target="fixed_price", value="4", never_below_cost="full_cost")

        stated = price_statement(priced(policy), policy, quantity=1, currency="EUR")

        way = [(term.name, term.formula) for term in stated.terms[2:5]]
        assert way == [
            ("target price", "4, fixed"),
            ("floor price", "the lowest, from the target price up, that your policy allows"),
            ("price", "rounded up to your price steps"),
        ]
        assert stated.is_raised_to_floor

    @pytest.mark.parametrize(
        ("policy", "formula"),
        [
            ({"target": "markup", "value": "0.5", "cost_basis": "variable_cost"}, "variable cost × (1 + 0.5)"),
            ({"target": "profit_per_piece", "value": "2.50"}, "full cost + 2.50"),
            ({"target": "profit_per_piece", "value": "-8"}, "full cost + -8"),
            ({"target": "profit_per_piece", "value": "-9"}, "full cost + -9, but not below 0"),
        ],
    )
    def test_says_how_the_target_follows_from_the_cost(self, policy: dict[str, str], formula: str) -> None:
        stated = price_statement(priced(a_policy(**policy)), a_policy(**policy), quantity=1, currency="EUR")

        assert [term.formula for term in stated.terms if term.name == "target net price"] == [formula]
        assert [term.formula for term in stated.terms if term.name == "target price"] == ["target net price"]

    def test_of_a_price_that_was_given_shows_the_price_as_given(self) -> None:
        policy = a_policy(target="fixed_price", value="7")
        kept = kept_at(Decimal(7), policy, costs_of(), tax_share=Decimal(0), currency="EUR")

        stated = price_statement(kept, None, quantity=3, currency="EUR")

        assert [(term.name, term.formula) for term in stated.terms[2:4]] == [
            ("price", "as given"),
            ("net price", "price without tax"),
        ]
        assert (stated.profit, stated.break_even_price) == (euros("-1"), euros("8"))
        assert not stated.is_below_floor

    def test_has_no_share_of_0(self) -> None:
        policy = a_policy(target="fixed_price", value="0")

        nothing = price_statement(priced(policy, costs_of("0", "0")), policy, quantity=1, currency="EUR")
        given_away = price_statement(priced(policy), policy, quantity=1, currency="EUR")

        assert (nothing.margin_share, nothing.markup_share, nothing.contribution_margin_share) == (None, None, None)
        assert (given_away.margin_share, given_away.markup_share) == (None, -1)


def test_the_costs_of_a_piece_are_those_of_the_batch_by_its_pieces() -> None:
    product = a_product(bill_of_materials=[a_line(quantity_per_piece="0", quantity_per_batch="1")], operations=[])

    costs = unit_costs(a_shop(product).sheet(3))

    assert costs.full == costs.variable == Decimal("0.2666666666666666666666666666666667")
    assert costs.shown_variable == Decimal("0.266667")


def test_a_tie_goes_to_the_higher_price() -> None:
    """69.28 is halfway between 69.00 and 69.56."""
    policy = a_policy(
        target="fixed_price",
        value="69.28",
        display="tax_inclusive",
        rounding="nearest",
        price_step="0.56",
        price_endings=["0.12"],
    )

    found = priced(policy, tax="0.255")

    assert found.target_price == Decimal("69.28")
    assert found.asked == Decimal("69.56")
