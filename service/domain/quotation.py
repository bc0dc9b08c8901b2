"""A quotation: what a customer is asked for a batch, computed from nothing but its request and its basis."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.bill import BillOfResources
from service.domain.cautions import Caution
from service.domain.exchange import ExchangeRates, UsedRates
from service.domain.money import Money
from service.domain.plausibility import Implausibility
from service.domain.rates import RateCard
from service.domain.resources import Overhead, Tax


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationBasis:
    """Everything outside the request that a quotation was computed from, stored with it.

    Attributes:
        as_of: the date of the rates.
        currency: the quotation's.
        card: the rates in force of all that the bills name.
        exchange: the exchange rates used.
        pools: the overhead pools, by resource.
        taxes: the taxes named, by code.
        bills: what each batch consumes, one for every product and quantity.
    """

    as_of: date
    currency: str
    card: RateCard
    exchange: ExchangeRates
    pools: Mapping[str, Overhead]
    taxes: Mapping[str, Tax]
    bills: tuple[BillOfResources, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedAdjustment:
    """An allowance or a charge as an amount.

    Attributes:
        reason: as the customer reads it.
        amount: positive, at the minor unit.
    """

    reason: str
    amount: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """What the workshop keeps; not for the customer's eyes.

    Attributes:
        full_cost: of what is quoted.
        variable_cost: of what is quoted.
        profit: net amount less full cost.
        contribution: net amount less variable cost.
        margin_share: profit ÷ net amount; none at a net amount of 0.
    """

    full_cost: Money
    variable_cost: Money
    profit: Money
    contribution: Money
    margin_share: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedQuantity:
    """A batch size and what it costs the customer.

    Attributes:
        quantity: pieces.
        unit_price: net, for a piece.
        unit_full_cost: of a piece; not for the customer's eyes.
        allowances: taken off.
        charges: added.
        net_amount: quantity × unit price − allowances + charges.
        kept: what the workshop keeps of it.
    """

    quantity: int
    unit_price: Money
    unit_full_cost: Money
    allowances: tuple[QuotedAdjustment, ...]
    charges: tuple[QuotedAdjustment, ...]
    net_amount: Money
    kept: Kept


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotedTax:
    """A tax as it stands on the quotation.

    Attributes:
        code: the workshop's code for it.
        name: as the customer reads it.
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
class QuotedLine:
    """A line of the quotation.

    Attributes:
        product: its code.
        description: what the customer reads.
        tax: what applies to it.
        quoted: the batch that is counted in the totals.
        quantity_breaks: the alternatives.
    """

    product: str
    description: str
    tax: QuotedTax
    quoted: QuotedQuantity
    quantity_breaks: tuple[QuotedQuantity, ...]


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
        line_total: sum of the lines' net amounts.
        allowance_total: allowances on the whole.
        charge_total: charges on the whole.
        tax_exclusive: line total − allowances + charges.
        tax_subtotals: by category and rate.
        tax_total: sum of the tax amounts.
        tax_inclusive: tax exclusive + tax.
        payable: what the customer would pay.
    """

    line_total: Money
    allowance_total: Money
    charge_total: Money
    tax_exclusive: Money
    tax_subtotals: tuple[QuotedTaxSubtotal, ...]
    tax_total: Money
    tax_inclusive: Money
    payable: Money


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
    """

    currency: str
    lines: tuple[QuotedLine, ...]
    allowances: tuple[QuotedAdjustment, ...]
    charges: tuple[QuotedAdjustment, ...]
    totals: QuotedTotals
    kept: Kept


@dataclass(frozen=True, slots=True, kw_only=True)
class Remarks:
    """What stands beside a quotation's figures.

    Attributes:
        warnings: what looks implausible; for the workshop.
        cautions: where the work or the product can hurt someone; for the customer too.
        exchange_rates: those that costs were converted with; for the workshop.
    """

    warnings: tuple[Implausibility, ...]
    cautions: tuple[Caution, ...]
    exchange_rates: tuple[UsedRates, ...] = ()
