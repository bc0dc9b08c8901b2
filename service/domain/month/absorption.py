"""What the plan's pieces absorb of the fixed costs, and how their profits become the month's, as shown."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated

from service.domain.month.fixed_costs import Absorption
from service.domain.month.rounded_month import RoundedMonth
from service.domain.values.exact import ZERO, half_up, snapped
from service.domain.values.message import Message, RateWarning
from service.domain.values.money import Money, minor_unit_decimals, rounded
from service.domain.values.shown import SumOf, shown

_GRADES = "labour-grades/"


@dataclass(frozen=True, slots=True, kw_only=True)
class AbsorptionStatement:
    """What the month bears of a resource, and what the planned pieces absorb of it by their cost sheets.

    A rate spreads a cost over the capacity that it is stated for, so a poor month makes no piece dearer; what it does
    not absorb is told by itself.

    Source: normal capacity and unallocated overheads. IAS 2 Inventories, IASB, 2003, paragraph 13.

    Attributes:
        resource: a machine, a labour grade paid by the month, a tariff or a fixed pool, for instance "machines/press".
        name: what the workshop calls it.
        incurred: what the month bears; 0 if it is left out.
        absorbed: by the planned pieces.
        under_absorbed: incurred less absorbed; negative if more is absorbed than incurred.
        is_left_out: whether the plan leaves it out.
    """

    resource: str
    name: str
    incurred: Money
    absorbed: Money
    under_absorbed: Annotated[Money, SumOf(("incurred",), ("absorbed",))]
    is_left_out: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ReconciliationStatement:
    """From the profits of the products at full cost to the profit of the month.

    Attributes:
        profit_of_products: the sum of the lines' month_profit.
        under_absorbed: of all resources that are under-absorbed; taken off.
        over_absorbed: of all resources that are over-absorbed; added.
        left_out: what the pieces absorb of resources that the plan leaves out; added.
        other_fixed_costs: those that no rate spreads over pieces; taken off.
        profit: of the month.
    """

    profit_of_products: Money
    under_absorbed: Money
    over_absorbed: Money
    left_out: Money
    other_fixed_costs: Money
    profit: Annotated[
        Money, SumOf(("profit_of_products", "over_absorbed", "left_out"), ("under_absorbed", "other_fixed_costs"))
    ]


def absorption_statements(month: RoundedMonth) -> Iterator[AbsorptionStatement]:
    """Every resource with a fixed cost that the month bears or that the planned pieces absorb."""
    for each, incurred, absorbed in zip(month.absorptions, month.incurred, month.absorbed_of_each, strict=True):
        yield shown(AbsorptionStatement, month.currency, each, incurred=incurred, absorbed=absorbed)


def reconciliation(month: RoundedMonth) -> ReconciliationStatement:
    """From the profits of the products to that of the month, in the amounts that are shown."""
    under, over, left_out = ZERO, ZERO, ZERO
    for each, incurred, absorbed in zip(month.absorptions, month.incurred, month.absorbed_of_each, strict=True):
        left_out += absorbed if each.is_left_out else ZERO
        under += ZERO if each.is_left_out else max(ZERO, incurred - absorbed)
        over += ZERO if each.is_left_out else max(ZERO, absorbed - incurred)
    return shown(
        ReconciliationStatement,
        month.currency,
        profit_of_products=month.contribution - sum(month.absorbed, ZERO),
        under_absorbed=under,
        over_absorbed=over,
        left_out=left_out,
        other_fixed_costs=month.fixed_cost - sum(month.incurred, ZERO),
    )


def paid_idle(month: RoundedMonth) -> Money | None:
    """Pay by the month for time that the plan does not take; None if the month bears no such pay."""
    grades = [each for each in absorption_statements(month) if _is_paid(each)]
    idle = (max(ZERO, each.under_absorbed.amount) for each in grades)
    return rounded(sum(idle, ZERO), month.currency) if grades else None


def more_than_paid(absorptions: Iterable[Absorption], currency: str) -> Iterator[RateWarning]:
    """A warning of the grades of whose paid time the plan takes more than there is, if any, and of what that costs."""
    found = [each for each in absorptions if _is_paid(each) and snapped(each.absorbed) > snapped(each.incurred)]
    if found:
        text = Message(
            "The plan takes more hours than the month pays for of: {names}. Overtime, {amount} {currency} at the "
            "ordinary rate, is not in these figures; plan less, or enter it under other_fixed_costs.",
            names=tuple(each.name for each in found),
            amount=half_up(sum((each.absorbed - each.incurred for each in found), ZERO), minor_unit_decimals(currency)),
            currency=currency,
        )
        resources = tuple(each.resource for each in found)
        yield RateWarning(code="more-than-paid", resources=resources, text=text, source="the hours that rates pay for")


def _is_paid(each: Absorption | AbsorptionStatement) -> bool:
    return each.resource.startswith(_GRADES) and not each.is_left_out
