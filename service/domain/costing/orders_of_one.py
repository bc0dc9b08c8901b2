"""Overhead by the order, where nobody has said how much is ordered together: warnings, never errors."""

from collections.abc import Iterator, Mapping
from decimal import Decimal

from service.domain.costing.cost_sheet import CostSheet
from service.domain.making.overheads import Overhead, OverheadBase
from service.domain.values.exact import readable
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning

_SHOWN_DECIMALS = 4


def orders_of_one(sheet: CostSheet, pools: Mapping[str, Overhead], ordered: Decimal) -> Iterator[PlausibilityWarning]:
    """A warning for each pool by the order that every order of a batch bears, however little is ordered.

    Args:
        pools: the overhead pools by resource.
        ordered: what an order is taken to have, since nobody has said so.
    """
    for line in sheet.lines:
        pool = pools.get(line.resource)
        if pool is not None and pool.base is OverheadBase.ORDER:
            text = Message(
                "Every order is taken to have {ordered} of it, and bears {amount} of {pool}. Give pieces_per_order if "
                "more is usually ordered together.",
                ordered=f"{readable(ordered, _SHOWN_DECIMALS):f} {sheet.unit.sign}".strip(),
                amount=readable(line.rate, _SHOWN_DECIMALS),
                pool=line.name,
            )
            yield PlausibilityWarning(code="order-of-one", product=sheet.product, text=text, source=COMMON_PRACTICE)
