"""The cost of a piece, on full or variable cost."""

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
    """The variable and the full cost of what is sold, unrounded, and the variable cost as the cost sheet shows it."""

    variable: Decimal
    full: Decimal
    shown_variable: Decimal

    def on(self, basis: CostBasis) -> Decimal:
        return self.full if basis is CostBasis.FULL else self.variable

    @exactly
    def times(self, pieces: int) -> "UnitCosts":
        """The costs of several pieces, from those of one, unrounded."""
        variable = self.variable * pieces
        return UnitCosts(variable=variable, full=self.full * pieces, shown_variable=variable)

    @exactly
    def converted(self, convert: Callable[[Decimal], Decimal]) -> "UnitCosts":
        """The same in another currency, converted unrounded."""
        variable = convert(self.variable)
        return UnitCosts(variable=variable, full=convert(self.full), shown_variable=variable)
