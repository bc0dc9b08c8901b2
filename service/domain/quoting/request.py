"""Requests for quotations."""

from collections.abc import Iterator, Mapping
from dataclasses import field, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.making.products import Tooling
from service.domain.pricing.policy import PricingPolicy
from service.domain.quoting.adjustments import LineAdjustment, MinimumOrder, QuotationAdjustment, RushCharge
from service.domain.quoting.items import Item
from service.domain.quoting.quantity_breaks import AutomaticBreaks
from service.domain.selling.base_quantity import BaseQuantity, base_quantity_problems
from service.domain.selling.channels import Display
from service.domain.values.declared import (
    Bounds,
    Code,
    Distinct,
    Length,
    Line,
    Name,
    NotNegative,
    Paragraph,
    Positive,
    Text,
    declared,
)
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO
from service.domain.values.forms import LocaleCode
from service.domain.values.money import DatedCurrency
from service.domain.values.references import Names, Reference, references_in
from service.domain.values.units import SoldQuantity, Unit

MAX_BREAKS = 20


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


class ToolingCharge(StrEnum):
    """How a line charges the moulds, dies and fixtures that it takes."""

    AS_PRODUCT = "as_product"
    PER_SHOT = "per_shot"
    THIS_ORDER = "this_order"
    CHARGED_ONCE = "charged_once"

    @property
    def tooling(self) -> Tooling | None:
        """How the batch is charged for its tools; None if each operation decides."""
        match self:
            case ToolingCharge.AS_PRODUCT:
                return None
            case ToolingCharge.PER_SHOT:
                return Tooling.PER_SHOT
        return Tooling.ENTIRE


@declared
class QuotationLineRequest:
    """Something somebody asks for: a product, or an item that is none.

    Attributes:
        product: its code.
        item: a service, a bought part, or anything else with a cost of its own, in place of a product; supplied
            materials are of products only, tools and automatic breaks of products and work.
        quantity: what is quoted and counted in the totals, in the unit of the product or the item: whole pieces, or
            kilograms and hours to three decimals.
        quantity_breaks: other batch sizes, each priced as an alternative.
        automatic_breaks: further batch sizes, found where the price of a piece, or unit, has fallen enough.
        tooling: as_product: as its operations say; per_shot: for the wear only; this_order: the price of the pieces
            pays for the entire tool; charged_once: the tool is charged beside the pieces, at its cost.
        supplied_materials: codes of materials that the customer supplies, all that a batch takes. They cost nothing,
            and what is reground of them brings no credit; their waste is the workshop's to get rid of.
        supplied_quantities: how much the customer supplies of other materials, by code, in the material's unit, for any
            batch size of the line: 300 kg where 805 kg are needed. The rest is the workshop's to buy.
        tax: code of the tax.
        policy: how it is priced; whether prices contain the tax is the quotation's to say, so leave display out.
        base_quantity: pieces, or units, that the price is for: 1, 12, 100 or 1000. Prices of the policy, its steps and
            endings too, are for so many; a profit per piece, or unit, is not.
        description: what the customer reads; the name of product or item if empty.
        allowances: taken off the line.
        charges: added to the line.
    """

    product: Annotated[Code, Names("products")] | None = None
    item: Item | None = None
    quantity: SoldQuantity
    quantity_breaks: Annotated[tuple[SoldQuantity, ...], Length(at_most=MAX_BREAKS)] = ()
    automatic_breaks: AutomaticBreaks | None = None
    tooling: ToolingCharge = ToolingCharge.AS_PRODUCT
    supplied_materials: Annotated[tuple[Code, ...], Length(at_most=20)] = ()
    supplied_quantities: Annotated[Mapping[Code, Positive], Length(at_most=20)] = field(default_factory=dict)
    tax: Annotated[Code, Names("taxes")]
    policy: PricingPolicy
    base_quantity: BaseQuantity = 1
    description: Line = ""
    allowances: Annotated[tuple[LineAdjustment, ...], Length(at_most=20)] = ()
    charges: Annotated[tuple[LineAdjustment, ...], Length(at_most=20)] = ()

    def problems(self) -> Iterator[InvalidValueError]:
        if (self.product is None) == (self.item is None):
            yield InvalidValueError(("product",), "name either a product or, without one, an item")
        if self.item is not None:
            yield from self.unit_problems(self.item.unit)
            yield from self._of_products_only(self.item)
        if len({self.quantity, *self.quantity_breaks}) <= len(self.quantity_breaks):
            yield InvalidValueError(("quantity_breaks",), "must differ from each other and from the quantity")
        yield from Distinct().problems(self.supplied_materials, ("supplied_materials",))
        for code in self.supplied_quantities:
            if code in self.supplied_materials:
                reason = "is supplied as a whole by supplied_materials; name it in one of them"
                yield InvalidValueError(("supplied_quantities", code), reason)
        if self.automatic_breaks is not None and self.automatic_breaks.up_to <= self.quantity:
            yield InvalidValueError(("automatic_breaks", "up_to"), "must be more than the quantity")
        yield from base_quantity_problems(self.base_quantity)

    def unit_problems(self, unit: Unit) -> Iterator[InvalidValueError]:
        """Its quantities that are none of the unit, which of a product only the catalogue knows."""
        breaks = ((("quantity_breaks", place), each) for place, each in enumerate(self.quantity_breaks))
        for path, quantity in ((("quantity",), self.quantity), *breaks):
            if (problem := unit.problem(quantity)) is not None:
                yield InvalidValueError(path, problem)

    def _of_products_only(self, item: Item) -> Iterator[InvalidValueError]:
        for name in ("supplied_materials", "supplied_quantities"):
            if getattr(self, name):
                yield InvalidValueError((name,), "is of products only; leave it out for an item")
        if item.work is None:
            for name, is_used in (
                ("automatic_breaks", self.automatic_breaks is not None),
                ("tooling", self.tooling is not ToolingCharge.AS_PRODUCT),
            ):
                if is_used:
                    yield InvalidValueError((name,), "is of products and work only; leave it out for this item")
        elif self.tooling is ToolingCharge.PER_SHOT:
            yield InvalidValueError(("tooling",), "work has no shots that a tool wears by; choose another")

    def code_of_bill(self, place: int) -> str | None:
        """The code on its bill: the product's, or of work one that no product has; None if it has no bill.

        Args:
            place: of the line in the request.
        """
        if self.item is None or self.item.work is None:
            return self.product
        return f"line {place + 1}"

    @property
    def supplies(self) -> dict[str, Decimal | None]:
        """What the customer supplies, by material: so much of it, None for all."""
        return {**dict.fromkeys(self.supplied_materials), **self.supplied_quantities}

    @property
    def quantities(self) -> tuple[Decimal, ...]:
        """All requested batch sizes, the quoted one first."""
        return (self.quantity, *self.quantity_breaks)


@declared
class PaymentTerms:
    """When the customer pays.

    Attributes:
        due_days: days from the invoice to the last day of payment; left to the note if left out.
        advance_share: of the total, paid with the order.
        note: anything else about it, as the customer reads it.
    """

    due_days: Annotated[int, Bounds(at_least=0, at_most=365)] | None = None
    advance_share: Annotated[Decimal, Bounds(at_least=0, at_most=1)] = ZERO
    note: Paragraph = ""


NO_PAYMENT_TERMS = PaymentTerms()


@declared
class ShippingRequest:
    """How what is quoted is shipped. Each product is packed by itself, by the service's boxes and pallets.

    Items and products by the hour are not shipped.

    Attributes:
        service: code of the shipping service.
        zone: one of its zones.
        tax: code of the tax that its charge stands under.
        markup_share: added to the price of the service, for packing and handling.
        is_charged: whether the customer is charged for it; if not, it reduces the workshop's profit.
    """

    service: Annotated[Code, Names("shipping-services")]
    zone: Code
    tax: Annotated[Code, Names("taxes")]
    markup_share: NotNegative = ZERO
    is_charged: bool = True

    def problems(self) -> Iterator[InvalidValueError]:
        if self.markup_share and not self.is_charged:
            yield InvalidValueError(("markup_share",), "must be 0 where the customer is not charged")


@declared
class QuotationRequest:
    """What is to be quoted.

    Attributes:
        customer: who asks.
        lines: what for.
        currency: of every price and amount; the workshop's if left out.
        display: whether prices contain the tax, as a consumer reads them: those of the policies, amounts of allowances
            and charges, and the minimum order.
        cash: whether it is paid in cash: the total is rounded to the currency's smallest coin, if that is worth more
            than the minor unit.
        locale: a CLDR locale such as de_AT, for the words, numbers and dates of the document; the workshop's if left
            out.
        quoted_on: the day of the quotation and of its rates; today in the workshop's time zone if left out.
        valid_until: the last day the prices hold; 30 days after the quotation if left out.
        needed_by: the day the customer wants it ready; the workshop is warned where that is too early.
        delivery: when and how, as the customer reads it.
        payment: when the customer pays.
        note: anything else the customer should read.
        allowances: on the whole quotation.
        charges: on the whole quotation, such as freight.
        rush_charge: for making it before the orders accepted earlier; with a rush charge it is made first.
        minimum_order: the least that the order comes to.
        shipping: how it is shipped; collected, or as the delivery says, if left out.
    """

    customer: Customer
    lines: Annotated[tuple[QuotationLineRequest, ...], Length(at_least=1, at_most=200)]
    currency: DatedCurrency | None = None
    display: Display = Display.TAX_EXCLUSIVE
    cash: bool = False
    locale: LocaleCode | None = None
    quoted_on: date | None = None
    valid_until: date | None = None
    needed_by: date | None = None
    delivery: Paragraph = ""
    payment: PaymentTerms = NO_PAYMENT_TERMS
    note: Paragraph = ""
    allowances: Annotated[tuple[QuotationAdjustment, ...], Length(at_most=20)] = ()
    charges: Annotated[tuple[QuotationAdjustment, ...], Length(at_most=20)] = ()
    rush_charge: RushCharge | None = None
    minimum_order: MinimumOrder | None = None
    shipping: ShippingRequest | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.quoted_on and self.valid_until and self.valid_until < self.quoted_on:
            yield InvalidValueError(("valid_until",), "must not be before the day of the quotation")
        for place, line in enumerate(self.lines):
            if line.policy.display not in (None, self.display):
                reason = f"must be {self.display}, as the display of the quotation; leave it out"
                yield InvalidValueError(("lines", place, "policy", "display"), reason)

    def named(self) -> list[Reference]:
        """References to products, then to what works, then to taxes, then to shipping services."""
        order = ("products", "machines", "labour-grades", "tools", "taxes", "shipping-services")
        return sorted(references_in(self), key=lambda each: order.index(each[1].collection))

    def supplied_for(self, product: str) -> frozenset[str]:
        """The materials that the customer supplies for a product, all of it or a part."""
        return frozenset(each for line in self.lines if line.product == product for each in line.supplies)

    def taxes(self) -> tuple[str, ...]:
        """The codes of its taxes, each once, in order."""
        return tuple(dict.fromkeys(thing.code for _, thing in self.named() if thing.collection == "taxes"))

    def choosing(self, quantities: tuple[Decimal, ...]) -> "QuotationRequest":
        """The request for one batch size of each line only."""
        lines = tuple(
            replace(line, quantity=quantity, quantity_breaks=(), automatic_breaks=None)
            for line, quantity in zip(self.lines, quantities, strict=True)
        )
        return replace(self, lines=lines)
