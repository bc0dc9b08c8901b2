"""The load of machines and people in the chart of a month: a bar for each."""

from collections.abc import Sequence
from decimal import Decimal

from service.documents.drawing.drawing import (
    FAINT,
    INK,
    ORANGE,
    SKY_BLUE,
    VERMILION,
    Datum,
    Layer,
    as_it_is,
    in_pixels,
    layer,
    literal,
    shortened,
    words,
)
from service.documents.month.month_writing import whole_minutes
from service.documents.writing.formats import formatted_number, formatted_share, isolated
from service.documents.writing.labels import Labels
from service.domain.month.statement import LoadStatement, MonthStatement
from service.domain.values.exact import ZERO

MOST_LOADS = 24
"""Most machines and labour grades shown, the fullest first."""
WIDTH, ROW, WIDEST_NAME = 520, 24, 200


def shown_loads(statement: MonthStatement) -> list[LoadStatement]:
    """The loads: the bottleneck, then the fullest first, those of unknown capacity last."""
    ordered = sorted(statement.loads, key=lambda load: (load.minutes_available is None, -(load.load_share or ZERO)))
    return sorted(ordered, key=lambda load: not load.is_bottleneck)[:MOST_LOADS]


def told_time(load: LoadStatement, said: Labels) -> str:
    """Minutes needed and available, with their share, and what is to be said of them."""
    minutes, there_are = whole_minutes(load)
    needed = formatted_number(minutes, said.locale)
    if there_are is None:
        return said("{needed} minutes; hours a week are not registered", needed=needed)
    available = formatted_number(there_are, said.locale)
    share = "" if load.load_share is None else f" ({formatted_share(load.load_share, said.locale)})"
    notes = ((load.is_bottleneck, said("bottleneck")), (load.is_over_full, said("too much")))
    told = said("{needed} of {available} minutes", needed=needed, available=available)
    return ", ".join([f"{told}{share}", *(note for is_so, note in notes if is_so)])


def time_panel(loads: Sequence[LoadStatement], left: float, said: Labels) -> Layer:
    """A bar for each machine and grade, as long as the share of its time that the plan takes."""
    longest = max([Decimal(1), *(load.load_share or ZERO for load in loads)])
    data = [_bar(place, load, longest, said) for place, load in enumerate(loads)]
    all_of_it = float(WIDTH / longest)
    bar = {"type": "bar", "orient": "horizontal", "size": 14, "stroke": INK, "strokeWidth": 0.5}
    text = {"type": "text", "align": "left"}
    ends = {"x": {"value": all_of_it}, "y": {"value": -4}, "y2": {"value": ROW * 2 * len(loads)}}
    caption = [{"text": said("all the time there is")}]
    side = {"align": "right"} if all_of_it > WIDTH / 2 else {"align": "left"}
    row, length = in_pixels("row"), in_pixels("length")
    return {
        "width": WIDTH,
        "height": ROW * 2 * len(loads),
        "layer": [
            layer(bar, data, x=length, x2={"datum": 0}, y=row, fill=as_it_is("colour"), description=words("about")),
            layer({"type": "rule", "stroke": INK, "strokeDash": [2, 3]}, [{}], **ends),
            layer(text | side | {"fill": FAINT}, caption, x={"value": all_of_it}, y={"value": -12}, text=words("text")),
            layer(text, data, x={"value": left}, y=row, text=words("name")),
            layer(text, data, x={"value": 0}, y=in_pixels("below"), text=words("time")),
        ],
    }


def _bar(place: int, load: LoadStatement, longest: Decimal, said: Labels) -> Datum:
    time = told_time(load, said)
    return {
        "row": ROW * (2 * place + 0.5),
        "below": ROW * (2 * place + 1.25),
        "name": shortened(load.name, WIDEST_NAME),
        "time": time,
        "length": float(WIDTH * (load.load_share or ZERO) / longest),
        "colour": VERMILION if load.is_over_full else ORANGE if load.is_bottleneck else SKY_BLUE,
        "about": f"{isolated(literal(load.name))}{said.colon}{time}",
    }
