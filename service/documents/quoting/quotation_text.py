"""A quotation as plain text, for a letter or an email."""

from collections.abc import Iterator
from textwrap import wrap

from service.documents.quoting.quotation_paper import LineView, QuantityView, QuotationView
from service.documents.writing.paper import Entry

WIDTH = 78
_AMOUNT = 18


def quotation_text(view: QuotationView) -> str:
    """The quotation as text, at most 78 characters wide where words allow."""
    return "\n".join(line.rstrip() for line in _lines(view)) + "\n"


def _lines(view: QuotationView) -> Iterator[str]:
    yield view.word.upper().ljust(WIDTH - len(view.reference)) + view.reference
    yield "=" * WIDTH
    if view.state:
        yield from (*wrap(view.state, WIDTH), "=" * WIDTH)
    yield view.seller
    yield from (*view.seller_address, *view.seller_contact)
    yield ""
    yield from view.customer
    yield ""
    width = max(len(each.text) for each in view.facts)
    yield from (f"{each.text.ljust(width)}  {each.figure}" for each in view.facts)
    yield from ("", *wrap(view.intro, WIDTH), "")
    for line in view.lines:
        yield "-" * WIDTH
        yield from _line(view, line)
    yield "-" * WIDTH
    for each in view.totals:
        yield from _entry(each, "")
    yield "=" * WIDTH
    yield from _row(view.total.text.upper(), view.total.figure)
    yield "=" * WIDTH
    for each in view.contained:
        yield from _entry(each, "")
    for section in view.sections:
        yield from ("", section.title)
        for paragraph in section.paragraphs:
            yield from wrap(paragraph, WIDTH, initial_indent="  ", subsequent_indent="  ")
    if view.cautions:
        yield from ("", view.cautions_title)
        for each in view.cautions:
            yield from wrap(f"- {each.text} [{each.note}]", WIDTH, initial_indent="  ", subsequent_indent="    ")
    if view.foot:
        yield from ("", "-" * WIDTH, *view.foot)


def _line(view: QuotationView, line: LineView) -> Iterator[str]:
    code = f" ({line.code})" if line.code else ""
    yield from wrap(f"{line.number}. {line.description}{code}", WIDTH, subsequent_indent="   ")
    yield from _quantity(line.quoted)
    for each in line.adjustments:
        yield from _entry(each, "      ")
    for note in line.notes:
        yield from wrap(note, WIDTH, initial_indent="   ", subsequent_indent="     ")
    if line.others:
        yield from wrap(line.others_title, WIDTH, initial_indent="   ", subsequent_indent="   ")
        for other in line.others:
            yield from _quantity(other)


def _quantity(quantity: QuantityView) -> Iterator[str]:
    saving = f" ({quantity.saving})" if quantity.saving else ""
    yield from _row(f"   {quantity.quantity} × {quantity.unit_price}{saving}", quantity.amount)


def _entry(entry: Entry, indent: str) -> Iterator[str]:
    yield from _row(indent + entry.text, entry.figure)
    if entry.note:
        yield from wrap(entry.note, WIDTH, initial_indent=f"{indent}    ", subsequent_indent=f"{indent}    ")


def _row(text: str, amount: str) -> Iterator[str]:
    """Text on the left, an amount on the right; a long text is wrapped within its column."""
    indent = " " * (len(text) - len(text.lstrip()))
    head, *more = wrap(text.lstrip(), WIDTH - _AMOUNT - 1, initial_indent=indent, subsequent_indent=f"{indent}    ")
    yield head.ljust(WIDTH - _AMOUNT) + amount.rjust(_AMOUNT)
    yield from more
