"""The figures that several statements of a month share, rounded once."""

from service.domain.month.month import Month
from service.domain.values.exact import ZERO, apportioned, half_up
from service.domain.values.money import minor_unit_decimals


class RoundedMonth:
    """A month with its amounts at the minor unit of its currency.

    Attributes:
        planned: pieces of each line.
        sales: of each line without tax; they add up to `sold`.
        contributions: of each line; they add up to `contribution`.
        absorbed: fixed cost that the pieces of each line bear.
        fixed_amounts: each fixed cost; they add up to `fixed_cost`.
        incurred: of each absorption; with the costs that have no rate they add up to `fixed_cost`.
        absorbed_of_each: of each absorption; they add up to what all lines absorb.
    """

    def __init__(self, month: Month) -> None:
        self.month, self.mix, self.currency = month, month.mix, month.currency
        self.decimals = minor_unit_decimals(month.currency)
        sales = [product.sale for product in month.products]
        self.planned = [sale.pieces for sale in sales]
        self.sales = apportioned((sale.net_price * sale.pieces for sale in sales), self.decimals)
        self.contributions = apportioned((sale.contribution * sale.pieces for sale in sales), self.decimals)
        self.contribution, self.sold = sum(self.contributions, ZERO), sum(self.sales, ZERO)
        self.fixed_cost = half_up(month.fixed_cost, self.decimals)
        self.profit = self.contribution - self.fixed_cost
        self.bottleneck = month.bottleneck
        self._absorb(month)

    def _absorb(self, month: Month) -> None:
        costs, self.absorptions = month.fixed_costs, month.absorptions
        self.fixed_amounts = apportioned((each.amount for each in costs), self.decimals) if costs else ()
        borne = [amount for cost, amount in zip(costs, self.fixed_amounts, strict=True) if cost.resource is not None]
        self.incurred = [*borne, *(ZERO for each in self.absorptions if each.is_left_out)]
        of_lines = (sum((each.amount for each in of.absorbed), ZERO) * of.sale.pieces for of in month.products)
        self.absorbed = apportioned(of_lines, self.decimals)
        total, amounts = sum(self.absorbed, ZERO), [each.absorbed for each in self.absorptions]
        self.absorbed_of_each = apportioned(amounts, self.decimals, total) if amounts else ()
