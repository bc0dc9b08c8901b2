"""What is costed or sold at 0 or below, which is seldom meant, and what is left out: warnings, never errors."""

from collections.abc import Container, Iterator, Mapping
from decimal import Decimal

from service.domain.costing.cost_sheet import CostSheet
from service.domain.costing.rate_jump import named
from service.domain.costing.rate_table import is_optional
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.cost_classes import CostClass
from service.domain.making.resources import ENTIRE_TOOL
from service.domain.values.exact import half_up, readable
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning
from service.domain.values.money import minor_unit_decimals
from service.domain.values.references import part_in
from service.domain.values.units import Unit

_SHOWN_DECIMALS = 4


def zero_lines(sheet: CostSheet) -> Iterator[PlausibilityWarning]:
    """A warning for each line whose rate is 0, apart from parts that terms may leave out."""
    for line in sheet.lines:
        if not line.rate and not is_optional(part_in(line.resource)):
            yield _free(line.name, sheet.product)


def unusual_rates(name: str, rates: Mapping[str, Decimal]) -> Iterator[PlausibilityWarning]:
    """A warning for each part of a resource whose unit rate is 0, or below, apart from parts that terms may leave out.

    Parts that terms may leave out are credits: they are below 0 by their nature.
    """
    for part, rate in rates.items():
        if is_optional(part) or part == ENTIRE_TOOL:
            continue
        if not rate:
            yield _free(named(name, part))
        elif rate < 0:
            text = Message(
                "The rate of {resource} is below 0: {amount} is earned with each unit that is used. Leave the minus "
                "out if the workshop pays for it and is not paid to take it.",
                resource=named(name, part),
                amount=readable(-rate, _SHOWN_DECIMALS),
            )
            yield PlausibilityWarning(code="earning-rate", product=None, text=text, source=COMMON_PRACTICE)


def _free(name: str, product: str | None = None) -> PlausibilityWarning:
    text = Message("{resource} costs nothing, because its rate is 0. Enter its rate, unless it is free.", resource=name)
    return PlausibilityWarning(code="zero-line", product=product, text=text, source=COMMON_PRACTICE)


def pools_left_out(bill: BillOfResources, rated: Container[str]) -> Iterator[PlausibilityWarning]:
    """A warning for each overhead pool that has no rate on the date, so that the cost is too low without it."""
    pools = {line.resource: line.name for line in bill.lines if line.cost_class is CostClass.OVERHEAD}
    pools |= {pool.resource: pool.name for pool in bill.value_pools}
    for resource, name in pools.items():
        if resource not in rated:
            text = Message(
                "{pool} is not in this cost, because it has no rate on this day. It counts from its first rate on: "
                "enter one that begins earlier if it should count before.",
                pool=name,
            )
            yield PlausibilityWarning(code="pool-left-out", product=bill.product, text=text, source=COMMON_PRACTICE)


def pools_below_zero(sheet: CostSheet) -> Iterator[PlausibilityWarning]:
    """A warning for each pool that is a share of a value below 0, such as material that the workshop is paid to take.

    The pool then lowers the cost, as if the rent were less because gate fees are earned.
    """
    for line in sheet.lines:
        if line.cost_class is CostClass.OVERHEAD and line.amount < 0:
            text = Message(
                "{pool} lowers this cost, because it is a share of a value that is below 0 here: {value} {currency}. "
                "Spread it over hours, orders or setups instead.",
                pool=line.name,
                value=half_up(line.quantity, minor_unit_decimals(sheet.currency)),
                currency=sheet.currency,
            )
            yield PlausibilityWarning(code="pool-below-zero", product=sheet.product, text=text, source=COMMON_PRACTICE)


def zero_price(product: str | None, unit_price: Decimal, unit: Unit = Unit.PIECE) -> Iterator[PlausibilityWarning]:
    """A warning if the price of a piece, or of another unit, is 0."""
    if not unit_price:
        text = Message("A piece is priced at 0. Check the operations, rates and policy before you offer it.")
        if unit is not Unit.PIECE:
            text = Message(
                "The price per {unit} is 0. Check the operations, rates and policy before you offer it.", unit=unit.sign
            )
        yield PlausibilityWarning(code="zero-price", product=product, text=text, source=COMMON_PRACTICE)
