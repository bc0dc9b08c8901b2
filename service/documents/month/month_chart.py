"""A month as a chart: proceeds and cost by volume, and the load of machines and people."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from functools import partial

from service.documents.drawing.drawing import (
    BLUE,
    FAINT,
    PAPER,
    VERMILION,
    Chart,
    Datum,
    ImageForm,
    Layer,
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
from service.documents.month.month_time_chart import ROW, WIDEST_NAME, WIDTH, shown_loads, time_panel, told_time
from service.documents.month.month_verdict import why_it_cannot_be_made
from service.documents.month.month_writing import told_volume
from service.documents.writing.formats import (
    formatted_amount,
    formatted_date,
    formatted_number,
    formatted_share,
    isolated,
    unit_sign,
)
from service.documents.writing.labels import Labels, labels_for
from service.domain.month.statement import MonthStatement
from service.domain.month.verdict import Verdict
from service.domain.month.volume_statement import Milestone, ProfitAtVolume
from service.domain.values.exact import ZERO, exactly, half_up
from service.domain.values.money import in_currency
from service.domain.values.units import Unit

_HEIGHT, _GAP = 260, 8
_GRID = "#d9d9d9"
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
    why = why_it_cannot_be_made(statement, locale, partial(shortened, width=WIDEST_NAME))
    subtitle = said(
        "contribution {contribution} less fixed cost {fixed}, at the rates of {day}",
        contribution=formatted_amount(statement.contribution, locale),
        fixed=formatted_amount(statement.fixed_cost, locale),
        day=formatted_date(statement.as_of, locale),
    )
    subtitles = [*why, subtitle, *_idle(statement, said), *_supposed(statement, said)]
    volumes = [_told(each, statement, said) for each in statement.profit_by_volume]
    loads = shown_loads(statement)
    times = [f"{isolated(literal(load.name))}{said.colon}{told_time(load, said)}" for load in loads]
    left = -_GAP - max([0.0, *(text_width(shortened(load.name, WIDEST_NAME)) for load in loads)])
    panels = [_volume_panel(statement, said), *([time_panel(loads, left, said)] if loads else [])]
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
        things = shortened(", ".join(statement.supposed), WIDEST_NAME * 2)
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
    told, profit = told_volume(point, statement, said.locale), formatted_amount(point.profit, said.locale)
    volume = _name(point, statement, said)
    if statement.unit is Unit.PIECE:
        return said("{volume}: {pieces} pieces leave {profit}", volume=volume, pieces=told, profit=profit)
    return said("{volume}, {quantity}: {profit} is left", volume=volume, quantity=told, profit=profit)


def _extent(point: ProfitAtVolume) -> Decimal:
    """Where a volume is on the horizontal axis: its pieces or, if these do not add up, its share of the plan."""
    return (point.plan_share or ZERO) if point.pieces is None else point.pieces


def _volume_panel(statement: MonthStatement, said: Labels) -> Layer:
    """Proceeds and cost, as straight lines over pieces of the mix."""
    points = statement.profit_by_volume
    if not any(map(_extent, points)):
        mark = {"type": "text", "align": "left"}
        text = [{"text": said("Nothing is planned, so there is no volume to show.")}]
        return {"width": WIDTH, "height": ROW, "layer": [layer(mark, text, text=words("text"), x={"value": 0})]}
    amounts = [each.amount for point in points for each in (point.proceeds, point.cost)]
    across = amount_marks(ZERO, max(map(_extent, points)))
    upwards = amount_marks(min(ZERO, *amounts), max(amounts))
    scale = _Scale(across, upwards)
    return {
        "width": WIDTH,
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

    def x(self, extent: Decimal) -> float:
        return float(WIDTH * extent / self.across[-1])

    def y(self, amount: Decimal) -> float:
        return float(_HEIGHT * (self.upwards[-1] - amount) / (self.upwards[-1] - self.upwards[0]))


def _axes(statement: MonthStatement, scale: _Scale, said: Labels) -> Iterator[Layer]:
    locale = said.locale
    heights = [
        {"y": scale.y(mark), "text": formatted_amount(in_currency(mark.normalize(), statement.currency), locale)}
        for mark in scale.upwards
    ]
    rule = {"type": "rule", "stroke": _GRID}
    yield layer(rule, heights, y=in_pixels("y"), x={"value": 0}, x2={"value": WIDTH})
    right = {"type": "text", "align": "right", "fill": FAINT}
    yield layer(right, heights, y=in_pixels("y"), x={"value": -_GAP}, text=words("text"))
    shown = formatted_share if statement.unit is None else formatted_number
    volumes = [{"x": scale.x(mark), "text": shown(mark.normalize(), locale)} for mark in scale.across]
    yield layer(rule, volumes, x=in_pixels("x"), y={"value": 0}, y2={"value": _HEIGHT + 4})
    yield from _across(volumes, _counted_in(statement, said), _HEIGHT + 15)
    if (shares := [_of_bottleneck(statement, mark) for mark in scale.across]) and None not in shares:
        told = [formatted_share(share, locale) for share in shares if share is not None]
        data = [{"x": datum["x"], "text": text} for datum, text in zip(volumes, told, strict=True)]
        yield from _across(data, said("of the bottleneck"), _HEIGHT + 31)


def _counted_in(statement: MonthStatement, said: Labels) -> str:
    if statement.unit is None:
        return said("of the plan")
    return said("pieces") if statement.unit is Unit.PIECE else unit_sign(statement.unit, said.locale)


def _across(data: Sequence[Datum], caption: str, y: float) -> Iterator[Layer]:
    """Figures along the horizontal axis, and their caption."""
    mark = {"type": "text", "fill": FAINT}
    yield layer(mark, data, x=in_pixels("x"), y={"value": y}, text=words("text"))
    right = {"x": {"value": WIDTH + 26}, "y": {"value": y}}
    yield layer(mark | {"align": "left"}, [{"text": caption}], text=words("text"), **right)


def _of_bottleneck(statement: MonthStatement, extent: Decimal) -> Decimal | None:
    """The share of the bottleneck's time that a volume takes."""
    known = (point for point in statement.profit_by_volume if point.bottleneck_share and _extent(point))
    point = next(known, None)
    if point is None or point.bottleneck_share is None:
        return None
    return half_up(point.bottleneck_share * extent / _extent(point), 3)


def _line(statement: MonthStatement, scale: _Scale, series: int) -> Layer:
    data = [
        {"x": scale.x(_extent(point)), "y": scale.y((point.proceeds, point.cost)[series].amount)}
        for point in statement.profit_by_volume
    ]
    mark = {"type": "line", "aria": False, **_LINES[series]}
    return layer(mark, data, x=in_pixels("x"), y=in_pixels("y"), order=field("x"))


def _points(statement: MonthStatement, scale: _Scale, said: Labels) -> Layer:
    data = [
        {"x": scale.x(_extent(each)), "y": scale.y(each.proceeds.amount), "about": _told(each, statement, said)}
        for each in statement.profit_by_volume
    ]
    mark = {"type": "point", "shape": "circle", "size": 60, "fill": BLUE, "stroke": PAPER, "opacity": 1}
    return layer(mark, data, x=in_pixels("x"), y=in_pixels("y"), description=words("about"))


def _labels(statement: MonthStatement, scale: _Scale, said: Labels) -> Iterator[Layer]:
    """The name and profit of each volume, beside its point."""
    wanted = []
    for each in statement.profit_by_volume:
        text = f"{_name(each, statement, said)}{said.colon}{formatted_amount(each.profit, said.locale)}"
        x, y = scale.x(_extent(each)), scale.y(each.proceeds.amount)
        is_before = x > text_width(text)  # above the line on its left; near the origin on its right
        x, places = (x - 10, _ABOVE) if is_before else (x + 20, _BEHIND)
        is_plan = each.milestone is Milestone.PLAN
        wanted.append(Label(text=text, x=x, y=y, places=places, is_before=is_before, is_bold=is_plan))
    for label in without_overlap(wanted):
        yield from labelled([label])
