"""A quotation in the customer's language, before layout."""

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal

from service.documents.quoting.quotation_paper import LineView, QuantityView, QuotationPaper, QuotationView
from service.documents.quoting.quotation_sections import sections_of
from service.documents.quoting.quotation_writing import QuotationWriting, paragraphs_of
from service.documents.writing.formats import (
    formatted_measure,
    formatted_number,
    formatted_per,
    formatted_share,
    isolated,
    left_to_right,
)
from service.documents.writing.paper import Entry, country_name, country_of, head_of
from service.domain.quoting.life import Status
from service.domain.quoting.quotation import Acceptance, QuotedLine, QuotedQuantity
from service.domain.safety.cautions import Concern
from service.domain.values.exact import ZERO, exactly, whole_down
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit

_SAVING_DECIMALS = 3


@exactly
def quotation_view(paper: QuotationPaper, locale: str | None = None) -> QuotationView:
    """The quotation in the words, numbers and dates of its own locale, or of another."""
    letterhead = replace(paper.letterhead, locale=locale or paper.letterhead.locale)
    return _Making(replace(paper, letterhead=letterhead)).view()


class _Making(QuotationWriting):
    def view(self) -> QuotationView:
        paper, words = self.paper, self.words
        day = paper.issued_on or paper.quoted_on
        in_pieces = all(line.unit is Unit.PIECE for line in self.figures.lines)
        is_of_one = in_pieces and all(line.quoted.base_quantity == 1 for line in self.figures.lines)
        price = words("Price a piece") if is_of_one else words("Price")
        counted = words("Pieces") if in_pieces else words("Quantity")
        reference = paper.reference
        return QuotationView(
            **head_of(self.locale, words.language, day),
            title=f"{words('Quotation')} {reference}",
            word=words("Quotation"),
            reference=reference,
            state=self._state(),
            is_binding=paper.status in (Status.ISSUED, Status.ACCEPTED, Status.COMPLETED),
            seller=isolated(paper.letterhead.seller),
            seller_address=tuple(self._address()),
            seller_contact=tuple(self._contact()),
            logo=paper.logo or "",
            foot=tuple(self._foot()),
            customer=tuple(self._customer()),
            facts=tuple(self._facts()),
            intro=self._intro(),
            columns=(words("Description"), counted, price, words("Amount")),
            lines=tuple(self._line(number, line) for number, line in enumerate(self.figures.lines, start=1)),
            totals=tuple(self._totals()),
            total=Entry(text=words("Total"), figure=self.money(self.figures.totals.payable)),
            contained=tuple(self._contained()),
            sections=tuple(sections_of(self)),
            cautions_title=words("Please note"),
            cautions=tuple(self._cautions()),
        )

    def _intro(self) -> str:
        words, currency = self.words, self.figures.currency
        if self.contains_tax:
            return words("All prices in {currency}, with tax.", currency=currency)
        return words("All prices in {currency}, without tax until the total.", currency=currency)

    def _state(self) -> str:
        paper, words = self.paper, self.words
        match paper.status:
            case Status.DRAFT:
                return words("Draft. This is not an offer yet.")
            case Status.EXPIRED:
                return words("Expired: the prices held until {day}.", day=self.day(paper.valid_until))
            case Status.DECLINED:
                return words("Declined. This offer holds no longer.")
            case Status.SUPERSEDED:
                return words("Superseded by {reference}. This offer holds no longer.", reference=paper.superseded_by)
            case Status.ACCEPTED | Status.COMPLETED if paper.acceptance is not None:
                return self._accepted(paper.acceptance)
        return ""

    def _accepted(self, taken: Acceptance) -> str:
        """When it was accepted; and with which quantities and total, where these are not those of the paper."""
        day, lines = self.day(taken.accepted_on), zip(self.figures.lines, taken.quantities, strict=True)
        others = [
            f"{formatted_number(number, self.locale)}. {isolated(line.description)}{self.words.colon}"
            f"{formatted_measure(quantity, line.unit, self.locale)}"
            for number, (line, quantity) in enumerate(lines, start=1)
            if quantity != line.quoted.quantity
        ]
        if not others:
            return self.words("Accepted on {day}.", day=day)
        return self.words(
            "Accepted on {day}, with other quantities than those in the total below: {quantities}. The total accepted "
            "is {amount}.",
            day=day,
            quantities="; ".join(others),
            amount=self.money(taken.totals.payable),
        )

    def _address(self) -> Iterator[str]:
        """The seller's, with the country if the document is for another one."""
        letterhead = self.paper.letterhead
        yield from paragraphs_of(letterhead.seller_address)
        country = None if letterhead.address is None else letterhead.address.country
        if country not in (None, country_of(self.locale)):
            yield isolated(country_name(country, self.words.language))

    def _contact(self) -> Iterator[str]:
        letterhead = self.paper.letterhead
        for each in (letterhead.telephone, letterhead.email, letterhead.url):
            if each:
                yield left_to_right(each, self.locale)

    def _foot(self) -> Iterator[str]:
        letterhead, words = self.paper.letterhead, self.words
        yield from paragraphs_of(letterhead.foot)
        if letterhead.vat_number:
            yield words("VAT number: {number}", number=left_to_right(letterhead.vat_number, self.locale))
        if letterhead.tax_number:
            yield words("Tax number: {number}", number=isolated(letterhead.tax_number))

    def _customer(self) -> Iterator[str]:
        customer = self.request.customer
        yield isolated(customer.name)
        if customer.contact:
            yield isolated(customer.contact)
        yield from paragraphs_of(customer.address)
        if customer.email:
            yield isolated(customer.email)

    def _facts(self) -> Iterator[Entry]:
        paper, words, customer = self.paper, self.words, self.request.customer
        yield Entry(text=words("Date"), figure=self.day(paper.issued_on or paper.quoted_on))
        yield Entry(text=words("Valid until"), figure=self.day(paper.valid_until))
        if paper.revision > 1:
            number = formatted_number(paper.revision, self.locale)
            replaced = words("{number}, replaces {reference}", number=number, reference=paper.revises)
            yield Entry(text=words("Revision"), figure=replaced)
        if paper.letterhead.contact:
            yield Entry(text=words("Your contact"), figure=isolated(paper.letterhead.contact))
        if customer.reference:
            yield Entry(text=words("Your reference"), figure=isolated(customer.reference))
        if customer.tax_number:
            yield Entry(text=words("Your tax number"), figure=isolated(customer.tax_number))

    def _line(self, number: int, line: QuotedLine) -> LineView:
        quoted, adjusted = line.quoted, line.quoted.allowances or line.quoted.charges
        adjustments = [*self.adjustments(quoted.allowances, quoted.charges)]
        if adjusted:
            adjustments.append(Entry(text=self.words("Together"), figure=self.money(quoted.amount)))
        others = sorted(line.quantity_breaks, key=lambda each: each.quantity)
        return LineView(
            number=formatted_number(number, self.locale),
            description=isolated(line.description),
            code=line.product or "",
            quoted=self._quantity(line.unit, quoted, _before_adjustments(quoted)),
            adjustments=tuple(adjustments),
            notes=tuple(self._notes(line)),
            others_title=self._others_title(is_adjusted=bool(adjusted)),
            others=tuple(self._quantity(line.unit, each, each.amount) for each in others),
        )

    def _notes(self, line: QuotedLine) -> Iterator[str]:
        for each in line.supplied:
            told = {"material": isolated(each.name), "quantity": self.measured(each.quantity, each.unit)}
            if each.needed is None:
                yield self.words("You supply: {material}, {quantity}", **told)
            else:
                needed = self.measured(each.needed, each.unit)
                yield self.words("You supply: {material}, {quantity} of {needed}", needed=needed, **told)
        if taxed := self.taxed(line.tax):
            yield taxed

    def _others_title(self, *, is_adjusted: bool) -> str:
        if is_adjusted:  # their amounts are adjusted ones, like "together" above
            return self.words(
                "Other quantities you may choose instead, with their allowances and charges, not in the total below:"
            )
        return self.words("Other quantities you may choose instead, not in the total below:")

    def _quantity(self, unit: Unit, quoted: QuotedQuantity, amount: Money) -> QuantityView:
        share = _per_mille(quoted.saving_share or ZERO)
        is_piece = unit is Unit.PIECE
        saved = self.words("You save a piece") if is_piece else f"{self.words('You save')} {self.words.per(unit)}"
        told = f"{saved}{self.words.colon}{formatted_share(share, self.locale)}"
        return QuantityView(
            quantity=formatted_measure(quoted.quantity, unit, self.locale),
            unit_price=self._price(unit, quoted),
            saving=told if share > 0 else "",
            amount=self.money(amount),
        )

    def _price(self, unit: Unit, quoted: QuotedQuantity) -> str:
        if quoted.base_quantity == 1:
            return formatted_per(self.money(quoted.unit_price), unit, self.locale)
        number = formatted_measure(Decimal(quoted.base_quantity), unit, self.locale)
        return self.words("{price} per {number}", price=self.money(quoted.unit_price), number=number)

    def _totals(self) -> Iterator[Entry]:
        words, totals = self.words, self.figures.totals
        told = words("Sum of the lines") if self.contains_tax else words("Sum of the lines, without tax")
        yield Entry(text=told, figure=self.money(totals.line_total))
        yield from self.adjustments(self.figures.allowances, self.figures.charges)
        if not self.contains_tax:
            yield Entry(text=words("Total without tax"), figure=self.money(totals.tax_exclusive))
            yield from map(self.tax_total, self.paper.tax_subtotals)
        if totals.rounding is not None:
            yield Entry(text=words("Rounded for payment in cash"), figure=self.money(totals.rounding))

    def _contained(self) -> Iterator[Entry]:
        """The taxes in the total, if prices contain them.

        Each with the amount that contains it, from which it is found: its rate of what the rounded tax leaves would
        often be another cent.
        """
        for each in self.paper.tax_subtotals if self.contains_tax else ():
            amount = in_currency(each.taxable_amount.amount + each.tax_amount.amount, each.tax_amount.currency)
            told = self.words("Included in {amount}: {tax}", amount=self.money(amount), tax=self.tax_and_rate(each))
            yield replace(self.tax_total(each), text=told)

    def _cautions(self) -> Iterator[Entry]:
        shipped = () if self.figures.shipping is None else self.figures.shipping.cautions
        told = dict.fromkeys((*self.paper.remarks.cautions, *shipped))
        for each in told:
            if each.concerns is Concern.PRODUCT:
                yield Entry(text=self.words.told(each.text), note=isolated(each.source))


def _before_adjustments(quoted: QuotedQuantity) -> Money:
    """Quantity × price."""
    amount = quoted.amount.amount
    amount += sum((each.amount.amount for each in quoted.allowances), ZERO)
    amount -= sum((each.amount.amount for each in quoted.charges), ZERO)
    return in_currency(amount, quoted.net_amount.currency)


def _per_mille(share: Decimal) -> Decimal:
    """The share in tenths of a percent, rounded down so that the saving is never overstated."""
    return whole_down(share.scaleb(_SAVING_DECIMALS)).scaleb(-_SAVING_DECIMALS).normalize()
