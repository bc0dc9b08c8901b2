"""From a cost to a price, and from a price to what is kept of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.cost_sheet import CostSheet
from service.domain.declared import Bounds, Length, NotNegative, Positive, declared
from service.domain.errors import InvalidValueError
from service.domain.exact import ONE, UNITS, ZERO, exactly, snapped, whole_down, whole_up
from service.domain.money import is_at_minor_unit, minor_unit_decimals


class Target(StrEnum):
    """What a pricing policy aims at."""

    MARGIN = "margin"
    MARKUP = "markup"
    PROFIT_PER_PIECE = "profit_per_piece"
    FIXED_PRICE = "fixed_price"


class CostBasis(StrEnum):
    """The cost a policy starts from."""

    FULL = "full_cost"
    VARIABLE = "variable_cost"


class Display(StrEnum):
    """Whether the price that is asked contains the tax."""

    TAX_EXCLUSIVE = "tax_exclusive"
    TAX_INCLUSIVE = "tax_inclusive"


class Rounding(StrEnum):
    """Which price of the grid is taken."""

    UP = "up"
    NEAREST = "nearest"


@declared
class PricingPolicy:
    """How a price is found.

    Attributes:
        target: margin (profit ÷ net price), markup (profit ÷ cost), profit per piece, or a fixed price.
        value: the margin or markup as a share, the profit or the price as an amount in the sheet's currency.
        cost_basis: the cost the target is measured against; on variable cost, profit means contribution.
        never_below_cost: the price asked never falls below this cost.
        never_below_amount: the price asked never falls below this amount.
        price_step: prices are multiples of this, or, with endings, repeat every so much; the minor unit if
            left out, 1 with endings.
        price_endings: the endings a price may have within a step, for instance ["0.90"]; [0] if left out.
        rounding: the next price up, or the nearest that is not below the floor.
        display: whether the asked price contains the tax.
    """

    target: Target
    value: Decimal
    cost_basis: CostBasis = CostBasis.FULL
    never_below_cost: CostBasis | None = None
    never_below_amount: NotNegative | None = None
    price_step: Positive | None = None
    price_endings: Annotated[tuple[Annotated[Decimal, Bounds(at_least=0)], ...], Length(at_most=20)] = ()
    rounding: Rounding = Rounding.UP
    display: Display = Display.TAX_EXCLUSIVE

    def problems(self) -> Iterator[InvalidValueError]:
        if self.target is Target.MARGIN and self.value >= 1:
            yield InvalidValueError(("value",), "a margin must be less than 1: it is a share of the net price")
        if self.target is Target.MARKUP and self.value < -1:
            yield InvalidValueError(("value",), "a markup must be -1 or more")
        if self.target is Target.FIXED_PRICE and self.value < 0:
            yield InvalidValueError(("value",), "a price must be 0 or more")
        step = self.price_step or (ONE if self.price_endings else None)
        if step is not None and any(ending >= step for ending in self.price_endings):
            yield InvalidValueError(("price_endings",), f"must be less than the step of {step:f}")

    def grid_problems(self, currency: str) -> Iterator[InvalidValueError]:
        """Prices, steps and endings finer than the currency's minor unit."""
        unit = UNITS[minor_unit_decimals(currency)]
        if self.target is Target.FIXED_PRICE and not is_at_minor_unit(self.value, currency):
            yield InvalidValueError(("value",), f"must be a multiple of {unit}, the minor unit of {currency}")
        if self.price_step is not None and not is_at_minor_unit(self.price_step, currency):
            yield InvalidValueError(("price_step",), f"must be a multiple of {unit}, the minor unit of {currency}")
        if not all(is_at_minor_unit(ending, currency) for ending in self.price_endings):
            yield InvalidValueError(("price_endings",), f"must be multiples of {unit}, the minor unit of {currency}")


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceGrid:
    """The prices that may be asked: every whole number of steps plus one of the endings.

    Attributes:
        step: what the endings repeat by.
        endings: each 0 or more and less than the step.
    """

    step: Decimal
    endings: tuple[Decimal, ...] = (ZERO,)

    def at_or_above(self, price: Decimal) -> Decimal:
        """The least price of the grid that is not below this one."""
        return min(max(whole_up((price - ending) / self.step), ZERO) * self.step + ending for ending in self.endings)

    def below(self, price: Decimal) -> Decimal | None:
        """The greatest price of the grid that is not above this one; None if there is none."""
        steps = (whole_down((price - ending) / self.step) for ending in self.endings)
        found = [whole * self.step + ending for whole, ending in zip(steps, self.endings, strict=True) if whole >= 0]
        return max(found, default=None)

    def nearest(self, price: Decimal, floor: Decimal) -> Decimal:
        """The price of the grid nearest to this one, the higher of two as near, never below the floor."""
        price, floor = snapped(price), snapped(floor)  # a tie that a division left a hair short is a tie
        above, below = self.at_or_above(max(price, floor)), self.below(price)
        if below is None or below < floor or above - price <= price - below:
            return above
        return below


def grid_of(policy: PricingPolicy, currency: str) -> PriceGrid:
    """The policy's grid; multiples of the minor unit where it names none."""
    if policy.price_endings:
        return PriceGrid(step=policy.price_step or ONE, endings=policy.price_endings)
    return PriceGrid(step=policy.price_step or UNITS[minor_unit_decimals(currency)])


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitCosts:
    """What a piece costs.

    Attributes:
        variable: its variable cost, unrounded.
        full: its full cost, unrounded.
        shown_variable: its variable cost as the cost sheet shows it.
    """

    variable: Decimal
    full: Decimal
    shown_variable: Decimal

    def on(self, basis: CostBasis) -> Decimal:
        """The cost on this basis."""
        return self.full if basis is CostBasis.FULL else self.variable


@exactly
def unit_costs(sheet: CostSheet) -> UnitCosts:
    """What a piece of the batch costs."""
    return UnitCosts(
        variable=sheet.variable_cost / sheet.quantity,
        full=sheet.full_cost / sheet.quantity,
        shown_variable=sheet.variable_share_of(sheet.shown_per_piece()),
    )


def target_net_price(policy: PricingPolicy, cost: Decimal, tax_share: Decimal) -> Decimal:
    """The net price that meets the policy's target exactly.

    With cost c: margin m gives c ÷ (1 − m), markup k gives c × (1 + k), profit p gives c + p; a fixed
    price is the asked price, net of tax if that contains it.
    """
    if policy.target is Target.MARGIN:
        return cost / (ONE - policy.value)
    if policy.target is Target.MARKUP:
        return cost * (ONE + policy.value)
    if policy.target is Target.PROFIT_PER_PIECE:
        return cost + policy.value
    return policy.value / _taxed(policy.display, tax_share)


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """A price that is asked, and what is kept of it, unrounded but for the price itself.

    Attributes:
        asked: the price, with or without tax as displayed.
        display: whether it contains the tax.
        tax_share: the tax as a share of the net price.
        costs: what a piece costs.
        target: the asked price that would meet the policy exactly; the price itself if it was given.
        floor: the least price that may be asked; if the policy names none, the variable cost, below which
            every piece sold costs the workshop cash.
        is_raised_to_floor: whether the target lay below the policy's floor.
        break_even: the least price at the minor unit that loses nothing on full cost.
    """

    asked: Decimal
    display: Display
    tax_share: Decimal
    costs: UnitCosts
    target: Decimal
    floor: Decimal
    is_raised_to_floor: bool
    break_even: Decimal

    @property
    def net(self) -> Decimal:
        """The price without tax."""
        return self.asked if self.display is Display.TAX_EXCLUSIVE else self.asked / (ONE + self.tax_share)

    @property
    def gross(self) -> Decimal:
        """The price with tax."""
        return self.asked * (ONE + self.tax_share) if self.display is Display.TAX_EXCLUSIVE else self.asked

    @property
    def profit(self) -> Decimal:
        """Net price less full cost."""
        return self.net - self.costs.full

    @property
    def contribution(self) -> Decimal:
        """Net price less variable cost: what a piece adds toward the fixed cost."""
        return self.net - self.costs.variable


@exactly
def price(policy: PricingPolicy, costs: UnitCosts, *, tax_share: Decimal, currency: str) -> Price:
    """The price to ask: the target, raised to the policy's floor, on its grid."""
    taxed = _taxed(policy.display, tax_share)
    target = target_net_price(policy, costs.on(policy.cost_basis), tax_share) * taxed
    floor = _enforced_floor(policy, costs, taxed)
    wanted = max(target, floor)
    grid = grid_of(policy, currency)
    asked = grid.at_or_above(wanted) if policy.rounding is Rounding.UP else grid.nearest(wanted, floor)
    return _judged(asked, target, policy, costs, tax_share=tax_share, currency=currency)


@exactly
def kept_at(asked: Decimal, policy: PricingPolicy, costs: UnitCosts, *, tax_share: Decimal, currency: str) -> Price:
    """The inverse question: what is kept at this price, whatever the policy would ask."""
    return _judged(asked, asked, policy, costs, tax_share=tax_share, currency=currency)


def _judged(
    asked: Decimal, target: Decimal, policy: PricingPolicy, costs: UnitCosts, *, tax_share: Decimal, currency: str
) -> Price:
    """The price against its floor and its break-even."""
    taxed = _taxed(policy.display, tax_share)
    minor = PriceGrid(step=UNITS[minor_unit_decimals(currency)])
    has_floor = policy.never_below_cost is not None or policy.never_below_amount is not None
    enforced = _enforced_floor(policy, costs, taxed)
    return Price(
        asked=asked,
        display=policy.display,
        tax_share=tax_share,
        costs=costs,
        target=target,
        floor=minor.at_or_above(enforced if has_floor else costs.variable * taxed),
        is_raised_to_floor=has_floor and snapped(target) < snapped(enforced) <= snapped(asked),
        break_even=minor.at_or_above(costs.full * taxed),
    )


def _taxed(display: Display, tax_share: Decimal) -> Decimal:
    """What a net price is multiplied with to be displayed."""
    return ONE if display is Display.TAX_EXCLUSIVE else ONE + tax_share


def _enforced_floor(policy: PricingPolicy, costs: UnitCosts, taxed: Decimal) -> Decimal:
    """What the policy never goes below; 0 if it names nothing."""
    cost = ZERO if policy.never_below_cost is None else costs.on(policy.never_below_cost) * taxed
    return max(ZERO, cost, policy.never_below_amount or ZERO)
