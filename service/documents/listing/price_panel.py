"""A panel of a price history: the amounts in one currency as steps over time."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from enum import Enum
from itertools import groupby
from zoneinfo import ZoneInfo

from service.documents.drawing.drawing import (
    BLUE,
    FAINT,
    PAPER,
    VERMILION,
    Datum,
    Layer,
    field,
    layer,
    text_width,
    words,
)
from service.documents.drawing.scales import Label, amount_marks, day_marks, labelled, legend, without_overlap
from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_measure,
    formatted_share,
    formatted_unit_amount,
)
from service.documents.writing.labels import Labels
from service.domain.listing.price_history import PriceHistoryEntry, PriceInForce
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit

_WIDTH, _HEIGHT, _GRID = 640, 210, "#dddddd"
_SAMPLE, _GAP, _HEADING = 26, 8, -22
_FEW = 60
"""Most steps that get a mark each; more would overlap."""
_LABELLED = 24
"""Most steps that may get a label each; of more only the first, the last, the least and the greatest."""
_NEAR, _ABOVE, _BELOW, _AT_THE_END = (-13, 13), (-13, 13, -27, 27, -41, 41), (13, -13, 27, -27, 41, -41), (0, -14, 14)
"""Places of labels, in pixels below the point (above if negative), the best first."""


class Look(Enum):
    """How a series is drawn: colour, dashes and mark."""

    PRICE = (BLUE, (1, 0), "circle")
    UNIT_COST = (VERMILION, (5, 3), "diamond")

    def line(self) -> Layer:
        return {"stroke": self.value[0], "strokeWidth": 2, "strokeDash": self.value[1]}


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """An amount for as long as it was in force.

    Attributes:
        begin: POSIX time in seconds, a float because it is only a position.
        end: the moment after it, likewise.
        lasts: whether it is in force now.
        is_price: whether it is the price, of one piece or unit, and not the unit cost.
    """

    begin: float
    end: float
    amount: Money
    price: PriceInForce
    lasts: bool
    is_price: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Terms:
    """What all panels of a history share: first and last day, time zone, and words."""

    first: date
    last: date
    zone: ZoneInfo
    words: Labels

    @property
    def locale(self) -> str:
        return self.words.locale

    def begin(self, day: date) -> float:
        """The first moment of a day."""
        return datetime.combine(day, time(), self.zone).timestamp()

    @property
    def end(self) -> float:
        """The first moment after the last day."""
        return self.begin(self.last + timedelta(days=1))

    def told(self, price: PriceInForce) -> str:
        """The text of a price."""
        words, entry, locale = self.words, price.entry, self.locale
        day = formatted_date(price.since.astimezone(self.zone).date(), locale)
        cost = self.of_one(formatted_unit_amount(entry.unit_cost, locale), entry.unit)
        told = [words("unit cost {cost}", cost=cost)]
        if entry.margin_share is not None:
            told.append(words("margin {share}", share=formatted_share(entry.margin_share, locale)))
        since = words("{price} since {day}", price=self.price(entry), day=day)
        back = f", {words('put back')}" if price.is_put_back else ""
        return f"{since}{back} ({', '.join(told)})"

    def price(self, entry: PriceHistoryEntry) -> str:
        """The price, with what it is for unless that is a piece."""
        price, base = formatted_amount(entry.price, self.locale), entry.base_quantity
        if base == 1:
            return self.of_one(price, entry.unit)
        number = formatted_measure(Decimal(base), entry.unit, self.locale)
        return self.words("{price} per {number}", price=price, number=number)

    def of_one(self, amount: str, unit: Unit) -> str:
        """An amount for one of a unit; for a piece it stands alone."""
        return amount if unit is Unit.PIECE else f"{amount} {self.words.per(unit)}"

    def label(self, step: Step) -> str:
        """The label of a step."""
        shown = formatted_unit_amount(step.amount, self.locale)
        is_back = step.price.is_put_back and step.is_price
        return self.words("{price} put back", price=shown) if is_back else shown


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    """Positions of amounts and moments."""

    moments: tuple[float, float]
    amounts: tuple[float, float]

    def x(self) -> Layer:
        return field("at", scale={"domain": self.moments, "nice": False, "zero": False})

    def y(self) -> Layer:
        return field("amount", scale={"domain": self.amounts, "nice": False, "zero": False})

    def place(self, at: float, amount: Decimal) -> tuple[float, float]:
        (left, right), (least, greatest) = self.moments, self.amounts
        return _WIDTH * (at - left) / (right - left), _HEIGHT * (greatest - float(amount)) / (greatest - least)


def panel(currency: str, series: Mapping[Look, Sequence[Step]], terms: Terms) -> Layer:
    """The Vega-Lite view of a currency's series, each with at least one step."""
    amounts = [step.amount.amount for steps in series.values() for step in steps]
    marks = amount_marks(min(amounts), max(amounts))
    scale = _Scale(moments=(terms.begin(terms.first), terms.end), amounts=(float(marks[0]), float(marks[-1])))
    return {
        "width": _WIDTH,
        "height": _HEIGHT,
        "layer": [
            *_amount_axis(marks, currency, scale, terms),
            *_day_axis(scale, terms),
            *legend(_named(series, currency, terms), y=_HEADING, sample=_SAMPLE, gap=_GAP),
            *(_line(look, steps, scale) for look, steps in series.items()),
            *(_points(look, steps, scale, terms) for look, steps in series.items() if len(steps) <= _FEW),
            *_labels(without_overlap(_wanted(series, scale, terms))),
        ],
    }


def _amount_axis(marks: Sequence[Decimal], currency: str, scale: _Scale, terms: Terms) -> Iterator[Layer]:
    data = [
        {"amount": float(mark), "text": formatted_amount(in_currency(mark.normalize(), currency), terms.locale)}
        for mark in marks
    ]
    yield layer({"type": "rule", "stroke": _GRID}, data, y=scale.y(), x={"value": 0}, x2={"value": "width"})
    mark = {"type": "text", "align": "right", "fill": FAINT}
    yield layer(mark, data, y=scale.y(), x={"value": -_GAP}, text=words("text"))


def _day_axis(scale: _Scale, terms: Terms) -> Iterator[Layer]:
    data = [
        {"at": terms.begin(day), "text": formatted_date(day, terms.locale, is_short=True)}
        for day in day_marks(terms.first, terms.last)
    ]
    yield layer({"type": "rule", "stroke": _GRID}, data, x=scale.x(), y={"value": 0}, y2={"value": _HEIGHT + 4})
    yield layer({"type": "text", "fill": FAINT}, data, x=scale.x(), y={"value": _HEIGHT + 15}, text=words("text"))


def _named(series: Mapping[Look, Sequence[Step]], currency: str, terms: Terms) -> Iterator[tuple[str, Layer]]:
    words, steps = terms.words, series.get(Look.PRICE, ())
    unit = next(step.price.entry.unit for each in series.values() for step in each)
    is_of_one = unit is not Unit.PIECE or all(step.price.entry.base_quantity == 1 for step in steps)
    price = words("price") if is_of_one else words("price of a piece")
    names, amount = {Look.PRICE: price, Look.UNIT_COST: words("unit cost")}, terms.of_one(currency, unit)
    return ((f"{names[look]}, {amount}", look.line()) for look in series)


def _line(look: Look, steps: Sequence[Step], scale: _Scale) -> Layer:
    """The steps, with a gap where no amount of this currency was in force."""
    data: list[Datum] = []
    run = 0
    for place, step in enumerate(steps):
        if place and steps[place - 1].end != step.begin:
            run += 1
        data.append({"at": step.begin, "amount": float(step.amount.amount), "run": run, "place": len(data)})
        if place + 1 == len(steps) or steps[place + 1].begin != step.end:
            data.append({"at": step.end, "amount": float(step.amount.amount), "run": run, "place": len(data)})
    mark = {"type": "line", "interpolate": "step-after", "aria": False, **look.line()}
    return layer(mark, data, x=scale.x(), y=scale.y(), detail=words("run"), order=field("place"))


def _points(look: Look, steps: Sequence[Step], scale: _Scale, terms: Terms) -> Layer:
    data = [{"at": step.begin, "amount": float(step.amount.amount), "about": terms.told(step.price)} for step in steps]
    colours = {"fill": look.value[0], "stroke": PAPER, "strokeWidth": 1, "opacity": 1}
    mark = {"type": "point", "shape": look.value[2], "size": 50, **colours}
    return layer(mark, data, x=scale.x(), y=scale.y(), description=words("about"))


def _wanted(series: Mapping[Look, Sequence[Step]], scale: _Scale, terms: Terms) -> Iterator[Label]:
    """Labels of the present amounts, then of the first, greatest and least, then of all steps if they are few."""
    for steps in series.values():
        if steps[-1].lasts:
            x, y = scale.place(steps[-1].end, steps[-1].amount.amount)
            yield Label(text=terms.label(steps[-1]), x=x + _GAP, y=y, places=_AT_THE_END, is_bold=True)
    for steps in series.values():
        told = [steps[-1]] if steps[-1].lasts else []
        greatest = max(steps, key=lambda step: step.amount.amount)
        least = min(steps, key=lambda step: step.amount.amount)
        for step, places in ((steps[0], _ABOVE), (greatest, _ABOVE), (least, _BELOW), (steps[-1], _ABOVE)):
            if step not in told:
                told.append(step)
                yield _at_its_begin(step, scale, terms, places)
        if len(steps) <= _LABELLED:
            yield from (_at_its_begin(step, scale, terms, _NEAR) for step in steps if step not in told)


def _at_its_begin(step: Step, scale: _Scale, terms: Terms, places: tuple[float, ...]) -> Label:
    x, y = scale.place(step.begin, step.amount.amount)
    text = terms.label(step)
    is_before = x + text_width(text) > _WIDTH
    return Label(text=text, x=x, y=y, places=places, is_before=is_before)


def _labels(labels: Iterable[Label]) -> Iterator[Layer]:
    """Labels grouped by style."""

    def way(label: Label) -> tuple[bool, bool]:
        return label.is_before, not label.is_bold

    for _, same in groupby(sorted(labels, key=way), key=way):
        yield from labelled(list(same))
