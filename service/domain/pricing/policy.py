"""Pricing policies: the target, the floor and the price grid."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.selling.channels import Display
from service.domain.values.declared import Bounds, Length, NotNegative, Positive, declared
from service.domain.values.errors import FigureTooLargeError, InvalidValueError
from service.domain.values.exact import ONE, UNITS, ZERO
from service.domain.values.kinds import Kind
from service.domain.values.money import is_at_minor_unit, minor_unit_decimals
from service.domain.values.unit_costs import CostBasis


@dataclass(frozen=True, slots=True, kw_only=True)
class TargetTraits:
    """The profit that a target requires:  value × (of_net × net price + of_cost × cost + of_piece).

    Attributes:
        bounds: of the value.
        problem: the message for a value outside them.
        formula: of the net price, where nothing but tax is taken from the price.
        aim: of proceeds − cost.
    """

    of_net: Decimal = ZERO
    of_cost: Decimal = ZERO
    of_piece: Decimal = ZERO
    bounds: Bounds
    problem: str = ""
    formula: str
    aim: str = ""

    @property
    def is_price(self) -> bool:
        """Whether the value is the price itself."""
        return not (self.of_net or self.of_cost or self.of_piece)


class Target(Kind):
    """What a pricing policy aims at."""

    traits: TargetTraits

    MARGIN = (
        "margin",
        TargetTraits(
            of_net=ONE,
            bounds=Bounds(below=1),
            problem="a margin must be less than 1: it is a share of the net price",
            formula="{cost} ÷ (1 − {value:f})",
            aim="{value:f} × net price",
        ),
    )
    MARKUP = (
        "markup",
        TargetTraits(
            of_cost=ONE,
            bounds=Bounds(at_least=-1),
            problem="a markup must be -1 or more",
            formula="{cost} × (1 + {value:f})",
            aim="{value:f} × {cost}",
        ),
    )
    PROFIT_PER_PIECE = (
        "profit_per_piece",
        TargetTraits(of_piece=ONE, bounds=Bounds(), formula="{cost} + {value:f}", aim="{value:f}"),
    )
    FIXED_PRICE = (
        "fixed_price",
        TargetTraits(bounds=Bounds(at_least=0), problem="a price must be 0 or more", formula="{value:f}, fixed"),
    )


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
        display: whether the asked price contains the tax; if left out as the sales channel shows its prices, and
            without tax where there is no channel.
    """

    target: Target
    value: Decimal
    cost_basis: CostBasis = CostBasis.FULL
    never_below_cost: CostBasis | None = None
    never_below_amount: NotNegative | None = None
    price_step: Positive | None = None
    price_endings: Annotated[tuple[Annotated[Decimal, Bounds(at_least=0)], ...], Length(at_most=20)] = ()
    rounding: Rounding = Rounding.UP
    display: Display | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.target.traits.bounds(self.value) is not None:
            yield InvalidValueError(("value",), self.target.traits.problem)
        step = self.price_step or (ONE if self.price_endings else None)
        if step is not None and any(ending >= step for ending in self.price_endings):
            yield InvalidValueError(("price_endings",), f"must be less than the step of {step:f}")

    def grid_problems(self, currency: str) -> Iterator[InvalidValueError]:
        """Prices, steps and endings finer than the currency's minor unit."""
        if self.target.traits.is_price:
            yield from minor_unit_problems(("value",), [self.value], currency)
        yield from minor_unit_problems(("price_step",), [self.price_step], currency)
        yield from minor_unit_problems(("price_endings",), self.price_endings, currency)


def minor_unit_problems(
    path: tuple[str, ...], amounts: Iterable[Decimal | None], currency: str
) -> Iterator[InvalidValueError]:
    """A problem if an amount is finer than the currency's minor unit, or too large.

    Raises:
        UnknownCurrencyError: the currency has no minor unit.
    """
    unit = UNITS[minor_unit_decimals(currency)]
    try:
        if not all(amount is None or is_at_minor_unit(amount, currency) for amount in amounts):
            yield InvalidValueError(path, f"must be a multiple of {unit}, the minor unit of {currency}")
    except FigureTooLargeError as error:
        yield InvalidValueError(path, str(error))
