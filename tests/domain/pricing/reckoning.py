"""A sale computed in fractions, straight from the definition of each fee.

It shares no code with the service's arithmetic: a fee is evaluated at one price at a time, and ranges of prices are
found from the prices at which a fee changes its slope or jumps.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, cached_property
from itertools import pairwise

from service.domain.pricing.policy import PricingPolicy, Target
from service.domain.selling.channels import ChannelRate, Display, Payer
from service.domain.selling.fees import Banding, Fee, FeeBand, FeeBase
from service.domain.values.unit_costs import CostBasis, UnitCosts

_LAST_DIGITS = Fraction(1, 10**26)
FAR = Fraction(10**15)
"""A price beyond every change in the fees."""
_TINY = Fraction(1, 10**40)

exact = cache(Fraction)
"""A decimal as a fraction; cached, since the same figures recur."""

Course = Callable[[Fraction], Fraction]
"""A figure as a function of the displayed price."""


def is_nothing_less(surplus: Fraction, size: Fraction) -> bool:
    """Whether the surplus is 0 or more, within the rounding error that the service snaps away."""
    return surplus >= -abs(size) * _LAST_DIGITS


@dataclass(frozen=True, kw_only=True)
class Reckoning:
    """The conditions of a sale.

    Attributes:
        terms: the channel's terms.
        tax_share: the tax as a share of the net price.
        display: whether the displayed price contains the tax.
        rate: units of the currency of sale for one unit of the terms' currency.
        is_converted: whether the channel pays out in another currency.
        shipping_cost: the cost of shipping a piece.
    """

    terms: ChannelRate
    tax_share: Decimal = Decimal(0)
    display: Display = Display.TAX_INCLUSIVE
    rate: Fraction = Fraction(1)
    is_converted: bool = False
    shipping_cost: Decimal = Decimal(0)

    @cached_property
    def with_tax(self) -> Fraction:
        return 1 + exact(self.tax_share)

    def gross(self, displayed: Fraction) -> Fraction:
        return displayed if self.display is Display.TAX_INCLUSIVE else displayed * self.with_tax

    def net(self, displayed: Fraction) -> Fraction:
        return displayed if self.display is Display.TAX_EXCLUSIVE else displayed / self.with_tax

    @cached_property
    def shipping_charge(self) -> Fraction:
        """The shipping charge to the buyer, including tax."""
        if self.terms.shipping_paid_by is Payer.SELLER:
            return Fraction(0)
        if self.terms.shipping_charge is None:
            return exact(self.shipping_cost) * self.with_tax
        return self.gross(exact(self.terms.shipping_charge) * self.rate)

    def base(self, fee: Fee, displayed: Fraction) -> Fraction:
        """The amount that the fee is a share of."""
        if fee.base is FeeBase.NET_PRICE:
            return self.net(displayed)
        charge = self.shipping_charge if fee.base is FeeBase.GROSS_WITH_SHIPPING else 0
        return self.gross(displayed) + charge

    def fee(self, fee: Fee, displayed: Fraction) -> Fraction:
        """The amount of the fee, including its tax."""
        found = self._untaxed(fee, self.base(fee, displayed))
        if fee.minimum is not None:
            found = max(found, exact(fee.minimum) * self.rate)
        if fee.maximum is not None:
            found = min(found, exact(fee.maximum) * self.rate)
        return found * (1 + exact(fee.tax_share))

    def _untaxed(self, fee: Fee, base: Fraction) -> Fraction:
        if not fee.bands:
            return exact(fee.share) * base + exact(fee.fixed) * self.rate
        if fee.banding is Banding.PORTION:
            return sum((exact(band.share) * self._within(band, base) for band in fee.bands), Fraction(0))
        band = next(band for band in fee.bands if band.up_to is None or base <= exact(band.up_to) * self.rate)
        return exact(band.share) * base + exact(band.fixed) * self.rate

    def _within(self, band: FeeBand, base: Fraction) -> Fraction:
        """The part of the base within the band."""
        most = base if band.up_to is None else min(base, exact(band.up_to) * self.rate)
        return max(Fraction(0), most - exact(band.above) * self.rate)

    def fees(self, displayed: Fraction) -> Fraction:
        return sum((self.fee(fee, displayed) for fee in self.terms.fees), Fraction(0))

    def paid_out(self, displayed: Fraction) -> Fraction:
        """The amount that the channel pays out, and converts if it does so."""
        return self.gross(displayed) + self.shipping_charge - self.fees(displayed)

    def conversion_cost(self, displayed: Fraction) -> Fraction:
        share = exact(self.terms.conversion_spread_share) if self.is_converted else Fraction(0)
        return max(Fraction(0), self.paid_out(displayed)) * share

    def proceeds(self, displayed: Fraction) -> Fraction:
        """The amount left for cost and profit."""
        taken = self.fees(displayed) + self.conversion_cost(displayed) + exact(self.shipping_cost)
        return self.net(displayed) + self.shipping_charge / self.with_tax - taken

    # Prices at which a slope changes

    def _displayed(self, fee: Fee, base: Fraction) -> Fraction:
        """The displayed price at which a fee has this base."""
        if fee.base is FeeBase.NET_PRICE:
            return self.gross(base) / self.with_tax if self.display is Display.TAX_EXCLUSIVE else base * self.with_tax
        charge = self.shipping_charge if fee.base is FeeBase.GROSS_WITH_SHIPPING else 0
        gross = base - charge
        return gross if self.display is Display.TAX_INCLUSIVE else gross / self.with_tax

    def _places_of(self, fee: Fee) -> Iterator[Fraction]:
        """Bases at which a fee changes its slope or jumps: ends of bands, and where a limit begins or ends to bind."""
        ends = [exact(band.up_to) * self.rate for band in fee.bands if band.up_to is not None]
        yield from ends
        edges = [Fraction(0), *ends, FAR * 10]
        for low, high in pairwise(edges):
            third = (high - low) / 3
            one, other = self._untaxed(fee, low + third), self._untaxed(fee, low + 2 * third)
            for limit in (fee.minimum, fee.maximum):
                if limit is not None and one != other:
                    yield low + third + (exact(limit) * self.rate - one) * third / (other - one)

    @cached_property
    def places(self) -> list[Fraction]:
        """Displayed prices from 0 to FAR between which every function is linear."""
        found = {self._displayed(fee, base) for fee in self.terms.fees for base in self._places_of(fee)}
        edges = sorted({Fraction(0), FAR, *(place for place in found if 0 < place < FAR)})
        return sorted({*edges, *_roots(self.paid_out, edges)})

    def roots(self, course: Course) -> list[Fraction]:
        """The zeros of a function that is linear between the places."""
        return list(_roots(course, self.places))


def _roots(course: Course, places: list[Fraction]) -> Iterator[Fraction]:
    for low, high in pairwise(places):
        third = (high - low) / 3
        one, other = course(low + third), course(low + 2 * third)
        if one != other and low < (root := low + third - one * third / (other - one)) < high:
            yield root


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A pricing question, and the conditions that a price must meet.

    Attributes:
        reckoning: the conditions of the sale.
        policy: the pricing policy.
        costs: the costs of a piece.
    """

    reckoning: Reckoning
    policy: PricingPolicy
    costs: UnitCosts

    def cost(self, basis: CostBasis) -> Fraction:
        return exact(self.costs.on(basis))

    def surplus(self, displayed: Fraction) -> Fraction:
        """The amount by which the price exceeds the target; negative if it misses it."""
        cost, value = self.cost(self.policy.cost_basis), exact(self.policy.value)
        profit = self.reckoning.proceeds(displayed) - cost
        match self.policy.target:
            case Target.MARGIN:
                return profit - value * self.reckoning.net(displayed)
            case Target.MARKUP:
                return profit - value * cost
            case Target.PROFIT_PER_PIECE:
                return profit - value
            case Target.FIXED_PRICE:
                return displayed - value

    def floor_surplus(self, displayed: Fraction) -> Fraction:
        """The amount by which the price exceeds the policy's floor, the smaller if there are two floors."""
        basis, amount = self.policy.never_below_cost, self.policy.never_below_amount
        found = [] if basis is None else [self.reckoning.proceeds(displayed) - self.cost(basis)]
        return min([*found, *([] if amount is None else [displayed - Fraction(amount)])], default=displayed)

    def shown_floor_surplus(self, displayed: Fraction) -> Fraction:
        """The surplus over the shown floor, which is the variable cost if the policy names none."""
        if self.policy.never_below_cost is None and self.policy.never_below_amount is None:
            return self.reckoning.proceeds(displayed) - exact(self.costs.variable)
        return self.floor_surplus(displayed)

    def _size(self, displayed: Fraction) -> Fraction:
        return self.reckoning.gross(displayed) + exact(self.costs.full) + abs(exact(self.policy.value)) + 1

    def _is_met(self, course: Course, displayed: Fraction) -> bool:
        return is_nothing_less(course(displayed), self._size(displayed))

    def meets_target(self, displayed: Fraction) -> bool:
        return self._is_met(self.surplus, displayed)

    def keeps_floor(self, displayed: Fraction) -> bool:
        return self._is_met(self.floor_surplus, displayed)

    def keeps_shown_floor(self, displayed: Fraction) -> bool:
        return self._is_met(self.shown_floor_surplus, displayed)

    def brings_in(self, displayed: Fraction, cost: Decimal) -> bool:
        return self._is_met(lambda price: self.reckoning.proceeds(price) - Fraction(cost), displayed)

    def reached(self, target: Target, displayed: Fraction) -> Fraction:
        """The target's measure at this price: profit over the policy's cost ÷ net price, ÷ cost, or as an amount."""
        cost = self.cost(self.policy.cost_basis)
        profit = self.reckoning.proceeds(displayed) - cost
        match target:
            case Target.MARGIN:
                return profit / self.reckoning.net(displayed)
            case Target.MARKUP:
                return profit / cost
            case _:
                return profit

    def is_allowed(self, displayed: Fraction) -> bool:
        return self.meets_target(displayed) and self.keeps_floor(displayed)

    def ends(self) -> set[Fraction]:
        """Displayed prices at which a range that meets the target or the floor may begin or end."""
        courses = [self.surplus]
        if (basis := self.policy.never_below_cost) is not None:
            courses.append(lambda price: self.reckoning.proceeds(price) - self.cost(basis))
        roots = {root for course in courses for root in self.reckoning.roots(course)}
        places = self.reckoning.places[:-1]
        return {*places, *roots, exact(self.policy.never_below_amount or 0)}

    def wanted(self, unit: Fraction) -> Fraction:
        """The least price that meets target and floor; just past a step of the fees, the next minor unit."""
        ends = sorted(self.ends())
        for low in ends:
            if self.is_allowed(low):
                return low
            next_unit = (low // unit + 1) * unit
            between = [price for end in ends if low <= end < next_unit for price in (end, end + _TINY)]
            if all(self.is_allowed(price) for price in between if price > low) and self.is_allowed(next_unit):
                return next_unit
        raise AssertionError("no price does")


def grid_prices(policy: PricingPolicy, decimals: int, most: Fraction) -> list[Fraction]:
    """Every price of a policy's grid from 0 up to `most`."""
    unit = Decimal(1).scaleb(-decimals)
    step = Fraction(policy.price_step or (Decimal(1) if policy.price_endings else unit))
    endings = [Fraction(ending) for ending in policy.price_endings] or [Fraction(0)]
    places = range(int(most / step) + 1)
    return sorted({price for place in places for ending in endings if (price := place * step + ending) <= most})
