"""A price list as an HTML page and as PDF, and sheets of shelf labels as PDF."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Annotated

from service.documents.listing.price_list_paper import PriceListView, ShelfLabelsView
from service.documents.writing.pages import direction_of, page
from service.documents.writing.typesetting import typeset
from service.domain.values.declared import Bounds, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO, exactly
from service.encoding import encoded

_WIDTH_MM, _HEIGHT_MM = Decimal(210), Decimal(297)
"""Source: ISO 216, A4."""
_LEAST_WIDTH_MM, _LEAST_HEIGHT_MM = 30, 18
"""Of a label that can be read from a shelf's distance."""
_Millimetres = Annotated[Decimal, Bounds(at_least=0, at_most=60)]


@declared
class LabelSheet:
    """A sheet of labels of the same size, A4, printed at its full size.

    Attributes:
        columns: labels side by side.
        rows: labels one below the other.
        margin_x_mm: margin of the sheet on the left and on the right.
        margin_y_mm: margin above and below.
        gap_x_mm: gap between neighbours.
        gap_y_mm: gap between rows.
        skip: labels at the beginning of the first sheet that are used up.
        copies: of each label.
    """

    columns: Annotated[int, Bounds(at_least=1, at_most=6)] = 3
    rows: Annotated[int, Bounds(at_least=1, at_most=15)] = 8
    margin_x_mm: _Millimetres = ZERO
    margin_y_mm: _Millimetres = ZERO
    gap_x_mm: _Millimetres = ZERO
    gap_y_mm: _Millimetres = ZERO
    skip: Annotated[int, Bounds(at_least=0, at_most=89)] = 0
    copies: Annotated[int, Bounds(at_least=1, at_most=100)] = 1

    def problems(self) -> Iterator[InvalidValueError]:
        for size, least, member, what in (
            (self.width_mm, _LEAST_WIDTH_MM, "columns", "wide"),
            (self.height_mm, _LEAST_HEIGHT_MM, "rows", "high"),
        ):
            if size < least:
                reason = f"leaves labels less than {least} mm {what}; take fewer, or smaller margins and gaps"
                yield InvalidValueError((member,), reason)
        if self.skip >= self.columns * self.rows:
            yield InvalidValueError(("skip",), f"must be less than the {self.columns * self.rows} labels of a sheet")

    @property
    @exactly
    def width_mm(self) -> Decimal:
        """Of a label."""
        return (_WIDTH_MM - 2 * self.margin_x_mm - (self.columns - 1) * self.gap_x_mm) / self.columns

    @property
    @exactly
    def height_mm(self) -> Decimal:
        """Of a label."""
        return (_HEIGHT_MM - 2 * self.margin_y_mm - (self.rows - 1) * self.gap_y_mm) / self.rows


def price_list_page(view: PriceListView) -> str:
    """The list as HTML."""
    return page("price_list.html", language=view.language, title=view.title, view=view)


def price_list_pdf(view: PriceListView, fonts: Path | None = None) -> bytes:
    """The list as PDF, reproducible to the byte."""
    return typeset("price_list.typ", {**encoded(view), "direction": direction_of(view.language)}, fonts)


def shelf_labels_pdf(view: ShelfLabelsView, sheet: LabelSheet, fonts: Path | None = None) -> bytes:
    """The labels as PDF, each as often as wanted, and a last page that says what has none."""
    measures = {
        **{name: getattr(sheet, name) for name in ("columns", "rows", "skip", "copies")},
        **{name: f"{getattr(sheet, name):.4f}" for name in _MEASURES},
    }
    data = {**encoded(view), "sheet": measures, "direction": direction_of(view.language)}
    return typeset("shelf_labels.typ", data, fonts)


_MEASURES = ("width_mm", "height_mm", "margin_x_mm", "margin_y_mm", "gap_x_mm", "gap_y_mm")
