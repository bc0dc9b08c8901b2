"""Laws of price, which hold for every policy, every cost and every grid."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from itertools import count, takewhile

from hypothesis import assume, given
from hypothesis import strategies as st

from service.domain.pricing.policy import PricingPolicy, Rounding, Target
from service.domain.pricing.price import Price
from service.domain.pricing.price_grid import grid_of
from service.domain.pricing.price_statement import PriceStatement, price_statement
from service.domain.selling.channels import Display
from service.domain.values.unit_costs import CostBasis, UnitCosts
from tests.domain.examples import kept_at, price
from tests.domain.strategies import CURRENCIES, batches, figures, policies, unit_costs

a_currency = st.sampled_from(list(CURRENCIES))
tax_shares = st.sampled_from(["0", "0.05", "0.21", "0.255"]).map(Decimal)
cost_targets = st.sampled_from([Target.MARGIN, Target.MARKUP, Target.PROFIT_PER_PIECE])
_LAST_DIGITS = Fraction(1, 10**27)
_SMALL_GRID = 200
"""The most steps of a grid that a test tries one by one."""


def is_at_least(one: Fraction, other: Fraction) -> bool:
    """Whether it is no less, to 28 digits; rounding snaps away the digits beyond."""
    return one >= other - max(abs(one), abs(other)) * _LAST_DIGITS


def asked_net(asked: Fraction, policy: PricingPolicy, tax_share: Decimal) -> Fraction:
    return asked if policy.display is Display.TAX_EXCLUSIVE else asked / (1 + Fraction(tax_share))


def meets_target(asked: Fraction, policy: PricingPolicy, costs: UnitCosts, tax_share: Decimal) -> bool:
    """Whether the price meets the policy's target, computed from the price and not toward it."""
    net, cost = asked_net(asked, policy, tax_share), Fraction(costs.on(policy.cost_basis))
    value, profit = Fraction(policy.value), net - cost
    match policy.target:
        case Target.MARGIN:
            return is_at_least(profit, value * net)
        case Target.MARKUP:
            return is_at_least(profit, value * cost)
        case Target.PROFIT_PER_PIECE:
            return is_at_least(profit, value)
        case Target.FIXED_PRICE:
            return is_at_least(asked, value)


def exact_floor(policy: PricingPolicy, costs: UnitCosts, tax_share: Decimal) -> Fraction:
    """The lowest price that the policy allows."""
    taxed = 1 if policy.display is Display.TAX_EXCLUSIVE else 1 + Fraction(tax_share)
    cost = 0 if policy.never_below_cost is None else Fraction(costs.on(policy.never_below_cost)) * taxed
    return max(Fraction(0), Fraction(cost), Fraction(policy.never_below_amount or 0))


def wanted_price(found: Price, policy: PricingPolicy, costs: UnitCosts, tax_share: Decimal) -> Fraction:
    return max(Fraction(found.target_price), exact_floor(policy, costs, tax_share))


def grid_prices(policy: PricingPolicy, currency: str, most: Fraction) -> list[Fraction]:
    """Every price of the policy's grid up to `most`."""
    step = Fraction(policy.price_step or (1 if policy.price_endings else Decimal(1).scaleb(-CURRENCIES[currency])))
    return sorted(
        {
            each
            for ending in policy.price_endings or (Decimal(0),)
            for each in takewhile(lambda asked: asked <= most, (place * step + Fraction(ending) for place in count()))
        }
    )


@st.composite
def questions(draw: st.DrawFn, rounding: Rounding | None = None) -> tuple[PricingPolicy, UnitCosts, Decimal, str]:
    """A policy, the costs of a piece, a tax and a currency."""
    currency = draw(a_currency)
    policy = draw(policies(CURRENCIES[currency], rounding))
    return policy, draw(unit_costs()), draw(tax_shares), currency


class TestTheTargetIsGivenBack:
    @given(questions(Rounding.UP), cost_targets, figures("-0.5", "0.95", 2))
    def test_within_one_minor_unit_and_never_less(
        self, question: tuple[PricingPolicy, UnitCosts, Decimal, str], target: Target, value: Decimal
    ) -> None:
        policy, costs, tax_share, currency = question
        policy = replace(policy, target=target, value=value, price_step=None, price_endings=())
        policy = replace(policy, never_below_cost=None, never_below_amount=None)

        asked = Fraction(price(policy, costs, tax_share=tax_share, currency=currency).asked)

        unit = Fraction(1, 10 ** CURRENCIES[currency])
        assert meets_target(asked, policy, costs, tax_share)
        assert asked == 0 or not meets_target(asked - unit, policy, costs, tax_share)

    @given(questions(Rounding.UP))
    def test_no_cheaper_price_of_the_grid_meets_target_and_floor(
        self, question: tuple[PricingPolicy, UnitCosts, Decimal, str]
    ) -> None:
        policy, costs, tax_share, currency = question
        found = price(policy, costs, tax_share=tax_share, currency=currency)
        asked = Fraction(found.asked)
        assume(asked <= _SMALL_GRID * Fraction(grid_of(policy, currency).step))

        floor = exact_floor(policy, costs, tax_share)
        meeting = [
            each
            for each in grid_prices(policy, currency, asked)
            if meets_target(each, policy, costs, tax_share) and is_at_least(each, floor)
        ]

        assert meeting == [asked]


class TestTheNearestPrice:
    @given(questions(Rounding.NEAREST))
    def test_never_goes_below_the_floor(self, question: tuple[PricingPolicy, UnitCosts, Decimal, str]) -> None:
        policy, costs, tax_share, currency = question

        asked = price(policy, costs, tax_share=tax_share, currency=currency).asked

        assert is_at_least(Fraction(asked), exact_floor(policy, costs, tax_share))

    @given(questions(Rounding.NEAREST))
    def test_is_the_nearest_of_the_grid_that_is_not_below_it_and_at_a_tie_the_higher(
        self, question: tuple[PricingPolicy, UnitCosts, Decimal, str]
    ) -> None:
        policy, costs, tax_share, currency = question
        found = price(policy, costs, tax_share=tax_share, currency=currency)
        wanted = wanted_price(found, policy, costs, tax_share)
        step = Fraction(grid_of(policy, currency).step)
        assume(wanted <= _SMALL_GRID * step)

        allowed = [
            each
            for each in grid_prices(policy, currency, wanted + 2 * step)
            if is_at_least(each, exact_floor(policy, costs, tax_share))
        ]

        nearest = min(allowed, key=lambda each: (half_up_distance(each, wanted), -each))
        assert Fraction(found.asked) == nearest


def half_up_distance(one: Fraction, other: Fraction) -> Fraction:
    """Their distance to 24 decimals, so that a rounding error does not hide a tie."""
    distance = abs(one - other)
    return Fraction(round(distance * 10**24), 10**24)


class TestAmountsOfAPrice:
    @given(questions(), batches)
    def test_have_the_digits_of_the_minor_unit_and_figures_derived_from_them_four_more(
        self, question: tuple[PricingPolicy, UnitCosts, Decimal, str], quantity: int
    ) -> None:
        stated, currency = stated_price(question, quantity), question[3]

        minor = CURRENCIES[currency]
        for asked in (stated.price, stated.floor_price, stated.break_even_price, stated.batch_net_price):
            assert -asked.amount.as_tuple().exponent == minor
        for derived in (stated.gross_price, stated.net_price, stated.tax, stated.profit, stated.contribution):
            assert -derived.amount.as_tuple().exponent == minor + 4
        assert all(-term.amount.amount.as_tuple().exponent <= minor + 4 for term in stated.terms)

    @given(questions(), batches)
    def test_add_up_as_shown(self, question: tuple[PricingPolicy, UnitCosts, Decimal, str], quantity: int) -> None:
        stated = stated_price(question, quantity)

        assert stated.net_price + stated.tax == stated.gross_price
        assert stated.full_cost + stated.profit == stated.net_price
        assert stated.variable_cost + stated.contribution == stated.net_price
        displayed = stated.gross_price if stated.display is Display.TAX_INCLUSIVE else stated.net_price
        assert displayed.amount == stated.price.amount

    @given(questions())
    def test_cover_the_cost_at_the_break_even_price_and_not_one_minor_unit_below(
        self, question: tuple[PricingPolicy, UnitCosts, Decimal, str]
    ) -> None:
        policy, costs, tax_share, currency = question
        break_even = price(policy, costs, tax_share=tax_share, currency=currency).break_even_price
        unit = Decimal(1).scaleb(-CURRENCIES[currency])

        at_it, below_it = (
            kept_at(asked, policy, costs, tax_share=tax_share, currency=currency)
            for asked in (break_even, break_even - unit)
        )

        full_cost = Fraction(costs.full)
        assert is_at_least(asked_net(Fraction(at_it.asked), policy, tax_share), full_cost)
        assert not is_at_least(asked_net(Fraction(below_it.asked), policy, tax_share), full_cost)

    @given(questions())
    def test_are_the_same_whichever_way_the_question_is_asked(
        self, question: tuple[PricingPolicy, UnitCosts, Decimal, str]
    ) -> None:
        policy, costs, tax_share, currency = question
        found = price(policy, costs, tax_share=tax_share, currency=currency)

        kept = kept_at(found.asked, policy, costs, tax_share=tax_share, currency=currency)

        assert (kept.net_price, kept.gross_price, kept.profit) == (found.net_price, found.gross_price, found.profit)
        assert (kept.floor_price, kept.break_even_price) == (found.floor_price, found.break_even_price)


def stated_price(question: tuple[PricingPolicy, UnitCosts, Decimal, str], quantity: int) -> PriceStatement:
    policy, costs, tax_share, currency = question
    found = price(policy, costs, tax_share=tax_share, currency=currency)
    return price_statement(found, policy, quantity=quantity, currency=currency)


class TestFullCostCoversVariableCost:
    @given(unit_costs(), tax_shares)
    def test_a_floor_at_full_cost_is_never_below_one_at_variable_cost(
        self, costs: UnitCosts, tax_share: Decimal
    ) -> None:
        free = PricingPolicy(target=Target.FIXED_PRICE, value=Decimal(0))

        full, variable = (
            price(replace(free, never_below_cost=basis), costs, tax_share=tax_share, currency="EUR").asked
            for basis in (CostBasis.FULL, CostBasis.VARIABLE)
        )

        assert full >= variable
