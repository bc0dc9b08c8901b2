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
