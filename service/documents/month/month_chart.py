"""A month as a chart: proceeds and cost by volume, and the load of machines and people."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import partial

from service.documents.drawing.drawing import (
    BLUE,
    FAINT,
    INK,
    ORANGE,
    PAPER,
    SKY_BLUE,
    VERMILION,
    Chart,
    Datum,
    ImageForm,
    Layer,
    as_it_is,
    drawn,
    field,
    in_pixels,
    layer,
    literal,
    shortened,
    text_width,
    words,
)
from service.documents.drawing.scales import Label, amount_marks, labelled, legend, without_overlap
from service.documents.month.month_verdict import why_it_cannot_be_made
from service.documents.month.month_writing import whole_minutes, whole_pieces
from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_number,
    formatted_share,
    isolated,
)
from service.documents.writing.labels import Labels, labels_for
from service.domain.month.statement import LoadStatement, MonthStatement
from service.domain.month.verdict import Verdict
from service.domain.month.volume_statement import Milestone, ProfitAtVolume
from service.domain.values.exact import ZERO, exactly, half_up
from service.domain.values.money import in_currency

MOST_LOADS = 24
"""Most machines and labour grades shown, the fullest first."""
_WIDTH, _HEIGHT, _GAP, _ROW = 520, 260, 8, 24
_GRID = "#d9d9d9"
_WIDEST_NAME = 200
_ABOVE, _BEHIND = (-8, -24, -40, -56, 14), (0, 14, -14, 28)
"""Places of labels, in pixels below their points, the best first."""
_LINES: Sequence[Layer] = (
    {"stroke": BLUE, "strokeWidth": 2.5, "strokeDash": (1, 0)},
    {"stroke": VERMILION, "strokeWidth": 2.5, "strokeDash": (8, 4)},
)
"""Proceeds, and cost."""
_LEGEND = {"y": -16, "sample": 28, "gap": _GAP}


def month_chart(statement: MonthStatement, form: ImageForm, *, locale: str) -> bytes:
    """A month as an image: profit by volume above, load below.

    Figures are those of the statement, shares to a tenth of a percent; only positions and lengths are floats.
    """
    return drawn(_chart(statement, labels_for(locale, "month")), form)


@exactly
def _chart(statement: MonthStatement, said: Labels) -> Chart:
    locale = said.locale
    title = _title(statement, said)
    why = why_it_cannot_be_made(statement, locale, partial(shortened, width=_WIDEST_NAME))
    subtitle = said(
        "contribution {contribution} less fixed cost {fixed}, at the rates of {day}",
        contribution=formatted_amount(statement.contribution, locale),
        fixed=formatted_amount(statement.fixed_cost, locale),
        day=formatted_date(statement.as_of, locale),
    )
    subtitles = [*why, subtitle, *_idle(statement, said), *_supposed(statement, said)]
    volumes = [_told(each, statement, said) for each in statement.profit_by_volume]
    loads = _shown(statement)
    times = [f"{isolated(literal(load.name))}{said.colon}{_time(load, said)}" for load in loads]
    left = -_GAP - max([0.0, *(text_width(shortened(load.name, _WIDEST_NAME)) for load in loads)])
    panels = [_volume_panel(statement, said), *([_time_panel(loads, left, said)] if loads else [])]
    return Chart(
        title=title,
        heading=title,
        subtitle=tuple(subtitles),
        description="; ".join([title, *subtitles, *volumes, *times]),
        left=left,
        body={"spacing": 56, "vconcat": panels},
    )


def _title(statement: MonthStatement, said: Labels) -> str:
    """What the plan leaves; or that it cannot be made, or what it is short."""
    profit = statement.profit
    if statement.verdict is Verdict.CANNOT_BE_MADE:
        return said("A month's plan cannot be made")
    if statement.verdict is Verdict.LOSES:
        short = in_currency(-profit.amount, profit.currency)
        return said("A month's plan is {shortfall} short", shortfall=formatted_amount(short, said.locale))
    return said("A month's plan leaves {profit}", profit=formatted_amount(profit, said.locale))


def _idle(statement: MonthStatement, said: Labels) -> Iterator[str]:
    """What idle time is paid, if any."""
    idle = statement.paid_idle
    if idle is not None and idle.amount:
        yield said("{idle} of the fixed cost pays for idle time", idle=formatted_amount(idle, said.locale))


def _supposed(statement: MonthStatement, said: Labels) -> Iterator[str]:
    """What is not as registered, if anything."""
    if statement.supposed:
        things = shortened(", ".join(statement.supposed), _WIDEST_NAME * 2)
        yield said("supposed rates or facts of: {things}", things=things)


def _name(point: ProfitAtVolume, statement: MonthStatement, said: Labels) -> str:
    name = {
        Milestone.NOTHING: said("nothing sold"),
        Milestone.BREAK_EVEN: said("break-even"),
        Milestone.TARGET: said("target profit"),
        Milestone.PLAN: said("the plan"),
        Milestone.FULL_CAPACITY: said("bottleneck full"),
    }[point.milestone]
    return f"{name} ({said('cannot be made')})" if point.milestone in statement.beyond_capacity else name


def _told(point: ProfitAtVolume, statement: MonthStatement, said: Labels) -> str:
    pieces = formatted_number(whole_pieces(point), said.locale)
    profit = formatted_amount(point.profit, said.locale)
    volume = _name(point, statement, said)
    return said("{volume}: {pieces} pieces leave {profit}", volume=volume, pieces=pieces, profit=profit)


def _volume_panel(statement: MonthStatement, said: Labels) -> Layer:
    """Proceeds and cost, as straight lines over pieces of the mix."""
    points = statement.profit_by_volume
    if not any(point.pieces for point in points):
        mark = {"type": "text", "align": "left"}
        text = [{"text": said("Nothing is planned, so there is no volume to show.")}]
        return {"width": _WIDTH, "height": _ROW, "layer": [layer(mark, text, text=words("text"), x={"value": 0})]}
    amounts = [each.amount for point in points for each in (point.proceeds, point.cost)]
    across = amount_marks(ZERO, max(point.pieces for point in points))
    upwards = amount_marks(min(ZERO, *amounts), max(amounts))
    scale = _Scale(across, upwards)
    return {
        "width": _WIDTH,
        "height": _HEIGHT,
        "layer": [
            *_axes(statement, scale, said),
            *legend(zip((said("what it brings in"), said("what it costs")), _LINES, strict=True), **_LEGEND),
            *(_line(statement, scale, place) for place in range(len(_LINES))),
            *_labels(statement, scale, said),
            _points(statement, scale, said),
        ],
    }


class _Scale:
    """Positions of volumes and amounts in pixels."""

    def __init__(self, across: Sequence[Decimal], upwards: Sequence[Decimal]) -> None:
        self.across, self.upwards = across, upwards

    def x(self, pieces: Decimal) -> float:
        return float(_WIDTH * pieces / self.across[-1])

    def y(self, amount: Decimal) -> float:
        return float(_HEIGHT * (self.upwards[-1] - amount) / (self.upwards[-1] - self.upwards[0]))


def _axes(statement: MonthStatement, scale: _Scale, said: Labels) -> Iterator[Layer]:
    locale = said.locale
    heights = [
        {"y": scale.y(mark), "text": formatted_amount(in_currency(mark.normalize(), statement.currency), locale)}
        for mark in scale.upwards
    ]
    rule = {"type": "rule", "stroke": _GRID}
    yield layer(rule, heights, y=in_pixels("y"), x={"value": 0}, x2={"value": _WIDTH})
    right = {"type": "text", "align": "right", "fill": FAINT}
    yield layer(right, heights, y=in_pixels("y"), x={"value": -_GAP}, text=words("text"))
    volumes = [{"x": scale.x(mark), "text": formatted_number(mark.normalize(), locale)} for mark in scale.across]
    yield layer(rule, volumes, x=in_pixels("x"), y={"value": 0}, y2={"value": _HEIGHT + 4})
    yield from _across(volumes, said("pieces"), _HEIGHT + 15)
    if (shares := [_of_bottleneck(statement, mark) for mark in scale.across]) and None not in shares:
        told = [formatted_share(share, locale) for share in shares if share is not None]
        data = [{"x": datum["x"], "text": text} for datum, text in zip(volumes, told, strict=True)]
        yield from _across(data, said("of the bottleneck"), _HEIGHT + 31)


def _across(data: Sequence[Datum], caption: str, y: float) -> Iterator[Layer]:
    """Figures along the horizontal axis, and their caption."""
    mark = {"type": "text", "fill": FAINT}
    yield layer(mark, data, x=in_pixels("x"), y={"value": y}, text=words("text"))
    right = {"x": {"value": _WIDTH + 26}, "y": {"value": y}}
    yield layer(mark | {"align": "left"}, [{"text": caption}], text=words("text"), **right)


def _of_bottleneck(statement: MonthStatement, pieces: Decimal) -> Decimal | None:
    """The share of the bottleneck's time that a volume takes."""
    known = (point for point in statement.profit_by_volume if point.bottleneck_share and point.pieces)
    point = next(known, None)
    if point is None or point.bottleneck_share is None:
        return None
    return half_up(point.bottleneck_share * pieces / point.pieces, 3)


def _line(statement: MonthStatement, scale: _Scale, series: int) -> Layer:
    data = [
        {"x": scale.x(point.pieces), "y": scale.y((point.proceeds, point.cost)[series].amount)}
        for point in statement.profit_by_volume
    ]
    mark = {"type": "line", "aria": False, **_LINES[series]}
    return layer(mark, data, x=in_pixels("x"), y=in_pixels("y"), order=field("x"))


def _points(statement: MonthStatement, scale: _Scale, said: Labels) -> Layer:
    data = [
        {"x": scale.x(each.pieces), "y": scale.y(each.proceeds.amount), "about": _told(each, statement, said)}
        for each in statement.profit_by_volume
    ]
    mark = {"type": "point", "shape": "circle", "size": 60, "fill": BLUE, "stroke": PAPER, "opacity": 1}
    return layer(mark, data, x=in_pixels("x"), y=in_pixels("y"), description=words("about"))


def _labels(statement: MonthStatement, scale: _Scale, said: Labels) -> Iterator[Layer]:
    """The name and profit of each volume, beside its point."""
    wanted = []
    for each in statement.profit_by_volume:
        text = f"{_name(each, statement, said)}{said.colon}{formatted_amount(each.profit, said.locale)}"
        x, y = scale.x(each.pieces), scale.y(each.proceeds.amount)
        is_before = x > text_width(text)  # above the line on its left; near the origin on its right
        x, places = (x - 10, _ABOVE) if is_before else (x + 20, _BEHIND)
        is_plan = each.milestone is Milestone.PLAN
        wanted.append(Label(text=text, x=x, y=y, places=places, is_before=is_before, is_bold=is_plan))
    for label in without_overlap(wanted):
        yield from labelled([label])


def _shown(statement: MonthStatement) -> list[LoadStatement]:
    """The loads: the bottleneck, then the fullest first, those of unknown capacity last."""
    ordered = sorted(statement.loads, key=lambda load: (load.minutes_available is None, -(load.load_share or ZERO)))
    return sorted(ordered, key=lambda load: not load.is_bottleneck)[:MOST_LOADS]


def _time(load: LoadStatement, said: Labels) -> str:
    minutes, there_are = whole_minutes(load)
    needed = formatted_number(minutes, said.locale)
    if there_are is None:
        return said("{needed} minutes; hours a week are not registered", needed=needed)
    available = formatted_number(there_are, said.locale)
    share = "" if load.load_share is None else f" ({formatted_share(load.load_share, said.locale)})"
    notes = ((load.is_bottleneck, said("bottleneck")), (load.is_over_full, said("too much")))
    told = said("{needed} of {available} minutes", needed=needed, available=available)
    return ", ".join([f"{told}{share}", *(note for is_so, note in notes if is_so)])


def _time_panel(loads: Sequence[LoadStatement], left: float, said: Labels) -> Layer:
    """A bar for each machine and grade, as long as the share of its time that the plan takes."""
    longest = max([Decimal(1), *(load.load_share or ZERO for load in loads)])
    data = [_bar(place, load, longest, said) for place, load in enumerate(loads)]
    all_of_it = float(_WIDTH / longest)
    bar = {"type": "bar", "orient": "horizontal", "size": 14, "stroke": INK, "strokeWidth": 0.5}
    text = {"type": "text", "align": "left"}
    ends = {"x": {"value": all_of_it}, "y": {"value": -4}, "y2": {"value": _ROW * 2 * len(loads)}}
    caption = [{"text": said("all the time there is")}]
    side = {"align": "right"} if all_of_it > _WIDTH / 2 else {"align": "left"}
    row, length = in_pixels("row"), in_pixels("length")
    return {
        "width": _WIDTH,
        "height": _ROW * 2 * len(loads),
        "layer": [
            layer(bar, data, x=length, x2={"datum": 0}, y=row, fill=as_it_is("colour"), description=words("about")),
            layer({"type": "rule", "stroke": INK, "strokeDash": [2, 3]}, [{}], **ends),
            layer(text | side | {"fill": FAINT}, caption, x={"value": all_of_it}, y={"value": -12}, text=words("text")),
            layer(text, data, x={"value": left}, y=row, text=words("name")),
            layer(text, data, x={"value": 0}, y=in_pixels("below"), text=words("time")),
        ],
    }


def _bar(place: int, load: LoadStatement, longest: Decimal, said: Labels) -> Datum:
    time = _time(load, said)
    return {
        "row": _ROW * (2 * place + 0.5),
        "below": _ROW * (2 * place + 1.25),
        "name": shortened(load.name, _WIDEST_NAME),
        "time": time,
        "length": float(_WIDTH * (load.load_share or ZERO) / longest),
        "colour": VERMILION if load.is_over_full else ORANGE if load.is_bottleneck else SKY_BLUE,
        "about": f"{isolated(literal(load.name))}{said.colon}{time}",
    }
