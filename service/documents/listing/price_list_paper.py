"""A price list and shelf labels in finished words and figures, for layout; for buyers."""

from dataclasses import dataclass

from service.documents.writing.paper import Entry, PaperView


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceRow:
    """A listing.

    Attributes:
        text: its name.
        note: its description.
        cells: a figure for each further column.
        problem: why it has no price, in place of the figures.
    """

    text: str
    note: str
    cells: tuple[str, ...]
    problem: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceGroup:
    """The listings of a sales channel.

    Attributes:
        note: whether their prices contain tax.
        columns: headings; of the price in cash and of the unit price only where a listing has one.
    """

    title: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[PriceRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceListView(PaperView):
    """A price list; its day is that of the prices.

    Attributes:
        empty: what stands there if nothing is listed.
        cautions: each with its source, and the products that it is about unless it is about all.
    """

    seller: str
    facts: tuple[Entry, ...]
    groups: tuple[PriceGroup, ...]
    empty: str
    cautions_title: str
    cautions: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelView:
    """A label.

    Attributes:
        price: what the buyer pays, tax included.
        lines: what for and at which unit price, then the price in cash.
        code: of the listing.
    """

    name: str
    price: str
    lines: tuple[str, ...]
    code: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ShelfLabelsView(PaperView):
    """Shelf labels, and what has none.

    Attributes:
        unlabelled_title: heading of the last page, which stands there only if a listing has no label.
    """

    seller: str
    labels: tuple[LabelView, ...]
    unlabelled_title: str
    unlabelled: tuple[Entry, ...]
