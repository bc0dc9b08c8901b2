"""A quotation and its parts, as shown and stored."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.currency.exchange_rates import UsedRates
from service.domain.safety.cautions import Caution
from service.domain.scheduling.lead_time import LeadTime
from service.domain.selling.channels import Display
from service.domain.shipping.shipping_statement import ShippingStatement
from service.domain.values.exact import plain
from service.domain.values.message import PlausibilityWarning
from service.domain.values.money import Money
from service.domain.values.shown import ShownAs, ShownShare, UnitAmount
from service.domain.values.units import Unit


class AdjustmentKind(StrEnum):
    """What an allowance or a charge is for."""

    REQUESTED = "stated"
    TOOLING = "tooling"
    RUSH = "rush"
    MINIMUM_ORDER = "minimum_order"
    SHIPPING = "shipping"


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedTax:
    """A tax as it stands on the quotation.

    Attributes:
        code: the workshop's code for it.
        name: as the customer reads it; empty where the paper calls it by its category and rate.
        category: the EN 16931 category code.
        rate_share: its share of the net amount.
        exemption_reason: why none is due, where none is.
    """

    code: str
    name: str
    category: str
    rate_share: Decimal
    exemption_reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedAdjustment:
    """An allowance or a charge as an amount.

    Attributes:
        reason: as the customer reads it; of a tool its name. Where it is empty, what kind it is says enough.
        amount: positive, at the minor unit.
        kind: as stated in the request, or a tool charged once, a rush, what is missing to a minimum, shipping.
        tax: what it stands under (BT-95, BT-102 of EN 16931); null on a line, where it stands under the line's, and
            in quotations from before this was told.
    """

    reason: str
    amount: Money
    kind: AdjustmentKind = AdjustmentKind.REQUESTED
    tax: QuotedTax | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What the workshop keeps; not for the customer's eyes.

    Attributes:
        full_cost: of what is quoted.
        variable_cost: of what is quoted.
        profit: net amount less full cost and shipping cost.
        contribution: net amount less variable cost and shipping cost.
        margin_share: profit ÷ net amount; none at a net amount of 0.
        shipping_cost: what the shipping service asks, where it is shipped; of the whole quotation only.
    """

    full_cost: Money
    variable_cost: Money
    profit: Money
    contribution: Money
    margin_share: ShownShare | None
    shipping_cost: Money | None = None

    @property
    def asked(self) -> Money:
        """What is brought for its cost, without tax and carriage."""
        return self.profit + self.full_cost


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedQuantity:
    """A batch size and what it costs the customer.

    Attributes:
        quantity: pieces, or units of the product or the item.
        unit_price: for the base quantity; net, or with tax if the quotation's prices contain it.
        unit_full_cost: of a piece or unit; not for the customer's eyes.
        allowances: taken off; with tax if prices contain it.
        charges: added; likewise.
        net_amount: quantity × unit price ÷ base quantity, rounded, − allowances + charges; less the tax in it, if
            prices contain it.
        amount_with_tax: the same with that tax; null if prices do not contain it.
        kept: what the workshop keeps of it.
        saving_per_piece: what the base quantity, a piece or unit if it is 1, costs less than in the quoted batch;
            negative where it costs more, none for the quoted batch itself.
        saving_share: the same as a share of the quoted batch's price; none where that is 0.
        below_floor: what the quantity lacks to its policy's floor after all allowances, rounded up; null if nothing.
        base_quantity: pieces, or units, that the unit price is for (BT-149).
    """

    quantity: Decimal
    unit_price: Money
    unit_full_cost: UnitAmount
    allowances: tuple[QuotedAdjustment, ...]
    charges: tuple[QuotedAdjustment, ...]
    net_amount: Money
    kept: Kept
    saving_per_piece: Money | None = None
    saving_share: ShownShare | None = None
    below_floor: Money | None = None
    base_quantity: int = 1
    amount_with_tax: Money | None = None

    @property
    def amount(self) -> Money:
        """What the customer reads: with tax if prices contain it."""
        return self.net_amount if self.amount_with_tax is None else self.amount_with_tax


@dataclass(frozen=True, slots=True, kw_only=True)
class SuppliedMaterial:
    """What the customer brings for a batch.

    Attributes:
        material: its code.
        name: what it is called.
        quantity: that the customer brings: all that the batch takes, losses included, or what the request says.
        unit: of the quantity.
        needed: what the batch takes where the customer brings a part of it; null where it is all.
    """

    material: str
    name: str
    quantity: Annotated[Decimal, ShownAs(plain, 3)]
    unit: str
    needed: Annotated[Decimal, ShownAs(plain, 3)] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedLine:
    """A line of the quotation.

    Attributes:
        product: its code; null for an item that is none.
        description: what the customer reads.
        tax: what applies to it.
        quoted: the batch that is counted in the totals.
        quantity_breaks: the alternatives.
        supplied: what the customer brings for the batch that is counted.
        unit: of its quantities.
    """

    product: str | None
    description: str
    tax: QuotedTax
    quoted: QuotedQuantity
    quantity_breaks: tuple[QuotedQuantity, ...]
    supplied: tuple[SuppliedMaterial, ...] = ()
    unit: Unit = Unit.PIECE

    @property
    def quantities(self) -> tuple[QuotedQuantity, ...]:
        """The batch that is counted, then the alternatives."""
        return (self.quoted, *self.quantity_breaks)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedTaxSubtotal:
    """The tax of one category and rate.

    Attributes:
        category: the EN 16931 category code.
        rate_share: the rate.
        name: as the customer reads it; where several taxes share category and rate, the first one's.
        exemption_reason: why none is due, where none is.
        taxable_amount: lines − allowances + charges under it.
        tax_amount: rounded on that sum.
    """

    category: str
    rate_share: Decimal
    name: str
    exemption_reason: str
    taxable_amount: Money
    tax_amount: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedTotals:
    """The totals, as EN 16931's rules BR-CO-10 to BR-CO-17 say.

    Attributes:
        line_total: sum of the lines' amounts; with tax if prices contain it.
        allowance_total: allowances on the whole; likewise.
        charge_total: charges on the whole; likewise.
        tax_exclusive: line total − allowances + charges, without tax.
        tax_subtotals: by category and rate.
        tax_total: sum of the tax amounts.
        tax_inclusive: tax exclusive + tax.
        payable: what the customer would pay.
        rounding: what rounding for cash adds to the total with tax (BT-114); null if nothing.
    """

    line_total: Money
    allowance_total: Money
    charge_total: Money
    tax_exclusive: Money
    tax_subtotals: tuple[QuotedTaxSubtotal, ...]
    tax_total: Money
    tax_inclusive: Money
    payable: Money
    rounding: Money | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationFigures:
    """Every figure of a quotation.

    Attributes:
        currency: of every amount.
        lines: what is quoted.
        allowances: on the whole.
        charges: on the whole.
        totals: with tax.
        kept: what the workshop keeps of the whole.
        shipping: how what is counted would be shipped, if it is.
        display: whether prices, allowances and charges contain the tax. The totals as the standard says are net then
            too, but the tax is taken out of their sum.
    """

    currency: str
    lines: tuple[QuotedLine, ...]
    allowances: tuple[QuotedAdjustment, ...]
    charges: tuple[QuotedAdjustment, ...]
    totals: QuotedTotals
    kept: Kept
    shipping: ShippingStatement | None = None
    display: Display = Display.TAX_EXCLUSIVE


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarks:
    """What stands beside a quotation's figures.

    Attributes:
        warnings: what looks implausible; for the workshop.
        cautions: where the work or the product can hurt someone; for the customer too.
        exchange_rates: those that costs were converted with; for the workshop.
        lead_time: when what is counted in the totals could be ready; the day is for the customer too.
    """

    warnings: tuple[PlausibilityWarning, ...]
    cautions: tuple[Caution, ...]
    exchange_rates: tuple[UsedRates, ...] = ()
    lead_time: LeadTime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """What the customer took.

    Attributes:
        accepted_on: the day.
        quantities: of each line.
        reference: the customer's order number.
        note: anything worth knowing.
        totals: of these quantities.
        kept: what the workshop keeps of them.
    """

    accepted_on: date
    quantities: tuple[Decimal, ...]
    reference: str
    note: str
    totals: QuotedTotals
    kept: Kept
