"""What is sold besides products: services, and anything else with a cost of its own."""

from collections.abc import Iterator
from decimal import Decimal

from service.domain.values.declared import Name, NotNegative, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO
from service.domain.values.units import Unit


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
    unit: Unit = Unit.PIECE
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
