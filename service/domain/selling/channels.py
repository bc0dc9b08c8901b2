"""Sales channels and their terms."""

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated

from service.domain.selling.fees import Fee
from service.domain.values.declared import Distinct, Length, Line, Name, NotNegative, ProperShare, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning
from service.domain.values.money import Currency, DatedCurrency


class Display(StrEnum):
    """Whether displayed prices contain the tax."""

    TAX_EXCLUSIVE = "tax_exclusive"
    TAX_INCLUSIVE = "tax_inclusive"


MAX_FEES = 50


class Payer(StrEnum):
    """Who pays for shipping a piece."""

    SELLER = "seller"
    BUYER = "buyer"


@declared
class Channel:
    """A place where single pieces are sold: a marketplace, the workshop's own shop, a stall.

    Attributes:
        name: what the workshop calls it.
        display: whether the prices it shows contain the tax.
        payout_currency: the currency of its payouts; the currency of sale if left out. If the two differ, it takes its
            conversion spread.
        note: anything worth knowing.
    """

    name: Name
    display: Display = Display.TAX_INCLUSIVE
    payout_currency: Currency | None = None
    note: Line = ""


_NAMES_ONCE = Distinct(by="name", reason="two fees have the same name")


@declared
class ChannelRate:
    """The terms of a channel from a day on.

    Attributes:
        currency: of every amount in these terms; needed if there is one.
        fees: each with its own base.
        conversion_spread_share: the share of the converted amount that the channel keeps when it pays out in another
            currency than that of the sale.
        shipping_paid_by: seller: the price contains it; buyer: it is charged in addition, or nothing is sent because
            the buyer comes for it.
        shipping_charge: charged to the buyer, with or without tax as the channel shows its prices; the cost of shipping
            if left out.
    """

    currency: DatedCurrency | None = None
    fees: Annotated[tuple[Fee, ...], Length(at_most=MAX_FEES), _NAMES_ONCE] = ()
    conversion_spread_share: ProperShare = ZERO
    shipping_paid_by: Payer = Payer.SELLER
    shipping_charge: NotNegative | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.currency is None and self.has_amounts:
            yield InvalidValueError(("currency",), "is required: the terms hold amounts")
        if self.shipping_paid_by is Payer.SELLER and self.shipping_charge is not None:
            yield InvalidValueError(("shipping_charge",), "has no meaning where the seller pays; leave it out")
        if sum((fee.lasting_share for fee in self.fees), ZERO) >= 1:
            yield InvalidValueError(("fees",), "together they take all of the price, or more")

    @property
    def has_amounts(self) -> bool:
        """Whether the terms have amounts, which are in their currency."""
        return self.shipping_charge is not None or any(fee.has_amounts for fee in self.fees)

    def unpaid_shipping(self, channel: Channel, product: str) -> Iterator[PlausibilityWarning]:
        """A warning about a product that is sold through the channel without a shipping service, if the seller pays."""
        if self.shipping_paid_by is Payer.SELLER:
            text = Message(
                "On {channel} the seller pays for shipping, and no shipping service is named: this price pays for "
                "none. Name shipping_service and shipping_zone; or, if nothing is sent, enter shipping_paid_by as "
                "buyer in the rate of the channel.",
                channel=channel.name,
            )
            yield PlausibilityWarning(code="no-shipping", product=product, text=text, source=COMMON_PRACTICE)
