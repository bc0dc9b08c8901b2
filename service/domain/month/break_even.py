"""Volumes at which a month breaks even or leaves a profit: for one product alone and for a mix of them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import gcd

from service.domain.values.exact import ZERO, exactly, whole_up


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSale:
    """A line of a plan with what a piece brings in and costs, unrounded, in the workshop's currency.

    Attributes:
        pieces: planned for the month.
        net_price: of a piece, without tax.
        proceeds: of a piece, after fees, conversion and shipping.
        variable_cost: of a piece of its batch.
        tooling: a piece's part of the entire tools that its batch takes.
    """

    pieces: int
    net_price: Decimal
    proceeds: Decimal
    variable_cost: Decimal
    tooling: Decimal

    @property
    def contribution(self) -> Decimal:
        """What a piece adds toward the fixed cost of the month:  proceeds − variable cost − tooling.

        An entire tool is fixed for its batch, but a month has as many of them as it has batches.
        """
        return self.proceeds - self.variable_cost - self.tooling


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    """So much of something that contributions cover an amount; unrounded.

    Attributes:
        composite_units: pieces, or composite units of a mix.
        per_unit: pieces of each product in one unit.
        net_price: of one unit.
    """

    composite_units: Decimal
    per_unit: tuple[int, ...]
    net_price: Decimal

    @property
    def whole_composite_units(self) -> Decimal:
        """The first whole number of units that reaches it."""
        return whole_up(self.composite_units)

    @property
    def pieces(self) -> Decimal:
        """Of all products."""
        return self.composite_units * sum(self.per_unit)

    @property
    def whole_pieces(self) -> Decimal:
        """The first whole number of pieces that reaches it, in the proportion of the mix."""
        return whole_up(self.pieces)

    @property
    def pieces_of_each(self) -> tuple[Decimal, ...]:
        """Of each product."""
        return tuple(self.composite_units * pieces for pieces in self.per_unit)

    @property
    def sales(self) -> Decimal:
        """What they sell for, without tax."""
        return self.composite_units * self.net_price


@dataclass(frozen=True, slots=True)
class Mix:
    """Products that are always sold in the same proportion.

    Attributes:
        sales: of each product.
        per_unit: pieces of each in one composite unit, the least whole numbers in the plan's proportion.
    """

    sales: tuple[PlannedSale, ...]
    per_unit: tuple[int, ...]

    @property
    def pieces(self) -> int:
        """In one composite unit."""
        return sum(self.per_unit)

    @property
    def contribution(self) -> Decimal:
        """Of one composite unit:  Σ pieces × contribution."""
        return sum((sale.contribution * each for sale, each in zip(self.sales, self.per_unit, strict=True)), ZERO)

    @property
    def net_price(self) -> Decimal:
        """Of one composite unit."""
        return sum((sale.net_price * each for sale, each in zip(self.sales, self.per_unit, strict=True)), ZERO)

    @exactly
    def volume(self, amount: Decimal) -> Volume | None:
        """How much has to be sold to cover an amount:  amount ÷ contribution of a composite unit.

        None where no volume does: a unit contributes nothing, or the plan makes nothing.

        Source: break-even of a sales mix by composite units; the weighted contribution is a composite unit's over
        its pieces. Managerial Accounting, Saylor Academy, 2012, section 6.2.
        """
        contribution = self.contribution
        if amount and contribution <= 0:
            return None
        units = amount / contribution if amount else ZERO
        return Volume(composite_units=units, per_unit=self.per_unit, net_price=self.net_price)


def mix_of(sales: Sequence[PlannedSale]) -> Mix:
    """The products of a plan in the proportion of their planned pieces."""
    common = gcd(*(sale.pieces for sale in sales)) or 1
    return Mix(tuple(sales), tuple(sale.pieces // common for sale in sales))


def alone(sale: PlannedSale) -> Mix:
    """A product that bears the month by itself, piece by piece."""
    return Mix((sale,), (1,))
