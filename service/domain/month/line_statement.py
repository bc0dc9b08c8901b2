"""The lines of a month's plan, as shown."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated

from service.domain.month.month import contribution_per_hour, ranks
from service.domain.month.rounded_month import RoundedMonth
from service.domain.month.volume_statement import VolumeStatement
from service.domain.values.exact import ZERO, share_of
from service.domain.values.money import Money
from service.domain.values.shown import Figure, Quantity, SumOf, UnitAmount, shown
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthLineStatement:
    """One product of the plan.

    A piece is one unit of a product that is not counted in pieces.

    Attributes:
        product: its code.
        listing: code of the listing it is sold by, if any.
        name: its name.
        unit: what its pieces are counted in.
        standard_batch: good pieces in a batch.
        pieces: planned.
        batches: planned pieces ÷ pieces in a batch; an average, which need not be whole.
        pieces_per_composite_unit: pieces in one set of the mix.
        price: what is asked for the base quantity, in the currency of sale.
        base_quantity: pieces that the price is for.
        net_price: of a piece without tax, in the workshop's currency.
        proceeds: what a piece brings in after fees, conversion and shipping.
        variable_cost: of a piece of its batch.
        tooling: a piece's share of the tools charged to its batch as a whole, part of the variable cost.
        contribution: proceeds less variable cost.
        contribution_margin_share: contribution ÷ net price; null where the price is 0.
        sales: of the planned pieces, without tax.
        month_contribution: of the planned pieces.
        month_absorbed: fixed cost that they bear by their cost sheet.
        month_profit: contribution less what they absorb: their profit at full cost.
        alone_break_even: the volume that breaks even if only this product is sold; null if no volume does.
        alone_target: the volume that then reaches the target profit; null if no volume does, or no target is named.
        contribution_per_hour: for an hour of the bottleneck; null if it takes none of its time, or there is none.
        rank: the order in which to make the products if the bottleneck lacks time; null without a bottleneck.
    """

    product: str
    listing: str | None
    name: str
    unit: Unit
    standard_batch: Quantity
    pieces: Quantity
    batches: Figure
    pieces_per_composite_unit: int
    price: Money
    base_quantity: int
    net_price: UnitAmount
    proceeds: UnitAmount
    variable_cost: UnitAmount
    tooling: UnitAmount
    contribution: Annotated[Money, SumOf(("proceeds",), ("variable_cost",))]
    contribution_margin_share: Figure | None
    sales: Money
    month_contribution: Money
    month_absorbed: Money
    month_profit: Annotated[Money, SumOf(("month_contribution",), ("month_absorbed",))]
    alone_break_even: VolumeStatement | None
    alone_target: VolumeStatement | None
    contribution_per_hour: UnitAmount | None
    rank: int | None


def line_statements(month: RoundedMonth) -> Iterator[MonthLineStatement]:
    """Every line of the plan, in its order."""
    of = month.month
    for line, (product, rank) in enumerate(zip(of.products, ranks(of), strict=True)):
        sale = product.sale
        yield shown(
            MonthLineStatement,
            of.currency,
            product,
            sale,
            batches=sale.pieces / product.standard_batch,
            pieces_per_composite_unit=month.mix.per_unit[line],
            variable_cost=product.shown_variable_cost,
            contribution_margin_share=share_of(sale.contribution, sale.net_price),
            sales=month.sales[line],
            month_contribution=month.contributions[line],
            month_absorbed=month.absorbed[line],
            alone_break_even=of.volume(of.alone(line), ZERO),
            alone_target=of.volume(of.alone(line), of.target_profit),
            contribution_per_hour=contribution_per_hour(of, line),
            rank=rank,
        )
