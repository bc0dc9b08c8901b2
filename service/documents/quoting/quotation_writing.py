"""The figures and names of a quotation in its customer's language."""

from collections.abc import Iterable, Iterator
from datetime import date
from decimal import Decimal

from service.documents.quoting.quotation_paper import QuotationPaper
from service.documents.writing.formats import (
    formatted_date,
    formatted_number,
    formatted_price,
    formatted_quantity,
    formatted_rate,
    isolated,
)
from service.documents.writing.labels import Labels, labels_for
from service.documents.writing.paper import Entry
from service.domain.quoting.quotation import AdjustmentKind, QuotedAdjustment, QuotedTax, QuotedTaxSubtotal
from service.domain.selling.channels import Display
from service.domain.selling.taxes import TAXED_CATEGORIES, TaxCategory
from service.domain.values.exact import whole_up
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit


class QuotationWriting:
    """Formats the figures of a quotation in its locale."""

    def __init__(self, paper: QuotationPaper) -> None:
        self.paper, self.request, self.figures = paper, paper.request, paper.figures
        self.locale = paper.letterhead.locale
        self.words = labels_for(self.locale)
        self.contains_tax = self.figures.display is Display.TAX_INCLUSIVE

    def day(self, day: date) -> str:
        return formatted_date(day, self.locale)

    def money(self, money: Money) -> str:
        return formatted_price(money, self.locale)

    def measured(self, quantity: Decimal, unit: str) -> str:
        """A quantity with its unit; of things that nobody can divide, as many as are needed."""
        if unit == "piece":
            pieces = int(whole_up(quantity))
            number = formatted_number(pieces, self.locale)
            return self.words.several("{number} piece", "{number} pieces", pieces, number=number)
        number = formatted_quantity(quantity, self.locale)
        return f"{number}\u00a0{Unit(unit).sign}"

    def adjustments(
        self, allowances: Iterable[QuotedAdjustment], charges: Iterable[QuotedAdjustment]
    ) -> Iterator[Entry]:
        """Allowances, then charges, each with its reason."""
        for sign, adjustments in ((-1, allowances), (1, charges)):
            for each in adjustments:
                signed = in_currency(each.amount.amount * sign, each.amount.currency)
                note = "" if each.tax is None else self.taxed(each.tax)
                yield Entry(text=self._reason(each, sign), figure=self.money(signed), note=note)

    def taxed(self, tax: QuotedTax) -> str:
        """The tax of a line or an adjustment, if the quotation has several."""
        if len(self.figures.totals.tax_subtotals) < 2:  # noqa: PLR2004 - several
            return ""
        return self.tax_and_rate(tax)

    def tax_and_rate(self, tax: QuotedTax | QuotedTaxSubtotal) -> str:
        """The name of a tax with its rate, if its category has one."""
        name = tax_name(tax, self.words)
        return f"{name}, {formatted_rate(tax.rate_share, self.locale)}" if tax.name and is_taxed(tax) else name

    def tax_total(self, tax: QuotedTaxSubtotal) -> Entry:
        """The tax of one category and rate; without a percentage where none is due, but with the reason."""
        name, amount = tax_name(tax, self.words), self.money(tax.taxable_amount)
        if not is_taxed(tax):
            told = self.words("{tax}: {amount}", tax=name, amount=amount)
        elif tax.name:
            rate = formatted_rate(tax.rate_share, self.locale)
            told = self.words("{tax}: {rate} of {amount}", tax=name, rate=rate, amount=amount)
        else:
            told = self.words("{tax} on {amount}", tax=name, amount=amount)
        return Entry(text=told, figure=self.money(tax.tax_amount), note=isolated(tax.exemption_reason))

    def _reason(self, each: QuotedAdjustment, sign: int) -> str:
        words, reason = self.words, reason_for(each, self.words)
        if each.kind is not AdjustmentKind.REQUESTED:
            return reason
        return words("less {reason}", reason=reason) if sign < 0 else words("plus {reason}", reason=reason)


def is_taxed(tax: QuotedTax | QuotedTaxSubtotal) -> bool:
    """Whether its category has a rate, be it 0."""
    return tax.category in {*TAXED_CATEGORIES, TaxCategory.ZERO}


def tax_name(tax: QuotedTax | QuotedTaxSubtotal, words: Labels) -> str:
    """What the workshop calls a tax, or else its category and rate in the customer's language."""
    if tax.name:
        return isolated(tax.name)
    rate = formatted_rate(tax.rate_share, words.locale)
    names = {
        TaxCategory.EXEMPT: words("Exempt from VAT"),
        TaxCategory.REVERSE_CHARGE: words("VAT is due from the customer (reverse charge)"),
        TaxCategory.INTRA_COMMUNITY: words("VAT-free supply within the EU"),
        TaxCategory.EXPORT: words("VAT-free export"),
        TaxCategory.OUT_OF_SCOPE: words("Not subject to VAT"),
        TaxCategory.CANARY_ISLANDS: f"IGIC {rate}",
        TaxCategory.CEUTA_MELILLA: f"IPSI {rate}",
    }
    return names.get(TaxCategory(tax.category), words("VAT {rate}", rate=rate))


def reason_for(each: QuotedAdjustment, words: Labels) -> str:
    """Why something is taken off or added: as the request says, or as its kind is called."""
    reason = isolated(each.reason)
    match each.kind:
        case AdjustmentKind.TOOLING:
            return words("Tool, charged once: {tool}", tool=reason)
        case AdjustmentKind.RUSH:
            return reason or words("For making it at short notice")
        case AdjustmentKind.MINIMUM_ORDER:
            return reason or words("Difference to the minimum order")
        case AdjustmentKind.SHIPPING:
            return reason or words("Shipping")
    return reason


def paragraphs_of(text: str) -> tuple[str, ...]:
    """The lines of a text that are not blank."""
    return tuple(isolated(line) for line in text.splitlines() if line.strip())
