"""A quotation as plain text, its numbers and dates in the workshop's locale."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from textwrap import wrap

from service.documents.formats import formatted_date, formatted_number, formatted_price, formatted_share, isolated
from service.domain.cautions import Concern
from service.domain.exact import ZERO
from service.domain.money import Money, in_currency
from service.domain.quotation import QuotationFigures, QuotedAdjustment, QuotedLine, QuotedQuantity, Remarks
from service.domain.quotation_request import QuotationRequest

WIDTH = 78
_AMOUNT = 18


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationPaper:
    """What is written on a quotation.

    Attributes:
        seller: the workshop's name.
        seller_address: as it stands on a letter.
        reference: what the quotation is called.
        status: draft.
        quoted_on: its day.
        valid_until: the last day its prices hold.
        locale: for numbers and dates, a CLDR locale.
        request: what was asked for.
        figures: every figure; what the workshop keeps is not written.
        remarks: cautions that concern the product are written; what concerns the work is not.
    """

    seller: str
    seller_address: str
    reference: str
    status: str
    quoted_on: date
    valid_until: date
    locale: str
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks


def quotation_text(paper: QuotationPaper) -> str:
    """The quotation as the customer reads it, at most 78 characters wide where words allow."""
    return "\n".join(line.rstrip() for line in _Text(paper).lines()) + "\n"


class _Text:
    def __init__(self, paper: QuotationPaper) -> None:
        self.paper = paper

    def lines(self) -> Iterator[str]:
        yield from self._head()
        for number, line in enumerate(self.paper.figures.lines, start=1):
            yield from self._line(number, line)
        yield from self._totals()
        yield from self._foot()

    def _head(self) -> Iterator[str]:
        paper, customer = self.paper, self.paper.request.customer
        yield f"QUOTATION ({paper.status})".ljust(WIDTH - len(paper.reference)) + paper.reference
        yield "=" * WIDTH
        yield isolated(paper.seller)
        yield from map(isolated, paper.seller_address.splitlines())
        yield ""
        yield f"For    {isolated(customer.name)}"
        yield from (f"       {isolated(line)}" for line in (*customer.address.splitlines(), customer.contact) if line)
        if customer.reference:
            yield f"       Your reference: {isolated(customer.reference)}"
        if customer.tax_number:
            yield f"       Tax number: {isolated(customer.tax_number)}"
        yield f"Date   {formatted_date(paper.quoted_on, paper.locale)}"
        yield f"Valid  until {formatted_date(paper.valid_until, paper.locale)}"
        yield ""
        yield f"All prices in {paper.figures.currency}, without tax until the total."
        yield ""

    def _line(self, number: int, line: QuotedLine) -> Iterator[str]:
        yield "-" * WIDTH
        yield from wrap(f"{number}. {isolated(line.description)} ({line.product})", WIDTH, subsequent_indent="   ")
        yield from self._quantity(line.quoted)
        if line.quantity_breaks:
            yield "   Other quantities you may choose instead, not in the total below:"
            for other in sorted(line.quantity_breaks, key=lambda quoted: quoted.quantity):
                yield from self._quantity(other)

    def _quantity(self, quoted: QuotedQuantity) -> Iterator[str]:
        count = formatted_number(quoted.quantity, self.paper.locale)
        row = f"   {count} × {self._money(quoted.unit_price)}"
        adjusted = quoted.allowances or quoted.charges
        if not adjusted:
            yield _row(row, self._money(quoted.net_amount))
            return
        gross = quoted.net_amount.amount
        gross += sum((each.amount.amount for each in quoted.allowances), ZERO)
        gross -= sum((each.amount.amount for each in quoted.charges), ZERO)
        yield _row(row, self._money(in_currency(gross, quoted.net_amount.currency)))
        yield from self._adjustments(quoted.allowances, quoted.charges, "      ")
        yield _row("      together", self._money(quoted.net_amount))

    def _adjustments(
        self, allowances: Iterable[QuotedAdjustment], charges: Iterable[QuotedAdjustment], indent: str
    ) -> Iterator[str]:
        for word, sign, adjustments in (("less", -1, allowances), ("plus", 1, charges)):
            for each in adjustments:
                signed = in_currency(each.amount.amount * sign, each.amount.currency)
                yield _row(f"{indent}{word} {isolated(each.reason)}", self._money(signed))

    def _totals(self) -> Iterator[str]:
        totals, figures = self.paper.figures.totals, self.paper.figures
        yield "-" * WIDTH
        yield _row("Sum of the lines, without tax", self._money(totals.line_total))
        yield from self._adjustments(figures.allowances, figures.charges, "  ")
        yield _row("Total without tax", self._money(totals.tax_exclusive))
        for subtotal in totals.tax_subtotals:
            share = formatted_share(subtotal.rate_share, self.paper.locale)
            told = f"{subtotal.name}: {share} of {self._money(subtotal.taxable_amount)}"
            yield _row(f"  {told}", self._money(subtotal.tax_amount))
            if subtotal.exemption_reason:
                yield f"    {subtotal.exemption_reason}"
        yield "=" * WIDTH
        yield _row("TOTAL", self._money(totals.payable))
        yield "=" * WIDTH

    def _foot(self) -> Iterator[str]:
        request = self.paper.request
        for title, text in (("Delivery", request.delivery), ("Note", request.note)):
            if text:
                yield ""
                yield f"{title}:"
                for paragraph in text.splitlines():
                    yield from wrap(isolated(paragraph), WIDTH, initial_indent="  ", subsequent_indent="  ") or [""]
        cautions = [each for each in self.paper.remarks.cautions if each.concerns is Concern.PRODUCT]
        if cautions:
            yield ""
            yield "Please note:"
            for caution in cautions:
                told = f"- {caution.text} [{caution.source}]"
                yield from wrap(told, WIDTH, initial_indent="  ", subsequent_indent="    ")

    def _money(self, money: Money) -> str:
        return formatted_price(money, self.paper.locale)


def _row(text: str, amount: str) -> str:
    """Text on the left, an amount on the right; a long text goes on below, within its column."""
    indent = " " * (len(text) - len(text.lstrip()))
    head, *more = wrap(text.lstrip(), WIDTH - _AMOUNT - 1, initial_indent=indent, subsequent_indent=f"{indent}    ")
    return "\n".join([head.ljust(WIDTH - _AMOUNT) + amount.rjust(_AMOUNT), *more])
