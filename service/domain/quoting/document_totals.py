"""Totals of a commercial document as EN 16931 prescribes them."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.selling.taxes import TaxCategory
from service.domain.values.exact import ONE, ZERO, exactly, half_up
from service.domain.values.money import minor_unit_decimals


@dataclass(frozen=True, slots=True, kw_only=True)
class AppliedTax:
    """An EN 16931 tax category with its rate on a date."""

    category: TaxCategory
    rate_share: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentLine:
    """A line of the document; allowances and charges are rounded amounts.

    Attributes:
        quantity: pieces; negative for a return.
        net_price: of the base quantity, without tax.
        base_quantity: pieces that the price is for.
    """

    quantity: Decimal
    net_price: Decimal
    base_quantity: Decimal = Decimal(1)
    allowances: tuple[Decimal, ...] = ()
    charges: tuple[Decimal, ...] = ()
    tax: AppliedTax


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentAdjustment:
    """An allowance or a charge on the whole document: a positive, rounded amount."""

    amount: Decimal
    tax: AppliedTax


@dataclass(frozen=True, slots=True, kw_only=True)
class TaxSubtotal:
    """The tax of one category and rate.

    Attributes:
        taxable_amount: lines − allowances + charges under it, without the tax where they contain it.
        tax_amount: taxable amount × rate, rounded; where amounts contain the tax, their sum × rate ÷ (1 + rate).
    """

    tax: AppliedTax
    taxable_amount: Decimal
    tax_amount: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class DocumentTotals:
    """The totals of a document, every amount at the minor unit.

    Attributes:
        line_nets: net amount of each line (BT-131).
        line_total: their sum (BT-106, rule BR-CO-10).
        allowance_total: allowances on the document (BT-107, BR-CO-11).
        charge_total: charges on the document (BT-108, BR-CO-12).
        tax_exclusive: line total − allowances + charges (BT-109, BR-CO-13).
        tax_subtotals: by category and rate, in the order they first appear (BG-23).
        tax_total: their sum (BT-110, BR-CO-14).
        tax_inclusive: tax exclusive + tax (BT-112, BR-CO-15).
        prepaid: already paid (BT-113).
        payable: tax inclusive − prepaid (BT-115, BR-CO-16), before it is rounded for cash.
    """

    line_nets: tuple[Decimal, ...]
    line_total: Decimal
    allowance_total: Decimal
    charge_total: Decimal
    tax_exclusive: Decimal
    tax_subtotals: tuple[TaxSubtotal, ...]
    tax_total: Decimal
    tax_inclusive: Decimal
    prepaid: Decimal
    payable: Decimal


def line_gross(line: DocumentLine, currency: str) -> Decimal:
    """Quantity × price ÷ base quantity, rounded."""
    return half_up(line.net_price * line.quantity / line.base_quantity, minor_unit_decimals(currency))


@exactly
def line_net(line: DocumentLine, currency: str) -> Decimal:
    """Quantity × price, rounded, less the line's allowances, plus its charges (BT-131)."""
    return line_gross(line, currency) - sum(line.allowances, ZERO) + sum(line.charges, ZERO)


@exactly
def contained_tax(amount: Decimal, rate_share: Decimal, currency: str) -> Decimal:
    """The tax in an amount that contains it:  amount × rate ÷ (1 + rate), rounded."""
    return half_up(amount * rate_share / (ONE + rate_share), minor_unit_decimals(currency))


def _tax_subtotals(
    signed: Iterable[tuple[AppliedTax, Decimal]], currency: str, *, contains_tax: bool
) -> Iterator[TaxSubtotal]:
    sums: dict[AppliedTax, Decimal] = {}
    for tax, amount in signed:
        sums[tax] = sums.get(tax, ZERO) + amount
    for tax, amount in sums.items():
        if contains_tax:
            contained = contained_tax(amount, tax.rate_share, currency)
            yield TaxSubtotal(tax=tax, taxable_amount=amount - contained, tax_amount=contained)
        else:
            added = half_up(amount * tax.rate_share, minor_unit_decimals(currency))
            yield TaxSubtotal(tax=tax, taxable_amount=amount, tax_amount=added)


@exactly
def document_totals(
    lines: Iterable[DocumentLine],
    *,
    currency: str,
    allowances: Iterable[DocumentAdjustment] = (),
    charges: Iterable[DocumentAdjustment] = (),
    prepaid: Decimal = ZERO,
    contains_tax: bool = False,
) -> DocumentTotals:
    """The totals; the tax of each category and rate is rounded half up once, on the sum of its amounts.

    Args:
        contains_tax: whether the prices of the lines, their allowances and charges, and those of the document contain
            the tax. Then the total with tax is their sum, to the cent, and the total without tax what the taxes leave
            of it; the standard has no such document, and its rule for the tax (BR-CO-17) may be missed by a cent.

    Source: EN 16931-1:2017, business rules BR-CO-10 to BR-CO-17.
    """
    document_lines, taken_off, added = list(lines), list(allowances), list(charges)
    nets = tuple(line_net(line, currency) for line in document_lines)
    signed = [
        *((line.tax, net) for line, net in zip(document_lines, nets, strict=True)),
        *((allowance.tax, -allowance.amount) for allowance in taken_off),
        *((charge.tax, charge.amount) for charge in added),
    ]
    subtotals = tuple(_tax_subtotals(signed, currency, contains_tax=contains_tax))
    line_total = sum(nets, ZERO)
    allowance_total = sum((each.amount for each in taken_off), ZERO)
    charge_total = sum((each.amount for each in added), ZERO)
    tax_exclusive = sum((subtotal.taxable_amount for subtotal in subtotals), ZERO)
    tax_total = sum((subtotal.tax_amount for subtotal in subtotals), ZERO)
    return DocumentTotals(
        line_nets=nets,
        line_total=line_total,
        allowance_total=allowance_total,
        charge_total=charge_total,
        tax_exclusive=tax_exclusive,
        tax_subtotals=subtotals,
        tax_total=tax_total,
        tax_inclusive=tax_exclusive + tax_total,
        prepaid=prepaid,
        payable=tax_exclusive + tax_total - prepaid,
    )
