"""The figures of a month that more than one of its statements shows, each rounded once."""

from decimal import Decimal

from service.domain.month.month import Month
from service.domain.values.exact import SHARE_DECIMALS, ZERO, apportioned, half_up, known
from service.domain.values.money import Money, minor_unit_decimals, rounded, unit_cost


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

    def money(self, amount: Decimal) -> Money:
        """An amount at the minor unit."""
        return rounded(amount, self.currency)

    def per_piece(self, amount: Decimal) -> Money:
        """An amount for a piece, with four digits more."""
        return unit_cost(amount, self.currency)


def shown(figure: Decimal) -> Decimal:
    """A figure that is no amount, to six decimals."""
    return known(figure, SHARE_DECIMALS)


def shown_share(part: Decimal, whole: Decimal) -> Decimal | None:
    """Part ÷ whole to six decimals; None of nothing."""
    return shown(part / whole) if whole else None
