"""The lines of a month's plan, as they are shown."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.month.break_even import alone
from service.domain.month.month import PlannedProduct, contribution_per_hour, ranks
from service.domain.month.rounded_month import RoundedMonth, shown, shown_share
from service.domain.month.volume_statement import VolumeStatement, volume_statement
from service.domain.values.exact import ZERO
from service.domain.values.money import Money, in_currency


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthLineStatement:
    """One product of the plan.

    Attributes:
        product: its code.
        listing: code of the listing it is sold by, if any.
        name: its name.
        standard_batch: good pieces in a batch.
        pieces: planned.
        batches: that is; an average, which need not be whole.
        pieces_per_composite_unit: in a set of the mix.
        price: what is asked for a piece, in the currency of sale.
        net_price: of a piece without tax, in the workshop's currency.
        proceeds: what a piece brings in after fees, conversion and shipping.
        variable_cost: of a piece of its batch.
        tooling: a piece's part of the entire tools that its batch takes.
        contribution: proceeds less variable cost and tooling.
        contribution_margin_share: contribution ÷ net price; null where the price is 0.
        sales: of the planned pieces, without tax.
        month_contribution: of the planned pieces.
        alone_break_even: how much of it would break even if it bore the month alone; null where no volume does.
        alone_target: how much of it would leave the target profit then; null where no volume does, or none is named.
        contribution_per_hour: of the bottleneck; null where it takes none of it, or there is no bottleneck.
        rank: which is made first where the bottleneck has too little time for all; null where there is none.
    """

    product: str
    listing: str | None
    name: str
    standard_batch: int
    pieces: int
    batches: Decimal
    pieces_per_composite_unit: int
    price: Money
    net_price: Money
    proceeds: Money
    variable_cost: Money
    tooling: Money
    contribution: Money
    contribution_margin_share: Decimal | None
    sales: Money
    month_contribution: Money
    alone_break_even: VolumeStatement | None
    alone_target: VolumeStatement | None
    contribution_per_hour: Money | None
    rank: int | None


def line_statements(month: RoundedMonth) -> Iterator[MonthLineStatement]:
    """Every line of the plan, in its order."""
    for line, (product, rank) in enumerate(zip(month.month.products, ranks(month.month), strict=True)):
        yield _line_statement(month, line, product, rank)


def _line_statement(month: RoundedMonth, line: int, product: PlannedProduct, rank: int | None) -> MonthLineStatement:
    sale, per_hour = product.sale, contribution_per_hour(month.month, line)
    proceeds, tooling = month.per_piece(sale.proceeds), month.per_piece(sale.tooling)
    variable = month.per_piece(product.shown_variable_cost)
    contribution = proceeds.amount - variable.amount - tooling.amount
    return MonthLineStatement(
        product=product.product,
        listing=product.listing,
        name=product.name,
        standard_batch=product.standard_batch,
        pieces=sale.pieces,
        batches=shown(Decimal(sale.pieces) / product.standard_batch),
        pieces_per_composite_unit=month.mix.per_unit[line],
        price=product.price,
        net_price=month.per_piece(sale.net_price),
        proceeds=proceeds,
        variable_cost=variable,
        tooling=tooling,
        contribution=in_currency(contribution, month.currency),
        contribution_margin_share=shown_share(sale.contribution, sale.net_price),
        sales=month.money(month.sales[line]),
        month_contribution=month.money(month.contributions[line]),
        alone_break_even=volume_statement(month, alone(sale), ZERO),
        alone_target=volume_statement(month, alone(sale), month.month.target_profit),
        contribution_per_hour=None if per_hour is None else month.per_piece(per_hour),
        rank=rank,
    )
