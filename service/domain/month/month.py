"""A month's plan with its contribution, fixed costs and time."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from math import ceil, floor

from service.domain.month.break_even import Mix, PlannedSale, Volume, alone, mix_of
from service.domain.month.fixed_costs import Absorbed, Absorption, FixedCost, absorptions
from service.domain.month.resources_used import Use
from service.domain.scheduling.period import Period
from service.domain.scheduling.plan_load import Load, bottleneck
from service.domain.solving.best_mix import Programme
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import MINUTES_PER_HOUR, ZERO, plain, snapped
from service.domain.values.money import Money
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedProduct:
    """A line of the plan, costed and priced.

    Attributes:
        least: pieces in the best mix.
        most: pieces in the best mix; None where demand does not limit them.
        in_whole_batches: whether the best mix has whole batches of it.
        base_quantity: pieces that the price is for.
        shown_variable_cost: of a piece, as its cost sheet shows it.
        absorbed: fixed cost that a piece bears, by resource.
    """

    product: str
    listing: str | None
    name: str
    standard_batch: Decimal
    least: Decimal
    most: Decimal | None
    in_whole_batches: bool
    price: Money
    shown_variable_cost: Decimal
    sale: PlannedSale
    base_quantity: int = 1
    absorbed: tuple[Absorbed, ...] = ()

    @property
    def unit(self) -> Unit:
        """What its pieces are counted in."""
        return self.sale.unit

    @property
    def step(self) -> Decimal:
        """The best mix has a whole number of these: a batch, a piece, or the least part of a unit that is divided."""
        return self.standard_batch if self.in_whole_batches else self.unit.least


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """The plan of a month, unrounded, in the workshop's currency; `MonthStatement` has the meaning of the figures."""

    as_of: date
    currency: str
    weeks: Decimal
    products: tuple[PlannedProduct, ...]
    fixed_costs: tuple[FixedCost, ...]
    target_profit: Decimal | None
    loads: tuple[Load, ...]
    period: Period | None = None
    converted_on: date | None = None
    supposed: tuple[str, ...] = ()
    uses: tuple[Use, ...] = ()
    income_tax_share: Decimal | None = None

    @property
    def mix(self) -> Mix:
        """The products in the proportion of the plan."""
        mix = mix_of([each.sale for each in self.products])
        return replace(mix, capacity=self._capacity(dict(enumerate(mix.per_unit))))

    def alone(self, line: int) -> Mix:
        """One product of the plan only, which bears the whole month."""
        return replace(alone(self.products[line].sale), capacity=self._capacity({line: 1}))

    def _capacity(self, unit: Mapping[int, int]) -> Decimal | None:
        """How many units, of so many pieces of each line, there is time for; None if no known time limits them."""
        rooms = []
        for load in self.limits:
            batches = ((line, Decimal(pieces) / self.products[line].standard_batch) for line, pieces in unit.items())
            if minutes := sum((load.minutes_per_batch[line] * each for line, each in batches), ZERO):
                rooms.append(snapped((load.minutes_available or ZERO) / minutes))
        return min(rooms, default=None)

    @property
    def fixed_cost(self) -> Decimal:
        return sum((each.amount for each in self.fixed_costs), ZERO)

    @property
    def absorptions(self) -> tuple[Absorption, ...]:
        """What it bears of each resource, and what its planned pieces absorb."""
        return absorptions(self.fixed_costs, ((each.sale.pieces, each.absorbed) for each in self.products))

    def volume(self, mix: Mix, profit: Decimal | None) -> Volume | None:
        """The volume of a mix that pays the fixed cost and a profit; None if no volume does, or no profit is given."""
        return None if profit is None else mix.volume(self.fixed_cost + profit)

    @property
    def bottleneck(self) -> Load | None:
        return bottleneck(self.loads)

    @property
    def limits(self) -> tuple[Load, ...]:
        """Machines and grades whose time is known."""
        return tuple(load for load in self.loads if load.minutes_available is not None)


def contribution_per_hour(month: Month, line: int) -> Decimal | None:
    """Contribution for an hour of the bottleneck; None if the product takes none of its time.

    Contribution of a piece × pieces in a batch ÷ hours of the batch on the bottleneck.

    Source: ranking by contribution per unit of the constraint. Managerial Accounting, Saylor Academy, 2012,
    section 7.8.
    """
    narrowest, product = month.bottleneck, month.products[line]
    if narrowest is None or not narrowest.minutes_per_batch[line]:
        return None
    minutes = narrowest.minutes_per_batch[line]
    return product.sale.contribution * product.standard_batch * MINUTES_PER_HOUR / minutes


def ranks(month: Month) -> list[int | None]:
    """The order, from 1, in which to make the products if the bottleneck lacks time; None without a bottleneck.

    Products that take none of its time come first if they contribute, and last if not.
    """
    lines = range(len(month.products))
    if month.bottleneck is None:
        return [None for _ in lines]
    order = sorted(lines, key=lambda line: _worth(month, line), reverse=True)
    return [order.index(line) + 1 for line in lines]


def _worth(month: Month, line: int) -> tuple[int, Decimal, int]:
    per_hour, contribution = contribution_per_hour(month, line), month.products[line].sale.contribution
    if per_hour is not None:
        return 0, per_hour, -line
    return 1 if contribution > 0 else -1, contribution, -line


def programme(month: Month) -> Programme:
    """The best mix as an integer linear programme in the steps of each product, within demand and known time.

    Raises:
        InvalidValuesError: no whole number of batches is within the demand for a product.
    """
    if problems := list(_between_batches(month)):
        raise InvalidValuesError(problems)
    return Programme(
        contributions=tuple(Fraction(each.sale.contribution) * Fraction(each.step) for each in month.products),
        least=tuple(_least_steps(each) for each in month.products),
        most=tuple(_most_steps(each) for each in month.products),
        minutes=tuple(
            tuple(
                Fraction(minutes) * Fraction(each.step) / Fraction(each.standard_batch)
                for minutes, each in zip(load.minutes_per_batch, month.products, strict=True)
            )
            for load in month.limits
        ),
        available=tuple(Fraction(load.minutes_available or ZERO) for load in month.limits),
    )


def _least_steps(product: PlannedProduct) -> int:
    return ceil(Fraction(product.least) / Fraction(product.step))


def _most_steps(product: PlannedProduct) -> int | None:
    return None if product.most is None else floor(Fraction(product.most) / Fraction(product.step))


def _between_batches(month: Month) -> Iterator[InvalidValueError]:
    for line, each in enumerate(month.products):
        most = _most_steps(each)
        if most is not None and most < _least_steps(each):
            batch, least, at_most = map(plain, (each.step, each.least, each.most or ZERO))
            reason = f"no whole batches of {batch} are at least {least} and at most {at_most} {each.unit.several}"
            yield InvalidValueError(("lines", line, "in_whole_batches"), reason)
