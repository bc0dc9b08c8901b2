"""The figures of a month that more than one of its statements shows, each rounded once."""

from service.domain.month.month import Month
from service.domain.values.exact import ZERO, apportioned, half_up
from service.domain.values.money import minor_unit_decimals


class RoundedMonth:
    """A month at the minor unit of its currency.

    Attributes:
        month: the plan, unrounded.
        mix: its products in the proportion of the plan.
        currency: the workshop's.
        decimals: of the minor unit.
        planned: pieces of each line.
        sales: of each line without tax; they add up to the rounded total.
        contributions: of each line; they add up to the rounded total.
        sold: all sales.
        contribution: all contributions.
        fixed_cost: of the month.
        profit: contribution less fixed cost.
        bottleneck: the machine or grade that is fullest; None where no hours a week are registered.
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
