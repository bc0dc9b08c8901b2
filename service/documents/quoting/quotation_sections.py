"""The sections below the figures of a quotation: delivery, shipping, payment, note."""

from collections.abc import Iterator

from service.documents.quoting.quotation_paper import Section
from service.documents.quoting.quotation_writing import QuotationWriting, paragraphs_of
from service.documents.writing.formats import (
    formatted_measure,
    formatted_number,
    formatted_quantity,
    formatted_rate,
    isolated,
    left_to_right,
)
from service.domain.shipping.shipping_statement import StatedParcels
from service.domain.values.money import rounded


def sections_of(of: QuotationWriting) -> Iterator[Section]:
    """The sections that have any text."""
    request, words = of.request, of.words
    for title, paragraphs in (
        (words("Delivery"), (*paragraphs_of(request.delivery), *_ready(of))),
        (words("Shipping"), tuple(_shipping(of))),
        (words("Payment"), (*_payment(of), *paragraphs_of(request.payment.note), *_account(of))),
        (words("Note"), paragraphs_of(request.note)),
        (words("Terms of sale"), paragraphs_of(of.paper.letterhead.terms)),
    ):
        if paragraphs:
            yield Section(title=title, paragraphs=paragraphs)


def _ready(of: QuotationWriting) -> Iterator[str]:
    ready = of.paper.remarks.lead_time
    if ready is not None and ready.ready_on is not None:
        start, end = of.day(ready.starting_on), of.day(ready.ready_on)
        yield of.words("If ordered on {start}, it can be ready on {end}.", start=start, end=end)


def _shipping(of: QuotationWriting) -> Iterator[str]:
    shipping, words = of.figures.shipping, of.words
    if shipping is None:
        return
    mass = of.measured(shipping.mass_kg, "kg")
    count = shipping.parcel_count
    counted = {"number": formatted_number(count, of.locale), "mass": mass, "service": isolated(shipping.name)}
    yield words.several(
        "{number} parcel by {service}, {mass} with its packaging.",
        "{number} parcels by {service}, {mass} with their packaging.",
        count,
        **counted,
    )
    for each in shipping.parcels:
        yield _parcels(of, each)


def _parcels(of: QuotationWriting, each: StatedParcels) -> str:
    sides = " × ".join(formatted_quantity(side, of.locale) for side in (each.length_mm, each.width_mm, each.height_mm))
    told = {"product": each.product, "sides": sides, "mass": of.measured(each.mass_kg, "kg")}
    told["count"] = formatted_number(each.count, of.locale)
    if each.quantity is None:
        pieces = formatted_number(each.pieces, of.locale)
        return of.words("{count} × {pieces} pieces of {product}: {sides} mm, {mass} each", pieces=pieces, **told)
    quantity = formatted_measure(each.quantity, each.unit, of.locale)
    return of.words("{count} × {quantity} of {product}: {sides} mm, {mass} each", quantity=quantity, **told)


def _account(of: QuotationWriting) -> Iterator[str]:
    letterhead = of.paper.letterhead
    if (account := letterhead.account) is None:
        return
    holder = isolated(account.holder or letterhead.seller)
    yield of.words(
        "Bank account of {holder}: IBAN {iban}", holder=holder, iban=left_to_right(account.grouped_iban, of.locale)
    )
    if account.bic:
        yield left_to_right(f"BIC {account.bic}", of.locale)


def _payment(of: QuotationWriting) -> Iterator[str]:
    terms, words, total = of.request.payment, of.words, of.figures.totals.payable
    if terms.advance_share:
        amount = rounded(total.amount * terms.advance_share, total.currency)
        share = formatted_rate(terms.advance_share, of.locale)
        yield words(
            "{share} of the total with the order: {amount}. Balance: {rest}.",
            share=share,
            amount=of.money(amount),
            rest=of.money(rounded(total.amount - amount.amount, total.currency)),
        )
    if terms.due_days is not None and terms.due_days > 0:
        yield words.several(
            "Payable within {days} day of the invoice.",
            "Payable within {days} days of the invoice.",
            terms.due_days,
            days=formatted_number(terms.due_days, of.locale),
        )
    elif terms.due_days is not None:
        yield words("Payable when the invoice arrives.")
