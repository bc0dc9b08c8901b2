"""Piecewise linear functions: by hand, and compared with their definition at many places."""

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.domain.solving.curve import Curve
from service.domain.solving.segments import (
    EVERYWHERE,
    Function,
    Interval,
    Segment,
    clamped,
    common,
    is_rising,
    joined,
    line,
    plus,
    scaled,
    total,
    value_at,
)
from service.domain.values.exact import exactly
from tests.domain.strategies import figures

A_THIRD = Decimal(1) / Decimal(3)


def function(*segments: tuple[str, str]) -> Function:
    """Segments with these slopes and constants, each 10 long; the last has no end."""
    ends = [Decimal(10 * place) for place in range(len(segments))]
    return tuple(
        Segment(
            above=above,
            up_to=None if place == len(segments) - 1 else above + 10,
            slope=Decimal(slope),
            constant=Decimal(constant),
        )
        for place, (above, (slope, constant)) in enumerate(zip(ends, segments, strict=True))
    )


def interval(low: str, high: str | None = None, *, included: bool = True) -> Interval:
    return Interval(low=Decimal(low), is_low_included=included, high=None if high is None else Decimal(high))


STEPPED = function(("0.1", "0"), ("0.2", "0"), ("0", "5"))
"""0.1 x up to 10, 0.2 x up to 20, 5 beyond: jumps up at 10 from 1 to 2, and at 20 from 4 to 5."""


class TestAValue:
    @pytest.mark.parametrize(
        ("x", "value"),
        [("0", "0"), ("5", "0.5"), ("10", "1"), ("10.01", "2.002"), ("20", "4"), ("20.5", "5"), ("1000", "5")],
    )
    def test_is_that_of_the_segment_that_holds_the_place_including_its_upper_end(self, x: str, value: str) -> None:
        assert value_at(STEPPED, Decimal(x)) == Decimal(value)

    def test_beyond_an_end_by_a_rounding_error_is_that_at_the_end(self) -> None:
        just_beyond = Decimal("10.00000000000000000000000000000001")

        assert value_at(STEPPED, just_beyond) < Decimal("1.1")
        assert value_at(STEPPED, Decimal("10.00000000000000000000000001")) > 2


class TestASum:
    def test_of_one_part_is_that_part(self) -> None:
        assert total([STEPPED]) == STEPPED

    def test_has_a_piece_between_any_two_ends_of_its_parts(self) -> None:
        other = (Segment(up_to=Decimal(15), slope=Decimal(1)), Segment(above=Decimal(15), constant=Decimal(-1)))

        assert total([STEPPED, other]) == (
            Segment(above=Decimal(0), up_to=Decimal(10), slope=Decimal("1.1")),
            Segment(above=Decimal(10), up_to=Decimal(15), slope=Decimal("1.2")),
            Segment(above=Decimal(15), up_to=Decimal(20), slope=Decimal("0.2"), constant=Decimal(-1)),
            Segment(above=Decimal(20), up_to=None, slope=Decimal(0), constant=Decimal(4)),
        )

    def test_has_one_piece_where_its_parts_end_together(self) -> None:
        assert [segment.up_to for segment in total([STEPPED, STEPPED])] == [10, 20, None]

    def test_with_a_line_keeps_its_ends_whichever_comes_first(self) -> None:
        risen = function(("1.1", "-3"), ("1.2", "-3"), ("1", "2"))

        assert plus(STEPPED, slope=Decimal(1), constant=Decimal(-3)) == risen
        assert total([STEPPED, line(slope=Decimal(1), constant=Decimal(-3))]) == risen
        assert total([line(slope=Decimal(1), constant=Decimal(-3)), STEPPED]) == risen
        assert plus(STEPPED) == STEPPED

    def test_times_a_factor_keeps_its_ends(self) -> None:
        assert scaled(STEPPED, Decimal(-2)) == function(("-0.2", "0"), ("-0.4", "0"), ("0", "-10"))


class TestLimits:
    def test_that_are_absent_change_nothing(self) -> None:
        assert clamped(STEPPED, None, None) == STEPPED

    def test_cut_a_piece_where_it_crosses_them(self) -> None:
        """0.1 x is at least 0.5 and at most 2: it rises from 5 to 20."""
        assert clamped(line(slope=Decimal("0.1")), Decimal("0.5"), Decimal(2)) == (
            Segment(above=Decimal(0), up_to=Decimal(5), slope=Decimal(0), constant=Decimal("0.5")),
            Segment(above=Decimal(5), up_to=Decimal(20), slope=Decimal("0.1"), constant=Decimal(0)),
            Segment(above=Decimal(20), up_to=None, slope=Decimal(0), constant=Decimal(2)),
        )

    def test_cut_a_falling_piece_the_other_way_round(self) -> None:
        """5 − x is at most 3 and at least 0: it falls from 2 to 5."""
        assert clamped(line(slope=Decimal(-1), constant=Decimal(5)), Decimal(0), Decimal(3)) == (
            Segment(above=Decimal(0), up_to=Decimal(2), slope=Decimal(0), constant=Decimal(3)),
            Segment(above=Decimal(2), up_to=Decimal(5), slope=Decimal(-1), constant=Decimal(5)),
            Segment(above=Decimal(5), up_to=None, slope=Decimal(0), constant=Decimal(0)),
        )

    @pytest.mark.parametrize(
        ("least", "most", "segments"),
        [
            ("0", None, (("0.1", "0"), ("0.2", "0"), ("0", "5"))),  # never below it
            ("1", None, (("0", "1"), ("0.2", "0"), ("0", "5"))),  # the first segment meets it at its end only
            (None, "5", (("0.1", "0"), ("0.2", "0"), ("0", "5"))),
            (None, "2", (("0.1", "0"), ("0", "2"), ("0", "2"))),  # the second meets it where it begins only
            ("6", None, (("0", "6"), ("0", "6"), ("0", "6"))),
            (None, "0", (("0", "0"), ("0", "0"), ("0", "0"))),
        ],
    )
    def test_at_the_ends_of_segments_cut_none(
        self, least: str | None, most: str | None, segments: tuple[tuple[str, str], ...]
    ) -> None:
        limits = [None if each is None else Decimal(each) for each in (least, most)]

        assert clamped(STEPPED, *limits) == function(*segments)

    def test_that_are_equal_leave_a_constant(self) -> None:
        found = clamped(STEPPED, Decimal(3), Decimal(3))

        assert {value_at(found, Decimal(x)) for x in range(40)} == {3}


@exactly
def not_negative(segments: Function) -> tuple[Interval, ...]:
    return tuple(Curve(segments).reaching(Decimal(0)))


class TestWhereAFunctionIsNotNegative:
    @pytest.mark.parametrize(
        ("segments", "intervals"),
        [
            ([("1", "0")], [interval("0")]),
            ([("0", "0")], [interval("0")]),
            ([("0", "-1")], []),
            ([("1", "-4")], [interval("4")]),
            ([("-1", "4")], [interval("0", "4")]),
            ([("-1", "0")], [interval("0", "0")]),
            ([("-1", "-1")], []),
            ([("1", "-4"), ("1", "-14")], [interval("4", "10"), interval("14")]),  # a jump down
            ([("1", "-14"), ("1", "-4")], [interval("10", included=False)]),  # a jump up
            ([("1", "-10"), ("1", "-30")], [interval("10", "10"), interval("30")]),  # just at the upper end
            ([("-1", "4"), ("-1", "15")], [interval("0", "4"), interval("10", "15", included=False)]),
            ([("-1", "4"), ("-1", "10")], [interval("0", "4")]),  # it would be 0 at 10, which is not the segment's
            ([("-1", "30"), ("0", "0")], [interval("0", "10"), interval("10", included=False)]),
            ([("-1", "30"), ("0", "-1")], [interval("0", "10")]),
            ([("0", "-1"), ("1", "-10")], [interval("10", included=False)]),
        ],
    )
    def test_is_found_segment_by_segment(self, segments: list[tuple[str, str]], intervals: list[Interval]) -> None:
        assert not_negative(function(*segments)) == tuple(intervals)

    def test_counts_a_root_beyond_its_segment_by_a_rounding_error(self) -> None:
        """0.3 x − 1 is 0 at 10/3, where the segment ends; with 34 digits it may come out on either side of 0."""
        for end in (A_THIRD * 10, Decimal("3.33333333333333333333333333333")):
            segments = (
                Segment(up_to=end, slope=Decimal("0.3"), constant=Decimal(-1)),
                Segment(above=end, constant=Decimal(-1)),
            )
            (found,) = not_negative(segments)
            assert found.holds(end)

    def test_also_gives_where_a_function_reaches_a_level(self) -> None:
        segments = function(("1", "-4"), ("1", "-14"))

        assert tuple(Curve(segments).reaching(Decimal(3))) == not_negative(plus(segments, constant=Decimal(-3)))

    @pytest.mark.parametrize(
        ("segments", "rises"),
        [
            ([("1", "0")], True),
            ([("0", "0")], True),
            ([("-1", "0")], False),
            ([("1", "0"), ("1", "4")], True),
            ([("1", "0"), ("1", "0")], True),
            ([("1", "0"), ("1", "-0.1")], False),
            ([("1", "0"), ("-1", "90")], False),
        ],
    )
    def test_is_all_from_a_place_on_only_if_it_never_falls(self, segments: list[tuple[str, str]], rises: bool) -> None:
        assert is_rising(function(*segments)) is rises


class TestAnInterval:
    @pytest.mark.parametrize(
        ("found", "inside", "outside"),
        [
            (interval("1", "3"), ["1", "2", "3", "0.99999999999999999999999999999"], ["0.99", "3.01"]),
            (interval("1", "3", included=False), ["1.01", "3"], ["1", "1.0000000000000000000000000000001", "3.01"]),
            (interval("1"), ["1", "1E+20"], ["0"]),
            (interval("1", "1"), ["1"], ["0.9", "1.1"]),
        ],
    )
    def test_holds_what_lies_in_it_to_28_digits(self, found: Interval, inside: list[str], outside: list[str]) -> None:
        assert all(found.holds(Decimal(x)) for x in inside)
        assert not any(found.holds(Decimal(x)) for x in outside)

    @pytest.mark.parametrize(
        ("one", "other", "both"),
        [
            ([interval("0", "5")], [interval("3")], [interval("3", "5")]),
            ([interval("0", "5")], [interval("5", "9")], [interval("5", "5")]),
            ([interval("0", "5")], [interval("5", "9", included=False)], []),
            ([interval("0", "5")], [interval("6", "9")], []),
            ([interval("2", "5", included=False)], [interval("2", "9")], [interval("2", "5", included=False)]),
            ([interval("2", "5", included=False)], [interval("3", "9")], [interval("3", "5")]),
            ([interval("0", "2"), interval("4", "6")], [interval("1", "5")], [interval("1", "2"), interval("4", "5")]),
            (list(EVERYWHERE), [interval("7", included=False)], [interval("7", included=False)]),
            ([], [interval("7")], []),
        ],
    )
    def test_two_intervals_have_in_common_what_both_hold(
        self, one: list[Interval], other: list[Interval], both: list[Interval]
    ) -> None:
        assert common(one, other) == tuple(both)
        assert common(other, one) == tuple(both)


# Laws


@st.composite
def functions(draw: st.DrawFn) -> Function:
    """Functions of up to five segments with jumps; all figures have a few digits."""
    ends = sorted(set(draw(st.lists(figures("0.5", "40", 1), max_size=4))))
    edges = [Decimal(0), *ends, None]
    return tuple(
        Segment(
            above=above or Decimal(0),
            up_to=up_to,
            slope=draw(figures("-2", "2", 2)),
            constant=draw(figures("-20", "20", 1)),
        )
        for above, up_to in pairwise(edges)
    )


places = st.fractions(0, 60, max_denominator=97) | st.integers(0, 480).map(lambda eighths: Fraction(eighths, 8))


def defined(segments: Sequence[Segment], x: Fraction) -> Fraction:
    """The value of a function at a place, in fractions."""
    segment = next(each for each in segments if each.up_to is None or x <= Fraction(each.up_to))
    return Fraction(segment.slope) * x + Fraction(segment.constant)


def in_it(found: Interval, x: Fraction) -> bool:
    is_above = x > Fraction(found.low) or (found.is_low_included and x == Fraction(found.low))
    return is_above and (found.high is None or x <= Fraction(found.high))


@given(st.lists(functions(), min_size=1, max_size=4), places)
def test_a_sum_is_at_every_place_the_sum_of_its_parts(parts: list[Function], x: Fraction) -> None:
    found = exactly(total)(parts)

    assert defined(found, x) == sum(defined(each, x) for each in parts)


@given(functions(), figures("-3", "3", 2), places)
def test_a_multiple_is_at_every_place_the_multiple(one: Function, factor: Decimal, x: Fraction) -> None:
    assert defined(scaled(one, factor), x) == defined(one, x) * Fraction(factor)


@given(functions(), st.none() | figures("-20", "20", 1), st.none() | figures("-20", "20", 1), places)
def test_a_function_within_limits_is_what_it_was_or_the_limit(
    one: Function, least: Decimal | None, most: Decimal | None, x: Fraction
) -> None:
    assume(least is None or most is None or least <= most)

    found = exactly(clamped)(one, least, most)

    expected = defined(one, x)
    expected = expected if least is None else max(expected, Fraction(least))
    expected = expected if most is None else min(expected, Fraction(most))
    assert abs(defined(found, x) - expected) < Fraction(1, 10**25)


@given(functions(), st.none() | figures("-20", "20", 1), st.none() | figures("-20", "20", 1))
def test_its_pieces_follow_each_other_from_0_without_end(
    one: Function, least: Decimal | None, most: Decimal | None
) -> None:
    found = exactly(clamped)(exactly(total)([one, scaled(one, Decimal(2))]), least, most)

    assert found[0].above == 0
    assert [segment.up_to for segment in found[:-1]] == [segment.above for segment in found[1:]]
    assert found[-1].up_to is None
    assert all(segment.up_to > segment.above for segment in found[:-1] if segment.up_to is not None)


@given(functions(), st.lists(places, min_size=1, max_size=40))
def test_a_function_is_not_negative_exactly_within_the_intervals_found(one: Function, some: list[Fraction]) -> None:
    found = not_negative(one)

    ends = [Fraction(segment.up_to) for segment in one if segment.up_to is not None]
    for x in [Fraction(0), *ends, *(end + Fraction(1, 100) for end in ends), *some, Fraction(10**9)]:
        is_in_one = any(in_it(each, x) for each in found)
        assert is_in_one is (defined(one, x) >= 0) or abs(defined(one, x)) < Fraction(1, 10**25)


@given(functions())
def test_intervals_are_in_order_and_do_not_overlap(one: Function) -> None:
    found = not_negative(one)

    for first, second in pairwise(found):
        assert first.high is not None
        assert first.high < second.low or (first.high == second.low and not second.is_low_included)


@given(functions(), functions(), st.lists(places, min_size=1, max_size=40))
def test_what_two_have_in_common_is_exactly_what_both_hold(
    one: Function, other: Function, some: list[Fraction]
) -> None:
    first, second = not_negative(one), not_negative(other)

    both = exactly(common)(first, second)

    edges = [Fraction(edge) for each in (*first, *second) for edge in (each.low, each.high) if edge is not None]
    for x in [*edges, *(edge + Fraction(1, 1000) for edge in edges), *some]:
        is_in_both = any(in_it(each, x) for each in first) and any(in_it(each, x) for each in second)
        assert any(in_it(each, x) for each in both) is is_in_both


class TestRangesThatTouch:
    def test_are_one_and_others_stay(self) -> None:
        ranges = [
            interval("0", "10"),
            interval("10", "20", included=False),
            interval("30", "40"),
            interval("40", included=False),
        ]

        assert list(joined(ranges)) == [interval("0", "20"), interval("30")]

    def test_are_one_where_the_second_is_open_below_only(self) -> None:
        assert list(joined([interval("1", "2", included=False), interval("2", "3", included=False)])) == [
            interval("1", "3", included=False)
        ]

    def test_of_none_there_are_none(self) -> None:
        assert list(joined([])) == []
