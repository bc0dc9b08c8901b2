"""Round figures and days for the axes of a chart, its legend, and labels that do not overlap."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal

from service.documents.drawing.drawing import PAPER, TEXT_SIZE, Layer, in_pixels, layer, text_width, words
from service.domain.values.exact import MONTHS_PER_YEAR, exactly, whole_down, whole_up

_MOST_STEPS = 5
_DAYS = (1, 2, 7, 14)
_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120, 240, 600, 1200)
_LONGEST_MONTH = 31


@exactly
def amount_marks(least: Decimal, greatest: Decimal) -> tuple[Decimal, ...]:
    """Multiples of 1, 2 or 5 times a power of ten that span the range from the least to the greatest."""
    if least == greatest:
        around = abs(least) / 10 or Decimal(1)
        least, greatest = least - around, greatest + around
    span = greatest - least
    steps = (Decimal(digit).scaleb(span.adjusted() + power) for power in (-1, 0) for digit in (1, 2, 5))
    step = next(each for each in steps if span / each <= _MOST_STEPS)
    first, last = int(whole_down(least / step)), int(whole_up(greatest / step))
    return tuple(number * step for number in range(first, last + 1))


def day_marks(first: date, last: date) -> tuple[date, ...]:
    """At most seven days in the range, at equal intervals: days, or firsts of months."""
    span = (last - first).days
    for days in _DAYS:
        if span <= days * _MOST_STEPS:
            return tuple(first + timedelta(days=passed) for passed in range(0, span + 1, days))
    months = next((each for each in _MONTHS if span <= each * _LONGEST_MONTH * _MOST_STEPS), _MONTHS[-1])
    return tuple(_firsts_of_months(first, last, months))


def _firsts_of_months(first: date, last: date, step: int) -> Iterable[date]:
    """Firsts of every `step`th month counted from January, after the first day."""
    month = first.year * MONTHS_PER_YEAR + first.month - 1
    month += -month % step if first.day == 1 else step - month % step
    while (day := date(month // MONTHS_PER_YEAR, month % MONTHS_PER_YEAR + 1, 1)) <= last:
        yield day
        month += step


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text beside a point of a chart, in pixels.

    Attributes:
        y: of the point, downwards.
        places: heights above or below the point where it may be placed, the best first.
        is_before: whether it ends at the point rather than beginning there.
    """

    text: str
    x: float
    y: float
    places: tuple[float, ...]
    is_before: bool = False
    is_bold: bool = False

    def covers(self, other: "Label") -> bool:
        """Whether the two overlap, each in its first place."""
        (left, right), (others_left, others_right) = self._sides(), other._sides()
        apart = abs(self.y + self.places[0] - other.y - other.places[0])
        return left < others_right and others_left < right and apart < TEXT_SIZE + 2

    def _sides(self) -> tuple[float, float]:
        width = text_width(self.text)
        return (self.x - width, self.x) if self.is_before else (self.x, self.x + width)


def without_overlap(labels: Iterable[Label]) -> Sequence[Label]:
    """The labels that fit beside those before them, each with the place found for it."""
    found: list[Label] = []
    for label in labels:
        tries = (replace(label, places=(place,)) for place in label.places)
        place = next((each for each in tries if not any(each.covers(other) for other in found)), None)
        if place is not None:
            found.append(place)
    return found


def labelled(alike: Sequence[Label]) -> Iterator[Layer]:
    """Labels of one style, on a halo that keeps them readable over a line."""
    data = [{"x": label.x, "y": label.y + label.places[0], "text": label.text} for label in alike]
    weight = "bold" if alike[0].is_bold else "normal"
    halo = {"stroke": PAPER, "strokeWidth": 4, "strokeJoin": "round", "aria": False}
    for style in (halo, {}):
        mark = {"type": "text", "align": "right" if alike[0].is_before else "left", "fontWeight": weight, **style}
        yield layer(mark, data, x=in_pixels("x"), y=in_pixels("y"), text=words("text"))


def legend(series: Iterable[tuple[str, Layer]], *, y: float, sample: float, gap: float) -> Iterator[Layer]:
    """A legend in one row: a sample of each line, and its name."""
    left = 0.0
    for text, line in series:
        yield layer({"type": "rule", **line}, [{}], y={"value": y}, x={"value": left}, x2={"value": left + sample})
        place = {"x": {"value": left + sample + gap}, "y": {"value": y}}
        yield layer({"type": "text", "align": "left"}, [{"text": text}], text=words("text"), **place)
        left += sample + text_width(text) + 4 * gap
