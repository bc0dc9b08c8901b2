"""The cost of a piece, or of another unit, as a chart: a bar for each line, grouped by cost class."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.documents.drawing.drawing import (
    BLUE,
    FAINT,
    GREEN,
    INK,
    ORANGE,
    PURPLE,
    SKY_BLUE,
    VERMILION,
    YELLOW,
    Chart,
    Datum,
    ImageForm,
    Layer,
    as_it_is,
    drawn,
    field,
    layer,
    literal,
    shortened,
    text_width,
    words,
)
from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_measure,
    formatted_share,
    isolated,
    unisolated,
)
from service.documents.writing.labels import Labels, labels_for
from service.domain.costing.cost_statement import CostStatement, StatedLine, for_people
from service.domain.making.cost_classes import CostClass
from service.domain.values.exact import ZERO, exactly
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit

GREATEST_LINES = 24
"""Most lines shown separately; smaller ones are added up under their heading."""
_COLOURS = {
    CostClass.DIRECT_MATERIAL: BLUE,
    CostClass.PACKAGING: SKY_BLUE,
    CostClass.DIRECT_LABOUR: ORANGE,
    CostClass.MACHINE: GREEN,
    CostClass.ELECTRICITY: YELLOW,
    CostClass.TOOLING: PURPLE,
    CostClass.OVERHEAD: VERMILION,
}
_ROW, _BARS, _GAP, _INDENT = 22, 320, 18, 14
_WIDEST_NAME, _WIDEST_HEADING = 270, 300


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A row of the chart; a heading has no bar, and where the full cost is not above 0 there are no shares of it."""

    name: str
    cost_class: CostClass
    amount: Money
    share: Decimal | None
    is_heading: bool = False


def cost_chart(statement: CostStatement, form: ImageForm, *, locale: str) -> bytes:
    """The cost of a piece as an image: the amount and share of each line.

    Headings, and the lines under each, are sorted by amount, the greatest first. Figures are those of the page, or sums
    of them; only the length of a bar is a float.
    """
    statement = for_people(statement)
    labels = labels_for(locale, "cost_sheet")
    rows, name = tuple(_rows(statement, labels)), literal(statement.name)
    cost = formatted_amount(statement.subtotals.full_cost.per_piece, locale)
    unit = statement.unit
    terms = {
        "pieces": formatted_measure(statement.quantity, unit, locale),
        "day": formatted_date(statement.as_of, locale),
        "currency": statement.currency,
    }
    told = "; ".join(_told(row, labels) for row in rows)
    about = (
        labels(
            "What a piece of {name} costs in a batch of {pieces}, at the rates of {day}, in {currency}: {cost}.",
            name=isolated(name),
            cost=cost,
            **terms,
        )
        if unit is Unit.PIECE
        else labels(
            "What {name} costs {per_unit} in a batch of {pieces}, at the rates of {day}, in {currency}: {cost}.",
            name=isolated(name),
            cost=cost,
            per_unit=labels.per(unit),
            **terms,
        )
    )
    left = -_GAP - _INDENT - max([0.0, *(text_width(shortened(row.name, _WIDEST_NAME)) for row in rows)])
    chart = Chart(
        title=_title(isolated(name), cost, unit, labels),
        heading=_title(shortened(name, _WIDEST_HEADING), cost, unit, labels),
        subtitle=(labels("full cost in a batch of {pieces}, at the rates of {day}, in {currency}", **terms),),
        description=f"{about} {told}",
        left=left,
        body=_body(rows, left, unit, labels),
    )
    return drawn(chart, form)


def _title(name: str, cost: str, unit: Unit, labels: Labels) -> str:
    if unit is Unit.PIECE:
        return labels("{name}: {cost} a piece", name=name, cost=cost)
    return labels("{name}: {cost} {per_unit}", name=name, cost=cost, per_unit=labels.per(unit))


@exactly
def _rows(statement: CostStatement, labels: Labels) -> Iterator[_Row]:
    lines = sorted(statement.lines, key=lambda line: -abs(line.amount_per_piece.amount))
    for name, subtotal in sorted(statement.cost_classes.items(), key=lambda item: -item[1].per_piece.amount):
        cost_class, heading = CostClass(name), labels(name.replace("_", " ").capitalize())
        large = [line for line in lines[:GREATEST_LINES] if line.cost_class is cost_class]
        small = [line for line in lines[GREATEST_LINES:] if line.cost_class is cost_class]
        share = _share([*large, *small])
        yield _Row(name=heading, cost_class=cost_class, amount=subtotal.per_piece, share=share, is_heading=True)
        if len(small) == 1:
            large, small = [*large, *small], []
        for line in sorted(large, key=lambda line: -line.amount_per_piece.amount):
            told = literal(unisolated(labels.told(line.name)))
            yield _Row(name=told, cost_class=cost_class, amount=line.amount_per_piece, share=line.share_of_full_cost)
        if small:
            amount = in_currency(sum((line.amount_per_piece.amount for line in small), ZERO), statement.currency)
            together = labels("{count} other lines", count=len(small))
            yield _Row(name=together, cost_class=cost_class, amount=amount, share=_share(small))


def _share(lines: Sequence[StatedLine]) -> Decimal | None:
    shares = [line.share_of_full_cost for line in lines if line.share_of_full_cost is not None]
    return sum(shares, ZERO) if len(shares) == len(lines) else None


def _body(rows: Sequence[_Row], left: float, unit: Unit, labels: Labels) -> Layer:
    """The Vega-Lite view: names, bars, and figures in columns, below a row of captions."""
    data = [_datum(place, row, labels) for place, row in enumerate(rows, start=1)]
    headings = [datum for datum, row in zip(data, rows, strict=True) if row.is_heading]
    lines = [datum for datum, row in zip(data, rows, strict=True) if not row.is_heading]
    per, share = labels.per(unit), "" if all(row.share is None for row in rows) else labels("share")
    amounts_at = _BARS + _GAP + max(map(text_width, [per, *(datum["amount"] for datum in data)]))
    shares_at = amounts_at + _GAP + max(map(text_width, [share, *(datum["share"] for datum in data)]))
    ends = [0.0, *(datum["length"] for datum in lines)]
    bounds = [min(ends), max(ends)] if any(ends) else [0.0, 1.0]
    captions = [{"row": 0.5, "amount": per, "share": share, "about": "caption"}]
    right, bold = {"align": "right"}, {"fontWeight": "bold"}
    return {
        "width": _BARS,
        "height": _ROW * (len(rows) + 1),
        "encoding": {"y": field("row", scale={"domain": [0, len(rows) + 1], "reverse": True, "nice": False})},
        "layer": [
            layer({"type": "rule", "stroke": FAINT}, [{}], x={"datum": 0}, y={"value": _ROW}, y2={"value": "height"}),
            _bars(lines, bounds),
            _column(headings, "name", left, bold),
            _column(lines, "name", left + _INDENT, {}),
            *(
                _column(some, figure, place, right | style)
                for figure, place in (("amount", amounts_at), ("share", shares_at))
                for some, style in ((headings, bold), (lines, {}), (captions, {"fill": FAINT}))
            ),
        ],
    }


def _datum(place: int, row: _Row, labels: Labels) -> dict[str, Any]:
    return {
        "row": place + 0.5,
        "name": shortened(row.name, _WIDEST_NAME),
        "amount": formatted_amount(row.amount, labels.locale),
        "share": "" if row.share is None else formatted_share(row.share, labels.locale),
        "length": float(row.amount.amount),  # a position; the figure itself is text
        "colour": _COLOURS[row.cost_class],
        "about": _told(row, labels),
    }


def _told(row: _Row, labels: Labels) -> str:
    told = f"{isolated(row.name)}{labels.colon}{formatted_amount(row.amount, labels.locale)}"
    return told if row.share is None else f"{told} ({formatted_share(row.share, labels.locale)})"


def _bars(lines: Sequence[Datum], bounds: Sequence[float]) -> Layer:
    """The bars, to the right, or to the left for a credit."""
    mark = {"type": "bar", "orient": "horizontal", "size": 14, "stroke": INK, "strokeWidth": 0.5}
    x = field("length", scale={"domain": list(bounds), "nice": False})
    return layer(mark, lines, x=x, x2={"datum": 0}, fill=as_it_is("colour"), description=words("about"))


def _column(data: Sequence[Datum], member: str, place: float, style: Layer) -> Layer:
    mark = {"type": "text", "align": "left", **style}
    return layer(mark, data, x={"value": place}, text=words(member), description=words("about"))
