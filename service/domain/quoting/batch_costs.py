"""The costs of a batch on a quotation: what its line bears, its pieces, and the tools charged once."""

from collections.abc import Callable, Collection, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from service.domain.costing.cost_sheet import CostLine, CostSheet, unit_costs
from service.domain.making.bill_of_resources import BillOfResources, ResourceLine
from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import Overhead
from service.domain.making.resources import DISPOSED, RECLAIMED
from service.domain.pricing.aim import Aim
from service.domain.pricing.price import Pricing
from service.domain.quoting.items import Home, Item
from service.domain.quoting.quotation import Kept
from service.domain.quoting.request import QuotationLineRequest, ToolingCharge
from service.domain.selling.sale import Sale
from service.domain.values.exact import ONE, ZERO, exactly, share_of
from service.domain.values.message import Message, PlausibilityWarning
from service.domain.values.money import rounded
from service.domain.values.references import WHOLE, part_of, whole_of
from service.domain.values.shown import shown
from service.domain.values.unit_costs import UnitCosts

_ONCE = "the order buys a tool once"
_POOL_ONCE = "a pool spread over orders, of which a quotation is one"
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


def needed_of(bill: BillOfResources, material: str) -> Decimal | None:
    """What a batch takes of a material, losses included; None if it takes none."""
    part = part_of(f"materials/{material}", WHOLE)
    return next((line.quantity for line in bill.lines if line.resource == part), None)


@exactly
def not_borne(
    bill: BillOfResources,
    supplies: Mapping[str, Decimal | None],
    paid_elsewhere: Collection[str],
    rated: Container[str],
    *,
    leaves_waste: bool = True,
) -> dict[str, Decimal]:
    """What of the parts of its bill a line does not bear: what another line pays for, and what the customer supplies.

    Of a material that the customer supplies neither the supplied quantity is costed nor its share of the regrind
    credited; what is lost of it for good stays the workshop's to get rid of, at the disposal cost of its rate.

    Args:
        bill: of the line; of a supplied material that it does not take, or not as much of, there is no more to deduct.
        supplies: materials by code, and how much of each; None for all.
        paid_elsewhere: resources that another line pays for.
        rated: resources with a rate; without one nobody has said what getting rid of the customer's waste costs.
        leaves_waste: whether that is so; if not, nothing of a supplied material is borne (`QuotationBasis.edition`).
    """
    if not supplies and not paid_elsewhere:
        return {}
    whole = {*paid_elsewhere, *(() if leaves_waste else (f"materials/{each}" for each in supplies))}
    found = {line.resource: line.quantity for line in bill.lines if whole_of(line.resource) in whole}
    for material, quantity in supplies.items() if leaves_waste else ():
        resource, needed = f"materials/{material}", needed_of(bill, material)
        if needed is None:  # refused when it is quoted; the product may have changed since
            continue
        found[resource] = needed if quantity is None else min(quantity, needed)
        share = ONE if quantity is None else min(ONE, quantity / needed)
        for issue in (each for each in bill.issues if each.item == resource):
            regrind = part_of(f"materials/{issue.reclaimed_as or material}", RECLAIMED)
            found[regrind] = found.get(regrind, ZERO) + issue.reclaimed * share
            if quantity is None and resource not in rated:
                waste = part_of(resource, DISPOSED)
                found[waste] = found.get(waste, ZERO) + issue.disposed
    return found


def paid_once(bill: BillOfResources, pools_of_orders: Collection[str]) -> tuple[str, ...]:
    """What an order pays once, however many lines take it: tools that are bought, and pools spread over orders."""
    pools = (line.resource for line in bill.lines if line.resource in pools_of_orders)
    return (*bill.tools_bought, *pools)


def payers_of(bills: Sequence[BillOfResources | None], pools_of_orders: Collection[str]) -> dict[str, int]:
    """For each thing that the order pays once the place of the line that pays for it: the first that takes it.

    Args:
        bills: of each line; None where it has none.
        pools_of_orders: the pools that the order bears once, as resources.
    """
    payers: dict[str, int] = {}
    for place, bill in enumerate(bills):
        for resource in () if bill is None else paid_once(bill, pools_of_orders):
            payers.setdefault(resource, place)
    return payers


def paid_by_others(payers: Mapping[str, int], place: int) -> frozenset[str]:
    """What costs a line nothing, a tool neither as a whole nor by wear, because another line pays for it."""
    return frozenset(resource for resource, payer in payers.items() if payer != place)


def once_warnings(
    bills: Sequence[BillOfResources | None], pools_of_orders: Collection[str]
) -> Iterator[PlausibilityWarning]:
    """A warning for each line with a tool that another line pays for, and for each pool that one line bears alone."""
    payers = payers_of(bills, pools_of_orders)
    told = set[str]()
    for place, bill in enumerate(bills):
        if bill is None:
            continue
        paid = paid_by_others(payers, place)
        for line in bill.lines:
            resource = whole_of(line.resource)
            if resource not in paid or resource in told:
                continue
            payer = Decimal(payers[resource] + 1)
            if resource in pools_of_orders:
                told.add(resource)
                yield _borne_once(line.name, payer)
            else:
                text = Message(
                    "Line {line} bears nothing of the cost of {tool}: line {payer} pays for all of it.",
                    line=Decimal(place + 1),
                    tool=line.name,
                    payer=payer,
                )
                yield PlausibilityWarning(code="tool-once", product=bill.product, text=text, source=_ONCE)


def _borne_once(pool: str, payer: Decimal) -> PlausibilityWarning:
    text = Message("{pool} is borne once by the whole order: line {payer} bears all of it.", pool=pool, payer=payer)
    return PlausibilityWarning(code="pool-once", product=None, text=text, source=_POOL_ONCE)


def warnings_of_order(of_order: BillOfResources, rated: Container[str]) -> Iterator[PlausibilityWarning]:
    """A warning for each pool that the first line bears where no line has a bill, beside its stated cost."""
    return (_borne_once(line.name, ONE) for line in of_order.lines if line.resource in rated)


def bill_of_order(pools: Mapping[str, Overhead], pools_of_orders: Collection[str]) -> BillOfResources:
    """What an order takes where no line has a bill: once each pool that is spread over all orders."""
    borne = {resource: pool for resource, pool in pools.items() if resource in pools_of_orders and not pool.products}
    lines = tuple(
        ResourceLine(
            resource=resource,
            name=pool.name,
            unit=pool.base.traits.unit,
            cost_class=CostClass.OVERHEAD,
            variable=pool.variable,
            quantity=ONE,
        )
        for resource, pool in borne.items()
    )
    return BillOfResources(
        product="", name="", quantity=ONE, lines=lines, value_pools=(), pieces_made={}, steps=(), issues=()
    )


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
def item_costs(item: Item, quantity: Decimal, home: Home, convert: ConvertAmount, order: CostSheet) -> BatchCosts:
    """The costs of a quantity of an item without a bill.

    Args:
        home: converts into the workshop's currency.
        order: what the item bears of what the order takes once; its currency is the workshop's.
    """
    full, variable = item.full_cost(quantity, home), item.cost_without_fixed(quantity, home)
    full, variable = full + order.full_cost, variable + order.variable_cost
    shown_full, shown_variable = (rounded(each, order.currency).amount for each in (full, variable))
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
