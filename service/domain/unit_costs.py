"""What a piece of a batch costs."""

from collections.abc import Callable
from decimal import Decimal
from typing import NamedTuple

from service.domain.cost_sheet import CostSheet
from service.domain.exact import exactly
from service.domain.pricing_policy import CostBasis


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


@exactly
def unit_costs(sheet: CostSheet) -> UnitCosts:
    """What a piece of the batch costs."""
    return UnitCosts(
        variable=sheet.variable_cost / sheet.quantity,
        full=sheet.full_cost / sheet.quantity,
        shown_variable=sheet.variable_share_of(sheet.shown_per_piece()),
    )
