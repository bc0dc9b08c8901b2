"""A policy applied to one sale; reusable for any cost."""

from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal

from service.domain.pricing.policy import PricingPolicy, Rounding
from service.domain.pricing.price_grid import every_price, grid_of
from service.domain.selling.sale import Sale
from service.domain.solving.curve import Begin
from service.domain.solving.segments import EVERYWHERE, Function, Interval, Segment, common, joined, overlaps, plus
from service.domain.values.exact import ONE, ZERO, snapped
from service.domain.values.money import minor_unit_decimals
from service.domain.values.unit_costs import UnitCosts


class Aim:
    """One policy applied to one sale, for any number of costs; `grid` has the policy's prices, `minor` all prices.

    Prices, and amounts of policy and sale, are for the base quantity of pieces; a profit per piece is for one.
    """

    def __init__(self, policy: PricingPolicy, sale: Sale, currency: str, base_quantity: int = 1) -> None:
        self.policy, self.sale, self.base_quantity = policy, sale, base_quantity
        self.grid, self.decimals = grid_of(policy, currency), minor_unit_decimals(currency)
        self.minor = every_price(self.decimals)
        self._proceeds, self._with_tax, self._to_gross = sale.taxed, sale.with_tax, sale.gross_of_displayed
        self._is_gross = self._to_gross == ONE
        aimed, value = policy.target.traits, policy.value
        self.of_piece = aimed.of_piece * base_quantity
        self._is_price, self._of_cost, self._of_piece = aimed.is_price, value * aimed.of_cost, value * self.of_piece
        self._of_net = value * aimed.of_net
        self._is_rising = self._proceeds.is_rising
        self._includes_floor = (  # its level is not below that of the floor, whatever the cost
            policy.never_below_cost is policy.cost_basis
            and not (self._is_price or self._of_cost)
            and min(self._of_piece, self._of_net) >= 0
        )
        self._is_simple = policy.rounding is Rounding.UP and self._proceeds.rises(self._of_net)

    def costs(self, piece: UnitCosts) -> UnitCosts:
        """The costs of the base quantity."""
        return piece if self.base_quantity == 1 else piece.times(self.base_quantity)

    def target(self, costs: UnitCosts) -> Decimal | None:
        """The least displayed price that meets the target; None if there is none."""
        meeting = self.meeting(costs)
        if self._is_simple:
            first = next(meeting, None)
            return None if first is None else self._begin(_from(first))
        return self.least(joined(meeting))

    def price(self, costs: UnitCosts) -> Decimal | None:
        """The price of the grid to ask: the least, or the nearest, that meets the target and the floor, if any."""
        if self._is_simple:
            return self._price_of_rising(costs)
        both = self._both(costs)
        if self.policy.rounding is Rounding.UP:
            return self.grid.least(both)
        wanted = self.least(both)
        return None if wanted is None else self.grid.nearest(wanted, self._above_floors(iter(EVERYWHERE), costs))

    def _both(self, costs: UnitCosts) -> Iterator[Interval]:
        """The displayed prices that meet the target and the floor."""
        return self._above_floors(self.meeting(costs), costs)

    def _above_floors(self, found: Iterator[Interval], costs: UnitCosts) -> Iterator[Interval]:
        """The part of some ranges that meets the floor, in order; no more are found than are taken."""
        for floor in self._floors(costs, self._covering):
            found = overlaps(found, floor)
        return found

    def _price_of_rising(self, costs: UnitCosts) -> Decimal | None:
        """The price where proceeds rise with it: a target or a floor once met is met by every higher price.

        A target of no lower a level than the floor, with nothing or a margin taken off the proceeds, includes the
        floor: no proceeds reach it earlier, nor do the figures, for each is rounded alike.
        """
        policy, proceeds, basis = self.policy, self._proceeds, self.policy.never_below_cost
        floor = None if basis is None or self._includes_floor else costs.on(basis) * self._with_tax
        if self._is_price:
            latest: Begin | None = Begin(policy.value, True)
        else:
            level = self._level(costs)
            latest = self._displayed_begin(proceeds.first(level, self._of_net))
            if floor is not None and level >= floor and self._of_net >= 0:
                floor = None
        if latest is not None and floor is not None:
            latest = _later(latest, self._displayed_begin(proceeds.first(floor)))
        if latest is not None and policy.never_below_amount is not None:
            latest = _later(latest, Begin(policy.never_below_amount, True))
        if latest is None:
            return None
        return self.grid.at_or_above(latest.at) if latest.is_included else self.grid.above(latest.at)

    def _displayed_begin(self, begin: Begin | None) -> Begin | None:
        return begin if begin is None or self._is_gross else Begin(begin.at / self._to_gross, begin.is_included)

    def keeps(self, displayed: Decimal, costs: UnitCosts) -> bool:
        """Whether a price meets the target and the floor, compared at 28 digits."""
        policy, gross = self.policy, displayed * self._to_gross
        if self._is_price:
            meets = displayed >= policy.value
        else:
            meets = snapped(self._proceeds.at(gross, self._of_net)) >= snapped(self._level(costs))
        brought = snapped(self._proceeds.at(gross))
        basis = policy.never_below_cost
        has_cost = basis is None or brought >= snapped(costs.on(basis) * self._with_tax)
        return meets and has_cost and displayed >= (policy.never_below_amount or ZERO)

    def margin(self, displayed: Decimal, costs: UnitCosts) -> Decimal | None:
        """Profit ÷ net price at a displayed price; None at a price of 0."""
        gross = displayed if self._is_gross else displayed * self._to_gross
        return (self._proceeds.at(gross) - costs.full * self._with_tax) / gross if gross else None

    def surplus_at(self, gross: Decimal, costs: UnitCosts) -> Segment:
        """The segment at a gross price of (1 + tax) × (proceeds − what the target requires)."""
        (found,) = plus((self._proceeds.segment_at(gross),), slope=-self._of_net, constant=-self._level(costs))
        return found

    def above(self, cost: Decimal) -> Function:
        """(1 + tax) × (proceeds − cost), as a function of the gross price."""
        return plus(self._proceeds.function, constant=-cost * self._with_tax)

    def _level(self, costs: UnitCosts) -> Decimal:
        """The level that (1 + tax) × proceeds, less a margin on the gross price, has to reach.

        With cost c and net price N, proceeds − c is m × N for a margin m, k × c for a markup k, p for a profit p.
        """
        cost = costs.on(self.policy.cost_basis)
        if self._of_cost:
            cost += cost * self._of_cost
        if self._of_piece:
            cost += self._of_piece
        return cost * self._with_tax

    def meeting(self, costs: UnitCosts) -> Iterator[Interval]:
        """The displayed prices that meet the target, in order."""
        if self._is_price:
            return iter((Interval(low=self.policy.value),))
        return self._displayed(self._proceeds.reaching(self._level(costs), self._of_net))

    def bringing_in(self, cost: Decimal) -> Iterator[Interval]:
        """The displayed prices whose proceeds cover a cost, in order, adjacent ranges merged."""
        found = self._covering(cost)
        if not self._is_rising:
            return joined(found)
        first = next(found, None)
        return iter(() if first is None else (_from(first),))

    def _covering(self, cost: Decimal) -> Iterator[Interval]:
        """The same, a range for each segment, found as they are taken."""
        return self._displayed(self._proceeds.reaching(cost * self._with_tax))

    def allowed(self, costs: UnitCosts) -> tuple[Interval, ...]:
        """The displayed prices that meet the policy's floor; all if it has none."""
        found: tuple[Interval, ...] = EVERYWHERE
        for floor in self._floors(costs, self.bringing_in):
            found = common(found, floor)
        return found

    def _floors(
        self, costs: UnitCosts, covering: Callable[[Decimal], Iterator[Interval]]
    ) -> Iterator[Iterator[Interval]]:
        basis, amount = self.policy.never_below_cost, self.policy.never_below_amount
        if basis is not None:
            yield covering(costs.on(basis))
        if amount is not None:
            yield iter((Interval(low=amount),))

    @property
    def has_floor(self) -> bool:
        return self.policy.never_below_cost is not None or self.policy.never_below_amount is not None

    def least(self, meeting: Iterable[Interval]) -> Decimal | None:
        return next((found for each in meeting if (found := self._begin(each)) is not None), None)

    def _begin(self, interval: Interval) -> Decimal | None:
        """The first price of a range; if its lower end is excluded, the first at the minor unit, if any."""
        return interval.low if interval.is_low_included else self.minor.least((interval,))

    def _displayed(self, gross: Iterable[Interval]) -> Iterator[Interval]:
        """Converts ranges of the gross price to ranges of the displayed price."""
        return iter(gross) if self._is_gross else (_divided(each, self._to_gross) for each in gross)

    def displayed(self, function: Function) -> Iterator[Interval]:
        """The displayed prices of each segment of a function of the gross price."""
        return self._displayed(
            Interval(low=segment.above, is_low_included=not place, high=segment.up_to)
            for place, segment in enumerate(function)
        )


def _from(interval: Interval) -> Interval:
    """The range without its upper end."""
    return Interval(low=interval.low, is_low_included=interval.is_low_included)


def _later(one: Begin, other: Begin | None) -> Begin | None:
    """The beginning of what two ranges without an upper end have in common; None if there is no other."""
    if other is None:
        return None
    begins, other_begins = snapped(one.at), snapped(other.at)
    if begins == other_begins:
        return other if one.is_included else one
    return one if begins > other_begins else other


def _divided(interval: Interval, by: Decimal) -> Interval:
    high = None if interval.high is None else interval.high / by
    return Interval(low=interval.low / by, is_low_included=interval.is_low_included, high=high)
