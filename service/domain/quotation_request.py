"""What a customer asks for, before anything is priced."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.declared import Bounds, Code, Length, Line, Name, Paragraph, Pieces, Positive, Text, declared
from service.domain.errors import InvalidValueError
from service.domain.money import is_at_minor_unit, minor_unit_decimals
from service.domain.pricing_policy import Display, PricingPolicy

ShareOfAmount = Annotated[Decimal, Bounds(above=0, at_most=1)]


@declared
class Customer:
    """Who the quotation is for.

    Attributes:
        name: of the person or the company.
        address: as it stands on a letter, lines separated by line breaks.
        contact: the person to write to.
        email: where to send it.
        tax_number: the customer's tax registration, where tax law asks for it.
        reference: the customer's own reference.
    """

    name: Name
    address: Paragraph = ""
    contact: Line = ""
    email: Annotated[str, Text(max_length=254, min_length=0)] = ""
    tax_number: Line = ""
    reference: Line = ""


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
        reason: as the customer reads it.
        amount: in the quotation's currency; either this or share.
        share: of the sum of the lines with the same tax category and rate.
        tax: code of the tax it stands under.
    """

    tax: Code


@declared
class QuotationLineRequest:
    """A product somebody asks for.

    Attributes:
        product: its code.
        quantity: pieces that are quoted and counted in the totals.
        quantity_breaks: other batch sizes, each priced as an alternative.
        tax: code of the tax.
        policy: how it is priced; display must be tax_exclusive, for a quotation states net prices.
        description: what the customer reads; the product's name if empty.
        allowances: taken off the line.
        charges: added to the line.
    """

    product: Code
    quantity: Pieces
    quantity_breaks: Annotated[tuple[Pieces, ...], Length(at_most=20)] = ()
    tax: Code
    policy: PricingPolicy
    description: Line = ""
    allowances: Annotated[tuple[LineAdjustment, ...], Length(at_most=20)] = ()
    charges: Annotated[tuple[LineAdjustment, ...], Length(at_most=20)] = ()

    def problems(self) -> Iterator[InvalidValueError]:
        if len({self.quantity, *self.quantity_breaks}) <= len(self.quantity_breaks):
            yield InvalidValueError(("quantity_breaks",), "must differ from each other and from the quantity")
        if self.policy.display is Display.TAX_INCLUSIVE:
            yield InvalidValueError(("policy", "display"), "must be tax_exclusive: a quotation states net prices")

    @property
    def quantities(self) -> tuple[int, ...]:
        """Every batch size to be priced, the quoted one first."""
        return (self.quantity, *self.quantity_breaks)


@declared
class QuotationRequest:
    """What is to be quoted.

    Attributes:
        customer: who asks.
        lines: what for.
        quoted_on: the day of the quotation and of its rates; today in the workshop's time zone if left out.
        valid_until: the last day the prices hold; 30 days after the quotation if left out.
        delivery: when and how, as the customer reads it.
        note: anything else the customer should read.
        allowances: on the whole quotation.
        charges: on the whole quotation, such as freight.
    """

    customer: Customer
    lines: Annotated[tuple[QuotationLineRequest, ...], Length(at_least=1, at_most=200)]
    quoted_on: date | None = None
    valid_until: date | None = None
    delivery: Paragraph = ""
    note: Paragraph = ""
    allowances: Annotated[tuple[QuotationAdjustment, ...], Length(at_most=20)] = ()
    charges: Annotated[tuple[QuotationAdjustment, ...], Length(at_most=20)] = ()

    def problems(self) -> Iterator[InvalidValueError]:
        if self.quoted_on and self.valid_until and self.valid_until < self.quoted_on:
            yield InvalidValueError(("valid_until",), "must not be before the day of the quotation")

    def taxes_named(self) -> Iterator[tuple[tuple[str | int, ...], str]]:
        """Every tax the request names, and where."""
        for index, line in enumerate(self.lines):
            yield ("lines", index, "tax"), line.tax
        for member in ("allowances", "charges"):
            for index, adjustment in enumerate(getattr(self, member)):
                yield (member, index, "tax"), adjustment.tax


def currency_problems(request: QuotationRequest, currency: str) -> Iterator[InvalidValueError]:
    """Amounts and price steps that are finer than the currency's minor unit."""

    def adjustment_problems(holder: QuotationLineRequest | QuotationRequest) -> Iterator[tuple[str | int, ...]]:
        for member in ("allowances", "charges"):
            for place, each in enumerate(getattr(holder, member)):
                if each.amount is not None and not is_at_minor_unit(each.amount, currency):
                    yield member, place, "amount"

    paths = list(adjustment_problems(request))
    for index, line in enumerate(request.lines):
        paths += [("lines", index, *path) for path in adjustment_problems(line)]
        for problem in line.policy.grid_problems(currency):
            yield InvalidValueError(("lines", index, "policy", *problem.path), problem.reason)
    for path in paths:
        yield InvalidValueError(
            path, f"must have at most {minor_unit_decimals(currency)} decimals: {currency} has no smaller unit"
        )
