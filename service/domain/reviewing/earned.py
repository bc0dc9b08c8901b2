"""What batches earned that were made for quotations."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated

from service.domain.values.exact import ONE, ZERO, exactly, half_up, readable, snapped
from service.domain.values.message import Fact, Message
from service.domain.values.money import Money, minor_unit_decimals
from service.domain.values.shown import Quantity, SumOf, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductOfOrder:
    """What an order is for a product: all its lines of the product together, in the workshop's currency.

    Attributes:
        quotation: its number.
        ordered: units, as they were accepted.
        made: good units of all batches that were made for it.
        batches: how many these are.
        net_amount: what the customer pays for them, without tax and carriage; with their part of what is taken off or
            added on the whole.
        net_once: of this, what is paid once, however much is made: the charge for a tool.
        quoted_cost: their full cost as quoted.
    """

    quotation: str
    ordered: Decimal
    made: Decimal
    batches: int
    net_amount: Decimal
    net_once: Decimal
    quoted_cost: Decimal

    @property
    def share_taken(self) -> Decimal:
        """The share of what was made that the order takes; the rest stays in stock at what it cost."""
        return min(ONE, self.ordered / self.made) if self.made else ONE

    def share_of(self, good_units: Decimal) -> Decimal:
        """The share of a batch in what was made for the order; all alike if nothing good came out of any."""
        return good_units / self.made if self.made else ONE / self.batches


@dataclass(frozen=True, slots=True, kw_only=True)
class BorneCost:
    """What a batch costs the order that it was made for.

    Attributes:
        taken: what it took, without what the two others are about.
        once: what the order pays once, however much is made: tools that it buys, pools spread over orders.
        brought: what the quantities cost less that the customer brought, and the batch used; 0 or less.
        is_otherwise: whether the order has its tools or materials another way than the product's own bill.
        is_estimated: whether nobody counted what it took.
    """

    taken: Decimal
    once: Decimal
    brought: Decimal
    is_otherwise: bool
    is_estimated: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Earned:
    """What one batch, or several, earned; exact.

    Attributes:
        quotation: the number of the quotation; empty for several batches.
        currency: of every amount.
        batches: how many were made for quotations.
        good_units: of them.
        units_sold: of these, those that the orders take.
        net_amount: what these bring.
        cost: what they cost to make; of a batch without a good unit all of it.
        quoted_profit: what they were to leave.
        is_otherwise: whether an order has its tools or materials another way than the product's own bill.
        is_estimated: whether nobody counted what any of them took.
    """

    quotation: str
    currency: str
    batches: int
    good_units: Decimal
    units_sold: Decimal
    net_amount: Decimal
    cost: Decimal
    quoted_profit: Decimal
    is_otherwise: bool
    is_estimated: bool


@exactly
def earned_by_batch(order: ProductOfOrder, good_units: Decimal, cost: BorneCost, currency: str) -> Earned:
    """What a batch earned that was made for an order.

    net amount = (net amount − net once) × units sold ÷ ordered + net once × share;
    cost = what it took × share taken + what the customer brought + what the order pays once × share;
    its share is that of its good units in all that were made for the order. Where more was made than ordered, the order
    takes the same share of every batch, but all that its customer brought and all that is paid once.
    """
    units, share = good_units * order.share_taken, order.share_of(good_units)
    sold = units / order.ordered
    return Earned(
        quotation=order.quotation,
        currency=currency,
        batches=1,
        good_units=good_units,
        units_sold=units,
        net_amount=(order.net_amount - order.net_once) * sold + (order.net_once * share if order.made else ZERO),
        cost=cost.taken * order.share_taken + cost.brought + cost.once * share,
        quoted_profit=(order.net_amount - order.quoted_cost) * sold,
        is_otherwise=cost.is_otherwise,
        is_estimated=cost.is_estimated,
    )


@exactly
def earned_together(sold: Iterable[Earned]) -> Earned | None:
    """What several batches earned; None if none was made for a quotation."""
    found = list(sold)
    if not found:
        return None
    return Earned(
        quotation="",
        currency=found[0].currency,
        batches=len(found),
        good_units=sum((each.good_units for each in found), ZERO),
        units_sold=sum((each.units_sold for each in found), ZERO),
        net_amount=sum((each.net_amount for each in found), ZERO),
        cost=sum((each.cost for each in found), ZERO),
        quoted_profit=sum((each.quoted_profit for each in found), ZERO),
        is_otherwise=any(each.is_otherwise for each in found),
        is_estimated=all(each.is_estimated for each in found),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class EarnedStatement:
    """What batches earned that were made for quotations, as those say; nobody tells here whether they are paid.

    Attributes:
        quotation: the number of the quotation; null for several batches.
        batches: how many were made for quotations.
        units_sold: of their good units, those that the orders take; null for several products.
        net_amount: what these bring, without tax and carriage.
        cost: what they cost to make, without what customers supplied.
        profit: what they leave at full cost; a loss if negative.
        quoted_profit: what they were to leave.
        text: all of it in words.
    """

    quotation: str | None
    batches: int
    units_sold: Quantity | None
    net_amount: Money
    cost: Money
    profit: Annotated[Money, SumOf(("net_amount",), ("cost",))]
    quoted_profit: Money
    text: Message


@exactly
def earned_statement(earned: Earned, unit: str | None) -> EarnedStatement:
    """The same as shown.

    Args:
        unit: what stands behind a number of units of the product in a sentence; None for several products.
    """
    return shown(
        EarnedStatement,
        earned.currency,
        earned,
        quotation=earned.quotation or None,
        units_sold=None if unit is None else earned.units_sold,
        text=_in_a_sentence(earned, unit or ""),
    )


def _in_a_sentence(earned: Earned, unit: str) -> Message:
    decimals = minor_unit_decimals(earned.currency)
    net, cost = half_up(earned.net_amount, decimals), half_up(earned.cost, decimals)
    facts: dict[str, Fact] = {
        "net": net,
        "cost": cost,
        "amount": abs(net - cost),
        "quoted": half_up(earned.quoted_profit, decimals),
        "currency": earned.currency,
    }
    if earned.quotation and not earned.good_units:
        return Message(
            "Made for {quotation}, and nothing good came out: it brings nothing and cost {cost} {currency}",
            quotation=earned.quotation,
            **facts,
        )
    told = _told(earned, facts, unit)
    if earned.is_estimated:
        told = Message("{told}, as estimated", told=told)
    if earned.is_otherwise:
        told = Message("{told}, with tools and supplied material as quoted", told=told)
    if net < cost:
        return Message("{told}, which loses {amount}; as quoted it would be {quoted}", told=told, **facts)
    return Message("{told}, which leaves {amount}; as quoted it would be {quoted}", told=told, **facts)


def _told(earned: Earned, facts: Mapping[str, Fact], unit: str) -> Message:
    if not earned.quotation and earned.batches > 1:
        return Message(
            "{batches} batches were made for quotations: they bring {net} {currency} and cost {cost}",
            batches=Decimal(earned.batches),
            **facts,
        )
    if not earned.quotation:
        return Message("One batch was made for a quotation: it brings {net} {currency} and cost {cost}", **facts)
    if snapped(earned.units_sold) == earned.good_units:
        return Message(
            "Made for {quotation}: it brings {net} {currency} and cost {cost}", quotation=earned.quotation, **facts
        )
    return Message(
        "Made for {quotation}, which takes {sold} of {good} {unit}: they bring {net} {currency} and cost {cost}",
        quotation=earned.quotation,
        sold=readable(earned.units_sold, 3),
        good=earned.good_units,
        unit=unit,
        **facts,
    )
