"""A price list and shelf labels in the words and figures of a locale, before layout."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal
from itertools import groupby

from service.documents.listing.price_list_paper import LabelView, PriceGroup, PriceListView, PriceRow, ShelfLabelsView
from service.documents.writing.formats import (
    formatted_date,
    formatted_measure,
    formatted_number,
    formatted_price,
    formatted_unit_price,
    isolated,
)
from service.documents.writing.labels import labels_for
from service.documents.writing.paper import Entry, head_of
from service.domain.listing.price_list import PriceListEntry
from service.domain.selling.channels import Display
from service.domain.values.exact import exactly
from service.domain.values.units import Unit


def common_locale(entries: Sequence[PriceListEntry]) -> str | None:
    """The locale of all listings; None if they have several, or there are none."""
    found = {each.locale for each in entries}
    return found.pop() if len(found) == 1 else None


@exactly
def price_list_view(entries: Sequence[PriceListEntry], *, seller: str, locale: str, as_of: date) -> PriceListView:
    """The list by channel, each listing with its price or the reason why it has none."""
    return _Making(entries, seller, locale, as_of).price_list()


@exactly
def shelf_labels_view(entries: Sequence[PriceListEntry], *, seller: str, locale: str, as_of: date) -> ShelfLabelsView:
    """A label for each listing that has a price, and the others with the reason."""
    return _Making(entries, seller, locale, as_of).labels()


class _Making:
    def __init__(self, entries: Sequence[PriceListEntry], seller: str, locale: str, as_of: date) -> None:
        self.entries, self.seller, self.locale, self.as_of = entries, isolated(seller), locale, as_of
        self.words = labels_for(locale, "price_list")

    def price_list(self) -> PriceListView:
        words, word = self.words, self.words("Price list")
        return PriceListView(
            **head_of(self.locale, words.language, self.as_of),
            title=f"{word}, {self.seller}",
            word=word,
            seller=self.seller,
            facts=(Entry(text=words("Prices of"), figure=formatted_date(self.as_of, self.locale)),),
            groups=tuple(self._groups()),
            empty="" if self.entries else words("No listing is on this list."),
            cautions_title=words("Please note"),
            cautions=tuple(self._cautions()),
        )

    def labels(self) -> ShelfLabelsView:
        words, word = self.words, self.words("Shelf labels")
        return ShelfLabelsView(
            **head_of(self.locale, words.language, self.as_of),
            title=f"{word}, {self.seller}",
            word=word,
            seller=self.seller,
            labels=tuple(self._labels()),
            unlabelled_title=words("Without a label"),
            unlabelled=tuple(self._unlabelled()),
        )

    def _groups(self) -> Iterator[PriceGroup]:
        ordered = sorted(self.entries, key=lambda each: each.channel)
        for _, group in groupby(ordered, key=lambda each: each.channel):
            entries, words = list(group), self.words
            columns: dict[str, Callable[[PriceListEntry], str]] = {words("For"): self._unit}
            if any(each.unit_price for each in entries):
                columns[words("Unit price")] = self._unit_price
            columns[words("Price")] = self._price
            if any(each.cash_price for each in entries):
                columns[words("In cash")] = self._cash
            yield PriceGroup(
                title=isolated(entries[0].channel_name),
                note=self._taxed(entries),
                columns=(words("Product"), *columns),
                rows=tuple(self._row(each, columns.values()) for each in entries),
            )

    def _taxed(self, entries: Iterable[PriceListEntry]) -> str:
        """Whether the prices of a channel contain tax; nothing where none is due."""
        taxed = {each.display for each in entries if each.tax_share}
        if Display.TAX_INCLUSIVE in taxed:
            return self.words("Prices with tax.")
        return self.words("Prices without tax.") if taxed else ""

    def _row(self, entry: PriceListEntry, cells: Iterable[Callable[[PriceListEntry], str]]) -> PriceRow:
        return PriceRow(
            text=isolated(entry.name),
            note=isolated(entry.description),
            cells=() if entry.problem else tuple(cell(entry) for cell in cells),
            problem=self.words("No price: {reason}", reason=isolated(entry.problem)) if entry.problem else "",
        )

    def _unit(self, entry: PriceListEntry) -> str:
        if entry.unit is not Unit.PIECE:
            return formatted_measure(Decimal(entry.base_quantity), entry.unit, self.locale)
        number = formatted_number(entry.base_quantity, self.locale)
        return self.words.several("{number} piece", "{number} pieces", entry.base_quantity, number=number)

    def _unit_price(self, entry: PriceListEntry) -> str:
        return "" if entry.unit_price is None else formatted_unit_price(entry.unit_price, self.locale)

    def _price(self, entry: PriceListEntry) -> str:
        return "" if entry.price is None else formatted_price(entry.price, self.locale)

    def _cash(self, entry: PriceListEntry) -> str:
        return "" if entry.cash_price is None else formatted_price(entry.cash_price, self.locale)

    def _cautions(self) -> Iterator[Entry]:
        """Each caution once, with the products that it is about unless it is about all."""
        priced = {isolated(each.name): None for each in self.entries if each.price is not None}
        told: dict[tuple[str, str], dict[str, None]] = {}
        for entry in self.entries:
            for each in entry.cautions:
                told.setdefault((self.words.told(each.text), isolated(each.source)), {})[isolated(entry.name)] = None
        for (text, source), names in told.items():
            yield Entry(text=text, figure="" if names.keys() == priced.keys() else ", ".join(names), note=source)

    def _labels(self) -> Iterator[LabelView]:
        for each in self.entries:
            if each.gross_price is not None:
                lines = [" · ".join(filter(None, (self._unit(each), self._unit_price(each))))]
                if cash := self._cash(each):
                    lines.append(self.words("in cash {amount}", amount=cash))
                yield LabelView(
                    name=isolated(each.name),
                    price=formatted_price(each.gross_price, self.locale),
                    lines=tuple(lines),
                    code=each.listing,
                )

    def _unlabelled(self) -> Iterator[Entry]:
        for each in self.entries:
            if each.gross_price is None:
                yield Entry(text=isolated(each.name), figure=each.listing, note=isolated(each.problem or ""))
        if not self.entries:
            yield Entry(text=self.words("No listing is on this list."))
