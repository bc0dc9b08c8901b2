"""From a cost to a price, and from a price to its profit."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from service.domain.pricing.aim import Aim
from service.domain.pricing.errors import UnreachableTargetError
from service.domain.selling.sale import Sale
from service.domain.solving.segments import Function, Interval, Segment, meetings
from service.domain.values.exact import (
    ONE,
    SHARE_DECIMALS,
    UNITS,
    ZERO,
    exactly,
    half_up,
    share_of,
    snapped,
    whole_down,
)
from service.domain.values.unit_costs import UnitCosts


@dataclass(frozen=True, slots=True, kw_only=True)
class BarePrice:
    """A price and its profit; all figures but the price asked are unrounded. `PriceStatement` has the other meanings.

    Attributes:
        base_quantity: pieces that all of it is for.
        asked: the displayed price.
    """

    base_quantity: int
    asked: Decimal
    sale: Sale
    costs: UnitCosts
    proceeds: Decimal

    @property
    def gross_price(self) -> Decimal:
        return self.asked * self.sale.gross_of_displayed

    @property
    def net_price(self) -> Decimal:
        return self.asked / self.sale.displayed

    @property
    def profit(self) -> Decimal:
        return self.proceeds - self.costs.full

    @property
    def contribution(self) -> Decimal:
        """Proceeds less variable cost: what is contributed to the fixed cost."""
        return self.proceeds - self.costs.variable

    @property
    def margin_share(self) -> Decimal | None:
        """Profit ÷ net price; None at a net price of 0."""
        return share_of(self.profit, self.net_price)


@dataclass(frozen=True, slots=True, kw_only=True)
class Price(BarePrice):
    """A price with what it is judged by.

    Attributes:
        target_price: the least displayed price that meets the policy exactly; the price itself if it was given.
        equation: the segment of `Aim.surplus_at` whose zero is the target; None where the target is a step of the
            fees, or was given.
        floor_price: the least displayed price, at the minor unit, that may be asked; where the policy has no floor, the
            least that covers the variable cost, below which every piece sold costs cash. None if no price does.
        raised_to: the least price at the minor unit, from the target up, that meets the policy's floor, where the
            target does not meet it and the price does.
        break_even_price: the least price at the minor unit that covers the full cost; None if no price does.
    """

    target_price: Decimal
    equation: Segment | None
    floor_price: Decimal | None
    is_below_floor: bool
    raised_to: Decimal | None
    break_even_price: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Discount:
    """A discount on a price.

    Attributes:
        least_price: the least price of the grid that still meets the floor after the discount; None if there is none.
        least_price_discounted: that price less the discount, at the minor unit.
        discounted: the asked price less the discount.
    """

    discount_share: Decimal
    least_price: Decimal | None
    least_price_discounted: Decimal | None
    discounted: Price


class Pricing:
    """Prices a base quantity with one cost, one policy and one sale."""

    def __init__(self, aim: Aim, costs: UnitCosts) -> None:
        self.aim, self.policy, self.costs, self.sale = aim, aim.policy, costs, aim.sale
        self.grid, self.decimals, self._minor = aim.grid, aim.decimals, aim.minor

    @exactly
    def asked(self) -> Price:
        """The price to ask; raises as `to_ask` does."""
        found, target = self.to_ask(), self.aim.target(self.costs)
        assert target is not None  # a price meets it
        return self._judged(found, target, self._equation(target))

    @exactly
    def to_ask(self) -> Decimal:
        """The price to ask alone: the least of the grid, or the nearest, that meets the target and the floor.

        Raises:
            UnreachableTargetError: no price does.
        """
        found = self.aim.price(self.costs)
        if found is None:
            raise self.unreachable()
        return found

    @exactly
    def bare(self, asked: Decimal) -> BarePrice:
        """A given price, not judged."""
        return BarePrice(
            base_quantity=self.aim.base_quantity,
            asked=asked,
            sale=self.sale,
            costs=self.costs,
            proceeds=self.sale.proceeds(asked * self.sale.gross_of_displayed),
        )

    @exactly
    def kept_at(self, asked: Decimal) -> Price:
        """The inverse question: proceeds and profit at a given price, whatever the policy would ask."""
        return self._judged(asked, asked)

    @exactly
    def discount(self, asked: Decimal, share: Decimal) -> Discount:
        """The profit after a discount, and the least price that meets the floor after it."""
        left = ONE - share
        unit = UNITS[self.decimals]
        least = None
        for interval in self._floor:
            lowest = self._minor.least((interval,))
            if lowest is None:
                continue
            candidate = self.grid.at_or_above(max(ZERO, (lowest - unit / 2) / left))
            if interval.holds(half_up(candidate * left, self.decimals)):
                least = candidate
                break
        return Discount(
            discount_share=share,
            least_price=least,
            least_price_discounted=None if least is None else half_up(least * left, self.decimals),
            discounted=self.kept_at(half_up(asked * left, self.decimals)),
        )

    @cached_property
    def _enforced(self) -> tuple[Interval, ...]:
        return self.aim.allowed(self.costs)

    @cached_property
    def _floor(self) -> tuple[Interval, ...]:
        """The prices that meet the policy's floor; where it has none, those that cover the variable cost."""
        return self._enforced if self.aim.has_floor else tuple(self.aim.bringing_in(self.costs.variable))

    def _equation(self, target: Decimal) -> Segment | None:
        """The segment of the surplus whose zero is the target, if it is one."""
        if self.policy.target.traits.is_price:
            return None
        gross = target * self.sale.gross_of_displayed
        segment = self.aim.surplus_at(gross, self.costs)
        is_zero = segment.slope > 0 and snapped(-segment.constant / segment.slope) == snapped(gross)
        return segment if is_zero else None

    def _judged(self, asked: Decimal, target: Decimal, equation: Segment | None = None) -> Price:
        bare, enforced, floor = self.bare(asked), self._enforced, self._floor
        is_raised = not _holds(enforced, target) and _holds(enforced, asked)
        return Price(
            base_quantity=bare.base_quantity,
            asked=asked,
            sale=self.sale,
            costs=self.costs,
            proceeds=bare.proceeds,
            target_price=target,
            equation=equation,
            floor_price=self._minor.least(floor),
            is_below_floor=not _holds(floor, asked),
            raised_to=self._minor.least(enforced, target) if is_raised else None,
            break_even_price=self._minor.least(self.aim.bringing_in(self.costs.full)),
        )

    @exactly
    def unreachable(self) -> UnreachableTargetError:
        """The error that no price meets the target, with the highest value that a price reaches."""
        policy, aimed = self.policy, self.policy.target.traits
        cost = self.costs.on(policy.cost_basis)
        besides = self.sale.with_tax * (aimed.of_cost * cost + self.aim.of_piece)
        if not (aimed.of_net or besides):  # a fixed price, or a share of no cost
            return UnreachableTargetError(policy.target.value, policy.value)
        above = self.aim.above(cost)
        highest, at_price = max(self._reached(above, aimed.of_net, besides), key=_figure, default=(None, None))
        margin, _ = max(self._reached(above, ONE, ZERO), key=_figure, default=(None, None))
        return UnreachableTargetError(policy.target.value, policy.value, _at_most(highest), _at_most(margin), at_price)

    def _reached(
        self, function: Function, of_net: Decimal, besides: Decimal
    ) -> Iterator[tuple[Decimal, Decimal | None]]:
        """The values of the target that prices reach:  function ÷ (of_net × gross price + besides).

        The value is monotonic within a segment, so only the ends of each are tried.

        Yields:
            The value and the displayed price, for prices of the grid that meet the floor; last the limit for ever
            higher prices, without a price.
        """
        allowed = self._enforced
        for place, interval in meetings(self.aim.displayed(function), allowed):
            ends = [self.grid.least((interval,))]
            if interval.high is not None:
                ends.append(self.grid.greatest((interval,), interval.high))
            for price in ends:
                gross = ZERO if price is None else price * self.sale.gross_of_displayed
                unit = of_net * gross + besides
                if price is not None and unit:
                    yield function[place].at(gross) / unit, price
        if of_net and any(interval.high is None for interval in allowed):
            yield function[-1].slope / of_net, None


def _figure(found: tuple[Decimal, Decimal | None]) -> tuple[Decimal, bool]:
    return found[0], found[1] is not None


def _at_most(figure: Decimal | None) -> Decimal | None:
    """Rounded down, so that the figure shown can be reached."""
    return None if figure is None else whole_down(figure.scaleb(SHARE_DECIMALS)).scaleb(-SHARE_DECIMALS)


def _holds(allowed: Sequence[Interval], price: Decimal) -> bool:
    return any(interval.holds(price) for interval in allowed)
