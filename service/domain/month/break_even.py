"""Break-even and target volumes of a month, for single products and for the mix."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import gcd

from service.domain.values.exact import ZERO, exactly, snapped, whole_up
from service.domain.values.units import QUANTITY_SOLD_DECIMALS, Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedSale:
    """Planned pieces of a line, and proceeds and costs of a piece; `MonthLineStatement` shows them rounded.

    Attributes:
        unit: what the pieces are counted in; a piece is one of it.
        tooling: the part of the variable cost that is tools bought for the batch.
    """

    pieces: Decimal
    net_price: Decimal
    proceeds: Decimal
    variable_cost: Decimal
    tooling: Decimal
    unit: Unit = Unit.PIECE

    @property
    def contribution(self) -> Decimal:
        """What a piece contributes to the fixed cost of the month:  proceeds − variable cost."""
        return self.proceeds - self.variable_cost


@dataclass(frozen=True, slots=True, kw_only=True)
class Volume:
    """A volume in composite units of a mix, unrounded; pieces of each product and net price are those of one unit.

    Attributes:
        unit: what all products are counted in; None if they differ, and then their pieces are not added up.
        capacity: composite units that there is time for; None if no known time limits them.
    """

    composite_units: Decimal
    per_unit: tuple[int, ...]
    net_price: Decimal
    unit: Unit | None = Unit.PIECE
    capacity: Decimal | None = None

    @property
    def whole_composite_units(self) -> Decimal:
        return whole_up(self.composite_units)

    @property
    def pieces(self) -> Decimal | None:
        """Of all products; None if they are counted in different units."""
        return None if self.unit is None else self.composite_units * sum(self.per_unit)

    @property
    def whole_pieces(self) -> Decimal | None:
        """The first quantity of the unit that reaches them."""
        return None if self.unit is None or self.pieces is None else self.unit.first_from(self.pieces)

    @property
    def is_beyond_capacity(self) -> bool:
        """Whether it needs, in the proportion of the mix, more time than there is: in whole pieces if they add up."""
        if self.capacity is None:
            return False
        if self.whole_pieces is None:
            return snapped(self.composite_units) > self.capacity
        return self.whole_pieces > self.capacity * sum(self.per_unit)

    @property
    def pieces_of_each(self) -> tuple[Decimal, ...]:
        return tuple(self.composite_units * pieces for pieces in self.per_unit)

    @property
    def sales(self) -> Decimal:
        """Sales without tax."""
        return self.composite_units * self.net_price


@dataclass(frozen=True, slots=True)
class Mix:
    """Products sold in a fixed proportion: a composite unit has the least whole numbers of pieces in it, `per_unit`.

    A piece is one unit of a product that is not counted in pieces: 0.5 kg and 1 piece are a set of 1 kg and 2 pieces.

    Attributes:
        capacity: composite units that there is time for; None if no known time limits them.
    """

    sales: tuple[PlannedSale, ...]
    per_unit: tuple[int, ...]
    capacity: Decimal | None = None

    @property
    def unit(self) -> Unit | None:
        """What all products are counted in; None if they differ, and then their pieces are not added up."""
        units = {sale.unit for sale in self.sales}
        return units.pop() if len(units) == 1 else None

    @property
    def pieces(self) -> Decimal | None:
        """Of all products in one composite unit; None if they are counted in different units."""
        return None if self.unit is None else Decimal(sum(self.per_unit))

    @property
    def planned(self) -> Decimal:
        """Composite units that the planned pieces are; 0 if nothing is planned."""
        mix = zip(self.sales, self.per_unit, strict=True)
        return next((sale.pieces / each for sale, each in mix if each), ZERO)

    @property
    def contribution(self) -> Decimal:
        """Of one composite unit:  Σ pieces × contribution."""
        return sum((sale.contribution * each for sale, each in zip(self.sales, self.per_unit, strict=True)), ZERO)

    @property
    def net_price(self) -> Decimal:
        return sum((sale.net_price * each for sale, each in zip(self.sales, self.per_unit, strict=True)), ZERO)

    @exactly
    def volume(self, amount: Decimal) -> Volume | None:
        """The volume that covers an amount:  amount ÷ contribution of a composite unit.

        0 for an amount of 0; None if a unit contributes nothing.

        Source: break-even of a sales mix by composite units; the weighted contribution is a composite unit's over
        its pieces. Managerial Accounting, Saylor Academy, 2012, section 6.2.
        """
        contribution = self.contribution
        if amount and contribution <= 0:
            return None
        units = amount / contribution if amount else ZERO
        return Volume(
            composite_units=units,
            per_unit=self.per_unit,
            net_price=self.net_price,
            unit=self.unit,
            capacity=self.capacity,
        )


def mix_of(sales: Sequence[PlannedSale]) -> Mix:
    """The products of a plan in the proportion of their planned pieces or units."""
    planned = [int(sale.pieces.scaleb(QUANTITY_SOLD_DECIMALS)) for sale in sales]
    common = gcd(*planned) or 1
    return Mix(tuple(sales), tuple(each // common for each in planned))


def alone(sale: PlannedSale) -> Mix:
    """A mix of one product only, which bears the whole month."""
    return Mix((sale,), (1,))
