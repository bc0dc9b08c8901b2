"""A function prepared for many questions: it answers as if every segment were looked at."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from service.domain.solving.curve import Begin, Curve
from service.domain.solving.segments import Function, Interval, Segment, meetings, plus, value_at
from service.domain.values.exact import exactly
from tests.domain.strategies import figures


@st.composite
def functions(draw: st.DrawFn) -> Function:
    """Functions of up to nine segments with jumps, whose figures need all digits."""
    thirds = figures("-2", "2", 2).map(lambda figure: exactly(lambda: figure / 3)())
    ends = sorted(set(draw(st.lists(figures("0.5", "40", 1), max_size=8))))
    return tuple(
        Segment(above=above or Decimal(0), up_to=up_to, slope=draw(thirds), constant=draw(thirds) * 20)
        for above, up_to in pairwise([Decimal(0), *ends, None])
    )


levels = figures("-30", "30", 2)
lines = st.sampled_from(["0", "0.2", "1", "-0.5", "1.5"]).map(Decimal)


@given(functions(), levels, lines)
def test_where_it_reaches_a_level_is_found_though_segments_below_are_skipped(
    function: Function, level: Decimal, less: Decimal
) -> None:
    curve, walked = Curve(function), Curve(exactly(plus)(function, slope=-less))
    walked._peaks = []  # so that none is skipped

    found = exactly(lambda: tuple(curve.reaching(level, less)))()

    assert found == exactly(lambda: tuple(walked.reaching(level)))()
    assert exactly(curve.first)(level, less) == (Begin(found[0].low, found[0].is_low_included) if found else None)


@given(functions(), figures("0", "60", 2), lines)
def test_its_value_at_a_place_is_that_of_its_segment(function: Function, x: Decimal, less: Decimal) -> None:
    curve = Curve(function)

    assert exactly(curve.at)(x, less) == exactly(value_at)(exactly(plus)(function, slope=-less), x)
    assert exactly(lambda: curve.segment_at(x).at(x))() == exactly(value_at)(function, x)


@given(functions(), lines)
def test_it_rises_less_a_line_only_if_each_segment_does(function: Function, less: Decimal) -> None:
    curve = Curve(function)

    assert curve.rises(less) == (curve.is_rising and all(segment.slope >= less for segment in function))
    assert len(curve) == len(function)


def test_ranges_are_taken_only_as_they_are_needed() -> None:
    taken = []

    def ranges() -> Iterator[Interval]:
        for low in range(0, 100, 2):
            taken.append(low)
            yield Interval(low=Decimal(low), high=Decimal(low + 1))

    both = meetings(ranges(), [Interval(low=Decimal("5.5"), high=Decimal(90))])

    assert next(both) == (3, Interval(low=Decimal(6), high=Decimal(7)))
    assert taken == [0, 2, 4, 6]


def test_a_function_that_falls_or_is_flat_reaches_a_level_at_its_beginning() -> None:
    falling, flat = ((Segment(slope=Decimal(slope), constant=Decimal(4)),) for slope in ("-1", "0"))

    assert exactly(Curve(falling).first)(Decimal(3)) == Begin(Decimal(0), True)
    assert exactly(Curve(flat).first)(Decimal(4)) == Begin(Decimal(0), True)
    assert exactly(Curve(flat).first)(Decimal(5)) is None


def test_ranges_that_end_before_the_next_begins_are_left_behind() -> None:
    def ranges(*ends: str) -> list[Interval]:
        return [Interval(low=Decimal(low), high=Decimal(high)) for low, high in pairwise(ends)][::2]

    found = [each for _, each in meetings(ranges("0", "1", "6", "9"), ranges("0", "1", "2", "3", "4", "5", "7", "8"))]

    assert found == ranges("0", "1", "7", "8")
