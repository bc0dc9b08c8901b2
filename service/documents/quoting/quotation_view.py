"""A quotation as its customer reads it, before it is laid out: every word and figure in the customer's language."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date
from decimal import Decimal

from babel import Locale

from service.documents.quoting.quotation_paper import LineView, QuantityView, QuotationPaper, QuotationView, Section
from service.documents.writing.formats import (
    formatted_date,
    formatted_number,
    formatted_price,
    formatted_share,
    isolated,
)
from service.documents.writing.labels import Labels, labels_for
from service.documents.writing.paper import Entry
from service.domain.quoting.life import Status
from service.domain.quoting.quotation import AdjustmentKind, QuotedAdjustment, QuotedLine, QuotedQuantity, QuotedTax
from service.domain.safety.cautions import NO_PROMISE, TOO_HEAVY, Concern
from service.domain.shipping.shipping_statement import StatedParcels
from service.domain.values.exact import ZERO, exactly, whole_down
from service.domain.values.money import Money, in_currency, rounded

_SAVING_DECIMALS = 3


@exactly
def quotation_view(paper: QuotationPaper, locale: str | None = None) -> QuotationView:
    """The quotation in the words, numbers and dates of its own locale, or of another."""
    letterhead = replace(paper.letterhead, locale=locale or paper.letterhead.locale)
    return _Making(replace(paper, letterhead=letterhead)).view()


class _Making:
    def __init__(self, paper: QuotationPaper) -> None:
        self.paper, self.request, self.figures = paper, paper.request, paper.figures
        self.locale = paper.letterhead.locale
        self.words = labels_for(self.locale)

    def view(self) -> QuotationView:
        paper, words = self.paper, self.words
        parsed, day = Locale.parse(self.locale), paper.issued_on or paper.quoted_on
        reference = paper.reference
        return QuotationView(
            locale=self.locale,
            language=words.language,
            region=parsed.territory or "",
            day=(day.year, day.month, day.day),
            title=f"{words('Quotation')} {reference}",
            word=words("Quotation"),
            reference=reference,
            state=self._state(),
            is_binding=paper.status in (Status.ISSUED, Status.ACCEPTED, Status.COMPLETED),
            seller=isolated(paper.letterhead.seller),
            seller_address=_lines(paper.letterhead.seller_address),
            customer=tuple(self._customer()),
            facts=tuple(self._facts()),
            intro=words("All prices in {currency}, without tax until the total.", currency=self.figures.currency),
            columns=(words("Description"), words("Pieces"), words("Price a piece"), words("Amount")),
            other_columns=(words("Pieces"), words("Price a piece"), words("You save a piece"), words("Amount")),
            lines=tuple(self._line(number, line) for number, line in enumerate(self.figures.lines, start=1)),
            totals=tuple(self._totals()),
            total=Entry(text=words("Total"), figure=self._money(self.figures.totals.payable)),
            sections=tuple(self._sections()),
            cautions_title=words("Please note"),
            cautions=tuple(self._cautions()),
        )

    def _state(self) -> str:
        paper, words = self.paper, self.words
        match paper.status:
            case Status.DRAFT:
                return words("Draft. This is not an offer yet.")
            case Status.EXPIRED:
                return words("Expired: the prices held until {day}.", day=self._day(paper.valid_until))
            case Status.DECLINED:
                return words("Declined. This offer holds no longer.")
            case Status.SUPERSEDED:
                return words("Superseded by {reference}. This offer holds no longer.", reference=paper.superseded_by)
            case Status.ACCEPTED | Status.COMPLETED if paper.accepted_on is not None:
                return words("Accepted on {day}.", day=self._day(paper.accepted_on))
        return ""

    def _customer(self) -> Iterator[str]:
        customer = self.request.customer
        yield isolated(customer.name)
        if customer.contact:
            yield isolated(customer.contact)
        yield from _lines(customer.address)
        if customer.email:
            yield isolated(customer.email)

    def _facts(self) -> Iterator[Entry]:
        paper, words, customer = self.paper, self.words, self.request.customer
        yield Entry(text=words("Date"), figure=self._day(paper.issued_on or paper.quoted_on))
        yield Entry(text=words("Valid until"), figure=self._day(paper.valid_until))
        if paper.revision > 1:
            number = formatted_number(paper.revision, self.locale)
            replaced = words("{number}, replaces {reference}", number=number, reference=paper.revises)
            yield Entry(text=words("Revision"), figure=replaced)
        if customer.reference:
            yield Entry(text=words("Your reference"), figure=isolated(customer.reference))
        if customer.tax_number:
            yield Entry(text=words("Your tax number"), figure=isolated(customer.tax_number))

    def _line(self, number: int, line: QuotedLine) -> LineView:
        quoted, adjusted = line.quoted, line.quoted.allowances or line.quoted.charges
        adjustments = [*self._adjustments(quoted.allowances, quoted.charges)]
        if adjusted:
            adjustments.append(Entry(text=self.words("Together"), figure=self._money(quoted.net_amount)))
        others = sorted(line.quantity_breaks, key=lambda each: each.quantity)
        return LineView(
            number=formatted_number(number, self.locale),
            description=isolated(line.description),
            code=line.product,
            quoted=self._quantity(quoted, _before_adjustments(quoted)),
            adjustments=tuple(adjustments),
            notes=tuple(self._notes(line)),
            others_title=self._others_title(is_adjusted=bool(adjusted)),
            others=tuple(self._quantity(each, each.net_amount) for each in others),
        )

    def _notes(self, line: QuotedLine) -> Iterator[str]:
        for each in line.supplied:
            yield self.words(
                "You supply: {material}, {quantity}",
                material=isolated(each.name),
                quantity=self._measured(each.quantity, each.unit),
            )
        if taxed := self._taxed(line.tax):
            yield taxed

    def _others_title(self, *, is_adjusted: bool) -> str:
        if is_adjusted:  # their amounts are what they come to, beside "together" above
            return self.words(
                "Other quantities you may choose instead, with their allowances and charges, not in the total below:"
            )
        return self.words("Other quantities you may choose instead, not in the total below:")

    def _quantity(self, quoted: QuotedQuantity, amount: Money) -> QuantityView:
        share = quoted.saving_share
        saving = "" if share is None or share <= 0 else formatted_share(_per_mille(share), self.locale)
        return QuantityView(
            quantity=formatted_number(quoted.quantity, self.locale),
            unit_price=self._money(quoted.unit_price),
            saving=saving,
            amount=self._money(amount),
        )

    def _measured(self, quantity: Decimal, unit: str) -> str:
        number = formatted_number(quantity, self.locale)
        if unit == "piece":
            return self.words.several("{number} piece", "{number} pieces", int(quantity), number=number)
        return f"{number}\u00a0{unit.replace('m2', 'm²')}"

    def _adjustments(
        self, allowances: Iterable[QuotedAdjustment], charges: Iterable[QuotedAdjustment]
    ) -> Iterator[Entry]:
        for sign, adjustments in ((-1, allowances), (1, charges)):
            for each in adjustments:
                signed = in_currency(each.amount.amount * sign, each.amount.currency)
                note = "" if each.tax is None else self._taxed(each.tax)
                yield Entry(text=self._reason(each, sign), figure=self._money(signed), note=note)

    def _taxed(self, tax: QuotedTax) -> str:
        """Which tax something stands under, where there are several; nothing else would say it."""
        if len(self.figures.totals.tax_subtotals) < 2:  # noqa: PLR2004 - several
            return ""
        return f"{isolated(tax.name)}, {formatted_share(tax.rate_share, self.locale)}"

    def _reason(self, each: QuotedAdjustment, sign: int) -> str:
        words, reason = self.words, reason_for(each, self.words)
        if each.kind is not AdjustmentKind.REQUESTED:
            return reason
        return words("less {reason}", reason=reason) if sign < 0 else words("plus {reason}", reason=reason)

    def _totals(self) -> Iterator[Entry]:
        words, totals = self.words, self.figures.totals
        yield Entry(text=words("Sum of the lines, without tax"), figure=self._money(totals.line_total))
        yield from self._adjustments(self.figures.allowances, self.figures.charges)
        yield Entry(text=words("Total without tax"), figure=self._money(totals.tax_exclusive))
        for each in totals.tax_subtotals:
            told = words(
                "{tax}: {rate} of {amount}",
                tax=isolated(each.name),
                rate=formatted_share(each.rate_share, self.locale),
                amount=self._money(each.taxable_amount),
            )
            yield Entry(text=told, figure=self._money(each.tax_amount), note=isolated(each.exemption_reason))

    def _sections(self) -> Iterator[Section]:
        request, words = self.request, self.words
        for title, paragraphs in (
            (words("Delivery"), (*_lines(request.delivery), *self._ready())),
            (words("Shipping"), tuple(self._shipping())),
            (words("Payment"), (*self._payment(), *_lines(request.payment.note))),
            (words("Note"), _lines(request.note)),
        ):
            if paragraphs:
                yield Section(title=title, paragraphs=paragraphs)

    def _ready(self) -> Iterator[str]:
        ready = self.paper.remarks.lead_time
        if ready is not None and ready.ready_on is not None:
            start, end = self._day(ready.starting_on), self._day(ready.ready_on)
            yield self.words("If ordered on {start}, it can be ready on {end}.", start=start, end=end)

    def _shipping(self) -> Iterator[str]:
        shipping, words = self.figures.shipping, self.words
        if shipping is None:
            return
        mass = self._measured(shipping.mass_kg, "kg")
        count = shipping.parcel_count
        counted = {"number": formatted_number(count, self.locale), "mass": mass, "service": isolated(shipping.name)}
        yield words.several(
            "{number} parcel by {service}, {mass} with its packaging.",
            "{number} parcels by {service}, {mass} with their packaging.",
            count,
            **counted,
        )
        for each in shipping.parcels:
            yield self._parcels(each)

    def _parcels(self, each: StatedParcels) -> str:
        sides = " × ".join(
            formatted_number(side, self.locale) for side in (each.length_mm, each.width_mm, each.height_mm)
        )
        return self.words(
            "{count} × {pieces} pieces of {product}: {sides} mm, {mass} each",
            count=formatted_number(each.count, self.locale),
            pieces=formatted_number(each.pieces, self.locale),
            product=each.product,
            sides=sides,
            mass=self._measured(each.mass_kg, "kg"),
        )

    def _payment(self) -> Iterator[str]:
        terms, words, total = self.request.payment, self.words, self.figures.totals.payable
        if terms.advance_share:
            amount = rounded(total.amount * terms.advance_share, total.currency)
            share = formatted_share(terms.advance_share, self.locale)
            yield words(
                "{share} of the total with the order: {amount}. Balance: {rest}.",
                share=share,
                amount=self._money(amount),
                rest=self._money(rounded(total.amount - amount.amount, total.currency)),
            )
        if terms.due_days is not None and terms.due_days > 0:
            yield words.several(
                "Payable within {days} day of the invoice.",
                "Payable within {days} days of the invoice.",
                terms.due_days,
                days=formatted_number(terms.due_days, self.locale),
            )
        elif terms.due_days is not None:
            yield words("Payable when the invoice arrives.")

    def _cautions(self) -> Iterator[Entry]:
        shipped = () if self.figures.shipping is None else self.figures.shipping.cautions
        told = dict.fromkeys((*self.paper.remarks.cautions, *shipped))
        for each in told:
            if each.concerns is Concern.PRODUCT:
                yield Entry(text=self.words.rendered(each.text, TOO_HEAVY, NO_PROMISE), note=isolated(each.source))

    def _day(self, day: date) -> str:
        return formatted_date(day, self.locale)

    def _money(self, money: Money) -> str:
        return formatted_price(money, self.locale)


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


def _before_adjustments(quoted: QuotedQuantity) -> Money:
    """Quantity × price, as the document counts it."""
    amount = quoted.net_amount.amount
    amount += sum((each.amount.amount for each in quoted.allowances), ZERO)
    amount -= sum((each.amount.amount for each in quoted.charges), ZERO)
    return in_currency(amount, quoted.net_amount.currency)


def _per_mille(share: Decimal) -> Decimal:
    """A share at tenths of a percent, rounded down, so that no more is promised than is saved."""
    return whole_down(share.scaleb(_SAVING_DECIMALS)).scaleb(-_SAVING_DECIMALS).normalize()


def _lines(text: str) -> tuple[str, ...]:
    return tuple(isolated(line) for line in text.splitlines() if line.strip())
