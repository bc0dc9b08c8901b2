"""Variances as a waterfall: from what good units should have cost to what they cost."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.documents.drawing.drawing import (
    BLUE,
    FAINT,
    INK,
    SKY_BLUE,
    VERMILION,
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
from service.documents.writing.formats import formatted_amount, isolated, unisolated
from service.documents.writing.labels import Labels, labels_for
from service.domain.reviewing.period_review import SummedStatement
from service.domain.reviewing.statement import StatedVariance, VarianceStatement
from service.domain.values.exact import ZERO, exactly
from service.domain.values.money import Money, in_currency

Waterfall = VarianceStatement | SummedStatement
"""What leads from a standard to an actual cost."""

GREATEST = 16
"""Most causes shown separately; smaller ones are added up."""
_ROW, _BARS, _GAP = 24, 300, 18
_WIDEST_NAME, _WIDEST_HEADING = 350, 380


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A step of the waterfall; one of the two totals begins and ends at its amount.

    Attributes:
        begin: the cost before it.
        end: the cost after it.
    """

    name: str
    amount: Money
    begin: Decimal
    end: Decimal
    is_total: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartHead:
    """What stands above the waterfall.

    Attributes:
        name: of the product, or of what else was made.
        subtitle: which batches they are.
    """

    name: str
    subtitle: str


def variance_chart(compared: Waterfall, head: ChartHead, form: ImageForm, *, locale: str) -> bytes:
    """The variances of a batch, or several, as an image: each cause begins where the one before it ends.

    The largest comes first. Figures are those of the statement, or sums of them; only the places of bars are floats.
    """
    return drawn(_chart(compared, head, labels_for(locale, "variances")), form)


def named(variance: StatedVariance, labels: Labels) -> str:
    """A cause and what it is about, for instance 'material usage: HDPE flakes'."""
    kind = labels(variance.kind.traits.label)
    return f"{kind}{labels.colon}{literal(unisolated(labels.told(variance.name)))}"


@exactly
def _chart(compared: Waterfall, head: ChartHead, labels: Labels) -> Chart:
    rows, name = tuple(_rows(compared, labels)), literal(head.name)
    left = -_GAP - max(text_width(shortened(row.name, _WIDEST_NAME)) for row in rows)
    told = labels.told(compared.text)
    how_to_read = labels("Costs more to the right, less to the left.")
    steps = (_told(row, labels) for row in rows)
    return Chart(
        title=f"{isolated(name)}{labels.colon}{told}",
        heading=f"{shortened(name, _WIDEST_HEADING)}{labels.colon}{_signed(compared.variance, labels)}",
        subtitle=(told, head.subtitle, how_to_read),
        description="; ".join([f"{isolated(name)}{labels.colon}{told}", head.subtitle, *steps]),
        left=left,
        body=_body(rows, left, labels),
    )


def _rows(statement: Waterfall, labels: Labels) -> Iterator[_Row]:
    standard, cost = statement.standard_cost, statement.standard_cost.amount
    yield _Row(name=labels("should have cost"), amount=standard, begin=cost, end=cost, is_total=True)
    shown, others = statement.variances[:GREATEST], statement.variances[GREATEST:]
    steps = [(named(each, labels), each.amount.amount) for each in shown]
    if others:
        together = sum((each.amount.amount for each in others), ZERO)
        steps.append((labels("{count} other causes", count=len(others)), together))
    for name, amount in steps:
        yield _Row(name=name, amount=in_currency(amount, standard.currency), begin=cost, end=cost + amount)
        cost += amount
    yield _Row(name=labels("cost"), amount=statement.actual_cost, begin=cost, end=cost, is_total=True)


def _body(rows: Sequence[_Row], left: float, labels: Labels) -> Layer:
    """The Vega-Lite view: names, bars and totals, and amounts in a column."""
    data = [_datum(place, row, labels) for place, row in enumerate(rows, start=1)]
    totals = [datum for datum, row in zip(data, rows, strict=True) if row.is_total]
    steps = [datum for datum, row in zip(data, rows, strict=True) if not row.is_total]
    ends = [float(each) for row in rows for each in (row.begin, row.end)]
    room = (max(ends) - min(ends)) * 0.04 or 1.0
    bounds = [min(ends) - room, max(ends) + room]
    amounts_at = _BARS + _GAP + max(text_width(datum["amount"]) for datum in data)
    right, bold = {"align": "right"}, {"fontWeight": "bold"}
    return {
        "width": _BARS,
        "height": _ROW * len(rows),
        "encoding": {"y": field("row", scale={"domain": [0.5, len(rows) + 0.5], "reverse": True, "nice": False})},
        "layer": [
            _totals(totals, bounds),
            _bars(steps, bounds),
            *(
                _column(some, member, at, style)
                for member, at, where in (("name", left, {}), ("amount", amounts_at, right))
                for some, style in ((totals, where | bold), (steps, where))
            ),
        ],
    }


def _datum(place: int, row: _Row, labels: Labels) -> dict[str, Any]:
    return {
        "row": place,
        "name": shortened(row.name, _WIDEST_NAME),
        "amount": formatted_amount(row.amount, labels.locale) if row.is_total else _signed(row.amount, labels),
        "begin": float(row.begin),  # places; the figures themselves are text
        "end": float(row.end),
        "colour": VERMILION if row.end > row.begin else SKY_BLUE,
        "about": _told(row, labels),
    }


def _signed(amount: Money, labels: Labels) -> str:
    told = formatted_amount(amount, labels.locale)
    return f"+{told}" if amount.amount > 0 else told


def _told(row: _Row, labels: Labels) -> str:
    told = formatted_amount(row.amount, labels.locale) if row.is_total else _signed(row.amount, labels)
    return f"{isolated(row.name)}{labels.colon}{told}"


def _bars(steps: Sequence[Datum], bounds: Sequence[float]) -> Layer:
    mark = {"type": "bar", "orient": "horizontal", "size": 14, "stroke": INK, "strokeWidth": 0.5}
    x = field("begin", scale={"domain": list(bounds), "nice": False, "zero": False})
    return layer(mark, steps, x=x, x2={"field": "end"}, fill=as_it_is("colour"), description=words("about"))


def _totals(totals: Sequence[Datum], bounds: Sequence[float]) -> Layer:
    mark = {"type": "point", "shape": "diamond", "size": 110, "filled": True, "fill": BLUE, "stroke": FAINT}
    x = field("begin", scale={"domain": list(bounds), "nice": False, "zero": False})
    return layer(mark, totals, x=x, description=words("about"))


def _column(data: Sequence[Datum], member: str, place: float, style: Layer) -> Layer:
    mark = {"type": "text", "align": "left", **style}
    return layer(mark, data, x={"value": place}, text=words(member), description=words("about"))
