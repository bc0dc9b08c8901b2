"""What is sold besides products: services, and anything else with a cost of its own."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds, Name, NotNegative, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO
from service.domain.values.kinds import Kind

SoldQuantity = Annotated[Decimal, Bounds(above=0, at_most=1_000_000_000)]


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitTraits:
    """What is known of a unit.

    Attributes:
        code: its common code in UN/ECE Recommendation No. 20.
        decimals: the most that a quantity has.
    """

    code: str
    decimals: int = 3


class SalesUnit(Kind):
    """The unit in which something is sold."""

    traits: UnitTraits

    PIECE = ("piece", UnitTraits(code="H87", decimals=0))
    KILOGRAM = ("kg", UnitTraits(code="KGM"))
    METRE = ("m", UnitTraits(code="MTR"))
    SQUARE_METRE = ("m2", UnitTraits(code="MTK"))
    CUBIC_METRE = ("m3", UnitTraits(code="MTQ"))
    HOUR = ("hour", UnitTraits(code="HUR"))

    def problem(self, quantity: Decimal) -> str | None:
        """What is wrong with a quantity in this unit."""
        decimals = self.traits.decimals
        if quantity == round(quantity, decimals):
            return None
        return f"must have at most {decimals} decimals" if decimals else "must be whole: pieces are not divided"


@declared
class Item:
    """Something sold that is no registered product: a service, such as an hour of press work, or anything else.

    Attributes:
        name: what the customer reads.
        unit: of its quantity and its price.
        cost: full cost of one unit, in the workshop's currency.
        variable_cost: the part of the cost that would not be spent without the order; all of it if left out.
        cost_once: what it costs besides, once for any quantity, such as setting up; it is variable.
    """

    name: Name
    unit: SalesUnit = SalesUnit.PIECE
    cost: NotNegative
    variable_cost: NotNegative | None = None
    cost_once: NotNegative = ZERO

    def problems(self) -> Iterator[InvalidValueError]:
        if self.variable_cost is not None and self.variable_cost > self.cost:
            yield InvalidValueError(("variable_cost",), "must not be more than the cost, which contains it")

    def full_cost(self, quantity: Decimal) -> Decimal:
        """cost × quantity + cost once, unrounded."""
        return self.cost * quantity + self.cost_once

    def cost_without_fixed(self, quantity: Decimal) -> Decimal:
        """The same of its variable cost."""
        unit = self.cost if self.variable_cost is None else self.variable_cost
        return unit * quantity + self.cost_once
