"""The price grid: the prices that may be asked."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from decimal import Decimal

from service.domain.pricing.policy import PricingPolicy
from service.domain.solving.segments import Interval, common, overlaps
from service.domain.values.exact import ONE, UNITS, ZERO, snapped, up, whole_down, whole_up
from service.domain.values.money import minor_unit_decimals

_WHOLE = (ZERO,)


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceGrid:
    """The prices that may be asked: every whole number of steps plus one of the endings, each in [0, step).

    Attributes:
        decimals: where it has every price of so many decimals, how many.
    """

    step: Decimal
    endings: tuple[Decimal, ...] = _WHOLE
    decimals: int | None = field(default=None, compare=False)

    def at_or_above(self, price: Decimal) -> Decimal:
        step = self.step
        if self.decimals is not None:
            return max(up(price, self.decimals), ZERO)
        if self.endings == _WHOLE:
            return max(whole_up(price / step), ZERO) * step
        return min(max(whole_up((price - ending) / step), ZERO) * step + ending for ending in self.endings)

    def below(self, price: Decimal) -> Decimal | None:
        """The greatest price of the grid at or below this one; None if there is none."""
        steps = (whole_down((price - ending) / self.step) for ending in self.endings)
        found = [whole * self.step + ending for whole, ending in zip(steps, self.endings, strict=True) if whole >= 0]
        return max(found, default=None)

    def above(self, price: Decimal) -> Decimal:
        steps = (whole_down((price - ending) / self.step) + 1 for ending in self.endings)
        return min(whole * self.step + ending for whole, ending in zip(steps, self.endings, strict=True))

    def least(self, allowed: Iterable[Interval], at_least: Decimal = ZERO) -> Decimal | None:
        """The least price of the grid in the ordered intervals, at least this one; None if there is none."""
        for interval in overlaps(allowed, (Interval(low=at_least),)):
            found = self.at_or_above(interval.low) if interval.is_low_included else self.above(interval.low)
            if interval.holds(found):
                return found
        return None

    def greatest(self, allowed: Iterable[Interval], at_most: Decimal) -> Decimal | None:
        """The greatest price of the grid in the intervals, at most this one; None if there is none."""
        for interval in reversed(common(allowed, (Interval(low=ZERO, high=at_most),))):
            found = self.below(at_most if interval.high is None else interval.high)
            if found is not None and interval.holds(found):
                return found
        return None

    def nearest(self, price: Decimal, allowed: Iterable[Interval]) -> Decimal | None:
        """The price of the grid in the ordered intervals nearest to this one; the higher of two equally near."""
        price = snapped(price)  # restores a tie that a division missed by its rounding error
        above = below = None
        for interval in allowed:
            above, lower = self.least((interval,), price), self.greatest((interval,), price)
            below = below if lower is None else lower
            if above is not None:
                break
        if above is None or below is None:
            return below if above is None else above
        return above if above - price <= price - below else below


def grid_of(policy: PricingPolicy, currency: str) -> PriceGrid:
    """The policy's grid; multiples of the minor unit where it has none."""
    if policy.price_endings:
        return PriceGrid(step=policy.price_step or ONE, endings=policy.price_endings)
    return PriceGrid(step=policy.price_step) if policy.price_step else every_price(minor_unit_decimals(currency))


def every_price(decimals: int) -> PriceGrid:
    """The grid of all prices with so many decimals."""
    return PriceGrid(step=UNITS[decimals], decimals=decimals)
