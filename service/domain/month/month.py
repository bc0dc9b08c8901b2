"""A month: what its plan contributes, what it must bear, and the time it has."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from service.domain.month.break_even import Mix, PlannedSale, Volume, mix_of
from service.domain.month.fixed_costs import FixedCost
from service.domain.scheduling.plan_load import Load, bottleneck
from service.domain.solving.best_mix import Programme
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import MINUTES_PER_HOUR, ZERO
from service.domain.values.money import Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedProduct:
    """A line of the plan with all that is known of it.

    Attributes:
        product: its code.
        listing: code of the listing it is sold by, if any.
        name: its name.
        standard_batch: good pieces in a batch.
        least: pieces that the best mix has at least.
        most: pieces that it has at most; None where demand does not limit them.
        in_whole_batches: whether it has whole batches.
        price: what is asked for a piece.
        shown_variable_cost: of a piece, as its cost sheet shows it.
        sale: what a piece brings in and costs.
    """

    product: str
    listing: str | None
    name: str
    standard_batch: int
    least: int
    most: int | None
    in_whole_batches: bool
    price: Money
    shown_variable_cost: Decimal
    sale: PlannedSale

    @property
    def unit(self) -> int:
        """Pieces that the best mix has together."""
        return self.standard_batch if self.in_whole_batches else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Month:
    """The plan of a month, unrounded, in the workshop's currency.

    Attributes:
        as_of: the date of the rates.
        currency: the workshop's.
        weeks: working weeks in it.
        products: what is made and sold.
        fixed_costs: what it must bear.
        target_profit: what it is to leave, if that is named.
        loads: what the plan takes of each machine and grade.
    """

    as_of: date
    currency: str
    weeks: Decimal
    products: tuple[PlannedProduct, ...]
    fixed_costs: tuple[FixedCost, ...]
    target_profit: Decimal | None
    loads: tuple[Load, ...]

    @property
    def mix(self) -> Mix:
        """The products in the proportion of the plan."""
        return mix_of([each.sale for each in self.products])

    @property
    def fixed_cost(self) -> Decimal:
        """All of it."""
        return sum((each.amount for each in self.fixed_costs), ZERO)

    def volume(self, mix: Mix, profit: Decimal | None) -> Volume | None:
        """How much of a mix leaves a profit if it bears the month; None where no volume does, or no profit is named."""
        return None if profit is None else mix.volume(self.fixed_cost + profit)

    @property
    def bottleneck(self) -> Load | None:
        """The machine or grade that is fullest."""
        return bottleneck(self.loads)

    @property
    def limits(self) -> tuple[Load, ...]:
        """Machines and grades whose time is known."""
        return tuple(load for load in self.loads if load.minutes_available is not None)


def contribution_per_hour(month: Month, line: int) -> Decimal | None:
    """What an hour of the bottleneck contributes, spent on a product; None where that takes none of it.

    Contribution of a piece × pieces in a batch ÷ hours of the batch.

    Source: ranking by contribution per unit of the constraint. Managerial Accounting, Saylor Academy, 2012,
    section 7.8.
    """
    narrowest, product = month.bottleneck, month.products[line]
    if narrowest is None or not narrowest.minutes_per_batch[line]:
        return None
    minutes = narrowest.minutes_per_batch[line]
    return product.sale.contribution * product.standard_batch * MINUTES_PER_HOUR / minutes


def ranks(month: Month) -> list[int | None]:
    """Which product comes first where the bottleneck has too little time for all, from 1; None without a bottleneck.

    What takes none of its time comes first if it contributes, and last if not.
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
    """The search for the best mix as a linear programme in whole pieces or batches, within demand and known time.

    Raises:
        InvalidValuesError: no whole number of batches is within the demand for a product.
    """
    if problems := list(_between_batches(month)):
        raise InvalidValuesError(problems)
    return Programme(
        contributions=tuple(Fraction(each.sale.contribution) * each.unit for each in month.products),
        least=tuple(-(-each.least // each.unit) for each in month.products),
        most=tuple(None if each.most is None else each.most // each.unit for each in month.products),
        minutes=tuple(
            tuple(
                Fraction(minutes) * each.unit / each.standard_batch
                for minutes, each in zip(load.minutes_per_batch, month.products, strict=True)
            )
            for load in month.limits
        ),
        available=tuple(Fraction(load.minutes_available or ZERO) for load in month.limits),
    )


def _between_batches(month: Month) -> Iterator[InvalidValueError]:
    for line, each in enumerate(month.products):
        if each.most is not None and each.most // each.unit < -(-each.least // each.unit):
            reason = f"no whole batches of {each.unit} are at least {each.least} and at most {each.most} pieces"
            yield InvalidValueError(("lines", line, "in_whole_batches"), reason)
