"""Allowances and charges as requested, before they are computed."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated

from service.domain.values.declared import Bounds, Code, Line, Name, Positive, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.references import Names

ShareOfAmount = Annotated[Decimal, Bounds(above=0, at_most=1)]


@declared
class LineAdjustment:
    """An allowance or a charge on a line: an amount, or a share of quantity × price.

    Attributes:
        reason: as the customer reads it.
        amount: in the quotation's currency; either this or share.
        share: of quantity × price.
    """

    reason: Name
    amount: Positive | None = None
    share: ShareOfAmount | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if (self.amount is None) == (self.share is None):
            yield InvalidValueError(("amount",), "give either an amount or a share")


@declared
class QuotationAdjustment(LineAdjustment):
    """An allowance or a charge on the whole quotation: an amount, or a share of the lines under its tax.

    Attributes:
        share: of the sum of the lines with the same tax category and rate.
        tax: code of the tax it stands under.
    """

    tax: Annotated[Code, Names("taxes")]


@declared
class RushCharge(QuotationAdjustment):
    """A charge for making an order before the orders accepted earlier.

    Attributes:
        reason: as the customer reads it; words of the customer's language if empty.
    """

    reason: Line = ""


@declared
class MinimumOrder:
    """The least that an order comes to; a smaller one is charged the difference.

    Attributes:
        amount: in the quotation's currency, without tax unless its prices contain it; held against the lines less the
            allowances on the whole.
        tax: code of the tax that the difference stands under.
        reason: as the customer reads it; words of the customer's language if empty.
    """

    amount: Positive
    tax: Annotated[Code, Names("taxes")]
    reason: Line = ""
