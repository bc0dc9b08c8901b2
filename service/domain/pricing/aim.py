"""A policy applied to one sale; reusable for any cost."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from service.domain.pricing.policy import PricingPolicy, Rounding
from service.domain.pricing.price_grid import PriceGrid, grid_of
from service.domain.selling.sale import Sale
from service.domain.solving.segments import (
    EVERYWHERE,
    Function,
    Interval,
    Segment,
    common,
    is_rising,
    joined,
    plus,
    reaching,
    value_at,
)
from service.domain.values.exact import UNITS, ZERO, snapped
from service.domain.values.money import minor_unit_decimals
from service.domain.values.unit_costs import UnitCosts


class Aim:
    """One policy in one sale, made once for any number of costs.

    Attributes:
        policy: what is aimed at.
        sale: the conditions.
        grid: the prices that may be asked.
        minor: every price at the minor unit.
        decimals: of the minor unit.
    """

    def __init__(self, policy: PricingPolicy, sale: Sale, currency: str) -> None:
        self.policy, self.sale = policy, sale
        self.grid, self.decimals = grid_of(policy, currency), minor_unit_decimals(currency)
        self.minor = PriceGrid(step=UNITS[self.decimals])
        self._proceeds, self._with_tax, self._to_gross = sale.taxed_proceeds, sale.with_tax, sale.gross_of_displayed
        aimed, value = policy.target.traits, policy.value
        self._is_price, self._of_cost, self._of_piece = aimed.is_price, value * aimed.of_cost, value * aimed.of_piece
        self._wanted: Function = plus(self._proceeds, slope=-value * aimed.of_net) if aimed.of_net else self._proceeds
        self._is_rising = is_rising(self._proceeds)
        self._is_simple = policy.rounding is Rounding.UP and self._is_rising and is_rising(self._wanted)

    def price(self, costs: UnitCosts) -> tuple[Decimal | None, Decimal | None]:
        """The least displayed price that meets the target, and the price of the grid that is asked.

        That is the least of the grid, or the nearest, that meets the target and keeps to the floor; None where
        there is no such price.
        """
        if self._is_simple:
            return self._price_of_rising(costs)
        meeting, allowed = tuple(joined(self.meeting(costs))), self.allowed(costs)
        both = common(meeting, allowed)
        target, wanted = self.least(meeting), self.least(both)
        if wanted is None:
            return target, None
        is_up = self.policy.rounding is Rounding.UP
        return target, self.grid.least(both) if is_up else self.grid.nearest(wanted, allowed)

    def _price_of_rising(self, costs: UnitCosts) -> tuple[Decimal | None, Decimal | None]:
        """The same where more is kept of every higher price: what is met once is met from there on."""
        meeting = next(self.meeting(costs), None)
        if meeting is None:
            return None, None
        latest = meeting
        for floor in self._floors(costs):
            first = next(floor, None)
            if first is None:
                return self._begin(_from(meeting)), None
            latest = _later(latest, first)
        low, is_included, _ = latest
        target = meeting.low if meeting.is_low_included else self._begin(_from(meeting))
        return target, self.grid.at_or_above(low) if is_included else self.grid.above(low)

    def keeps(self, displayed: Decimal, costs: UnitCosts) -> bool:
        """Whether a price meets the target and keeps to the floor; to 28 digits."""
        policy, gross = self.policy, displayed * self._to_gross
        if self._is_price:
            meets = displayed >= policy.value
        else:
            meets = snapped(value_at(self._wanted, gross)) >= snapped(self._level(costs))
        brought = snapped(value_at(self._proceeds, gross))
        has_cost = policy.never_below_cost is None or brought >= snapped(
            costs.on(policy.never_below_cost) * self._with_tax
        )
        return meets and has_cost and displayed >= (policy.never_below_amount or ZERO)

    def margin(self, displayed: Decimal, costs: UnitCosts) -> Decimal | None:
        """The profit that a price leaves, as a share of the net price; None at a price of 0."""
        gross = displayed * self._to_gross
        return (value_at(self._proceeds, gross) - costs.full * self._with_tax) / gross if gross else None

    def surplus(self, costs: UnitCosts) -> Function:
        """(1 + tax) × what the price brings in beyond the target, as a function of the gross price."""
        return plus(self._wanted, constant=-self._level(costs))

    def above(self, cost: Decimal) -> Function:
        """(1 + tax) × what the price brings in beyond a cost."""
        return plus(self._proceeds, constant=-cost * self._with_tax)

    def _level(self, costs: UnitCosts) -> Decimal:
        """What (1 + tax) × proceeds, less the share wanted of the gross price, has to reach.

        With cost c and net price N: margin m asks for proceeds − c = m × N, markup k for proceeds − c = k × c, a
        profit p for proceeds − c = p.
        """
        cost = costs.on(self.policy.cost_basis)
        return (cost + cost * self._of_cost + self._of_piece) * self._with_tax

    def meeting(self, costs: UnitCosts) -> Iterator[Interval]:
        """The displayed prices that meet the target, in order."""
        if self._is_price:
            return iter((Interval(low=self.policy.value),))
        return self._displayed(reaching(self._wanted, self._level(costs)))

    def bringing_in(self, cost: Decimal) -> Iterator[Interval]:
        """The displayed prices that bring in a cost, in order."""
        found = self._displayed(reaching(self._proceeds, cost * self._with_tax))
        if not self._is_rising:
            return joined(found)
        first = next(found, None)
        return iter(() if first is None else (_from(first),))

    def allowed(self, costs: UnitCosts) -> tuple[Interval, ...]:
        """The displayed prices that keep to the policy's floor; all if it names none."""
        found: tuple[Interval, ...] = EVERYWHERE
        for floor in self._floors(costs):
            found = common(found, floor)
        return found

    def _floors(self, costs: UnitCosts) -> Iterator[Iterator[Interval]]:
        """The displayed prices that keep to each floor of the policy."""
        basis, amount = self.policy.never_below_cost, self.policy.never_below_amount
        if basis is not None:
            yield self.bringing_in(costs.on(basis))
        if amount is not None:
            yield iter((Interval(low=amount),))

    @property
    def has_floor(self) -> bool:
        """Whether the policy names one."""
        return self.policy.never_below_cost is not None or self.policy.never_below_amount is not None

    def least(self, meeting: Iterable[Interval]) -> Decimal | None:
        """The least price of the ranges."""
        return next((found for each in meeting if (found := self._begin(each)) is not None), None)

    def _begin(self, interval: Interval) -> Decimal | None:
        """Where a range begins, or, just past a step of the fees, its first price at the minor unit, if it has one."""
        return interval.low if interval.is_low_included else self.minor.least((interval,))

    def _displayed(self, gross: Iterable[Interval]) -> Iterator[Interval]:
        """Ranges of the gross price as ranges of the displayed one."""
        by = self._to_gross
        return iter(gross) if by == 1 else (_divided(each, by) for each in gross)

    def displayed(self, segment: Segment, *, is_first: bool) -> Iterator[Interval]:
        """The displayed prices that a segment of a function of the gross price holds for."""
        return self._displayed((Interval(low=segment.above, is_low_included=is_first, high=segment.up_to),))


def _from(interval: Interval) -> Interval:
    """The range without an end."""
    return Interval(low=interval.low, is_low_included=interval.is_low_included)


def _later(one: Interval, other: Interval) -> Interval:
    """Which of two ranges begins later."""
    begins, other_begins = snapped(one.low), snapped(other.low)
    if begins == other_begins:
        return other if one.is_low_included else one
    return one if begins > other_begins else other


def _divided(interval: Interval, by: Decimal) -> Interval:
    high = None if interval.high is None else interval.high / by
    return Interval(low=interval.low / by, is_low_included=interval.is_low_included, high=high)
