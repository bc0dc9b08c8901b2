"""The costs of a batch on a quotation: its pieces, and the tools charged once."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from service.domain.costing.cost_sheet import CostLine, CostSheet, unit_costs
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.cost_classes import CostClass
from service.domain.pricing.aim import Aim
from service.domain.pricing.price import Pricing
from service.domain.quoting.quotation import Kept
from service.domain.quoting.request import QuotationLineRequest, ToolingCharge
from service.domain.selling.items import Item
from service.domain.selling.sale import Sale
from service.domain.values.exact import ZERO, exactly, share_of
from service.domain.values.message import Message, PlausibilityWarning
from service.domain.values.money import rounded
from service.domain.values.references import whole_of
from service.domain.values.shown import shown
from service.domain.values.unit_costs import UnitCosts

_ONCE = "the order buys a tool once"
ConvertAmount = Callable[[Decimal], Decimal]
"""Converts from the workshop's currency to the quotation's, unrounded."""


class LineCost(NamedTuple):
    """What a line costs in the workshop's currency: exact, and as its cost sheet shows it."""

    full: Decimal
    variable: Decimal
    shown_full: Decimal
    shown_variable: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchCosts:
    """The costs of a batch.

    Attributes:
        line: of everything, in the workshop's currency.
        piece: in the quotation's currency, without the tools charged once.
        tools: those charged once, in the workshop's currency.
    """

    line: LineCost
    piece: UnitCosts
    tools: tuple[CostLine, ...]


def supplied_resources(line: QuotationLineRequest) -> frozenset[str]:
    """The materials that the customer supplies for a line, as resources."""
    return frozenset(f"materials/{code}" for code in line.supplied_materials)


def payers_of_tools(bills: Sequence[BillOfResources | None]) -> dict[str, int]:
    """For each tool that lines buy the place of the line that pays for it: the first of those that buy it.

    Args:
        bills: of each line; None where it is no product.
    """
    payers: dict[str, int] = {}
    for place, bill in enumerate(bills):
        for tool in () if bill is None else bill.tools_bought:
            payers.setdefault(tool, place)
    return payers


def paid_by_others(payers: Mapping[str, int], place: int) -> frozenset[str]:
    """The tools that cost a line nothing, neither as a whole nor by wear, because another line pays for them."""
    return frozenset(tool for tool, payer in payers.items() if payer != place)


def tool_warnings(bills: Sequence[BillOfResources | None]) -> Iterator[PlausibilityWarning]:
    """A warning for each line with a tool that another line pays for."""
    payers = payers_of_tools(bills)
    for place, bill in enumerate(bills):
        if bill is None:
            continue
        paid = paid_by_others(payers, place)
        for line in bill.lines:
            tool = whole_of(line.resource)
            if tool in paid:
                text = Message(
                    "Line {line} bears nothing of the cost of {tool}: line {payer} pays for all of it.",
                    line=Decimal(place + 1),
                    tool=line.name,
                    payer=Decimal(payers[tool] + 1),
                )
                yield PlausibilityWarning(code="tool-once", product=bill.product, text=text, source=_ONCE)


def batch_costs(sheet: CostSheet, tooling: ToolingCharge, convert: ConvertAmount) -> BatchCosts:
    """The costs of a batch, from a sheet without what the customer supplies or another line pays for."""
    amounts = sheet.shown_per_batch()
    shown_full, shown_variable = sum(amounts, ZERO), sheet.variable_share_of(amounts)
    cost = LineCost(sheet.full_cost, sheet.variable_cost, shown_full, shown_variable)
    if tooling is not ToolingCharge.CHARGED_ONCE:
        return BatchCosts(line=cost, piece=unit_costs(sheet).converted(convert), tools=())
    tools = tuple(line for line in sheet.lines if line.cost_class is CostClass.TOOLING)
    pieces = replace(sheet, lines=tuple(line for line in sheet.lines if line.cost_class is not CostClass.TOOLING))
    return BatchCosts(line=cost, piece=unit_costs(pieces).converted(convert), tools=tools)


@exactly
def item_costs(item: Item, quantity: Decimal, currency: str, convert: ConvertAmount) -> BatchCosts:
    """The costs of a quantity of an item, whose own costs are in the workshop's currency."""
    full, variable = item.full_cost(quantity), item.cost_without_fixed(quantity)
    shown_full, shown_variable = (rounded(each, currency).amount for each in (full, variable))
    unit = UnitCosts(variable=variable / quantity, full=full / quantity, shown_variable=variable / quantity)
    return BatchCosts(
        line=LineCost(full, variable, shown_full, shown_variable), piece=unit.converted(convert), tools=()
    )


def asked_price(line: QuotationLineRequest, piece: UnitCosts, currency: str, sale: Sale) -> Decimal:
    """The price of the base quantity as it is displayed: the policy applied to the cost of so many pieces.

    Args:
        sale: with the line's tax, and whether prices contain it.

    Raises:
        UnreachableTargetError: no price meets the policy.
    """
    aim = Aim(line.policy, sale, currency, line.base_quantity)
    return Pricing(aim, aim.costs(piece)).asked().asked


@exactly
def kept(
    net: Decimal,
    costs: Iterable[LineCost],
    currency: str,
    convert: ConvertAmount,
    shipping: Decimal | None = None,
    *,
    is_home: bool,
) -> Kept:
    """The profit and contribution of a net amount, less the carriage if anything is shipped.

    In the workshop's own currency costs are those that the cost sheets show; in another they are converted unrounded.
    """
    full = variable = shown_full = shown_variable = ZERO
    for each in costs:
        full, variable = full + each.full, variable + each.variable
        shown_full, shown_variable = shown_full + each.shown_full, shown_variable + each.shown_variable
    if not is_home:
        shown_full, shown_variable = full, variable
    full_cost, variable_cost = rounded(convert(shown_full), currency), rounded(convert(shown_variable), currency)
    left = net - rounded(shipping or ZERO, currency).amount
    return shown(
        Kept,
        currency,
        full_cost=full_cost,
        variable_cost=variable_cost,
        profit=left - full_cost.amount,
        contribution=left - variable_cost.amount,
        margin_share=share_of(net - convert(full) - (shipping or ZERO), net),
        shipping_cost=shipping,
    )
