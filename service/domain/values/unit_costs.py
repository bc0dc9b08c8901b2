"""What a piece costs, and on which basis that is meant."""

from collections.abc import Callable
from decimal import Decimal
from enum import StrEnum
from typing import NamedTuple

from service.domain.values.exact import exactly


class CostBasis(StrEnum):
    """The cost a policy starts from."""

    FULL = "full_cost"
    VARIABLE = "variable_cost"


class UnitCosts(NamedTuple):
    """What a piece costs.

    Attributes:
        variable: its variable cost, unrounded.
        full: its full cost, unrounded.
        shown_variable: its variable cost as the cost sheet shows it.
    """

    variable: Decimal
    full: Decimal
    shown_variable: Decimal

    def on(self, basis: CostBasis) -> Decimal:
        """The cost on this basis."""
        return self.full if basis is CostBasis.FULL else self.variable

    @exactly
    def converted(self, convert: Callable[[Decimal], Decimal]) -> "UnitCosts":
        """The same in another currency; no amount is converted that was rounded before."""
        variable = convert(self.variable)
        return UnitCosts(variable=variable, full=convert(self.full), shown_variable=variable)
