"""Working time: the minutes of a day, and when a number of minutes is worked."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.making.resources import WORKING_WEEK, Weekday
from service.domain.scheduling.working_time import Closure, Moment, Shift, closed_days
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import references_in
from tests.domain.examples import D

MONDAY = date(2026, 11, 30)
CHRISTMAS = Closure(name="Christmas", first_day=date(2026, 12, 24), last_day=date(2027, 1, 3))


def shift(hours: str | None = "40", weekdays: tuple[Weekday, ...] = WORKING_WEEK, *closures: Closure) -> Shift:
    return Shift(
        hours_per_week=None if hours is None else D(hours),
        weekdays=frozenset(weekdays),
        closed_days=closed_days(closures),
    )


class TestADay:
    def test_has_an_equal_part_of_the_week_on_working_days_alone(self) -> None:
        week = [shift().minutes_on(MONDAY + timedelta(days=place)) for place in range(7)]

        assert week == [480, 480, 480, 480, 480, 0, 0]  # 40 h × 60 ÷ 5

    def test_that_is_closed_has_none(self) -> None:
        working = shift("40", WORKING_WEEK, CHRISTMAS)

        assert [working.minutes_on(date(2026, 12, day)) for day in (23, 24, 31)] == [480, 0, 0]
        assert working.minutes_on(date(2027, 1, 4)) == 480

    def test_with_unknown_hours_has_none(self) -> None:
        assert shift(None).minutes_on(MONDAY) == 0

    def test_add_up_over_some_days(self) -> None:
        assert shift("10", (Weekday.MONDAY, Weekday.SATURDAY)).minutes_between(MONDAY, 14) == 1200


class TestWork:
    @pytest.mark.parametrize(
        ("minutes", "day", "share"),
        [
            ("240", MONDAY, "0.5"),
            ("480", MONDAY, "1"),
            ("481", date(2026, 12, 1), "0.002083333333333333333333333333333333"),
            ("2400", date(2026, 12, 4), "1"),  # the whole week
            ("2880", date(2026, 12, 7), "1"),  # and on the next Monday
        ],
    )
    def test_is_over_when_its_minutes_are_worked(self, minutes: str, day: date, share: str) -> None:
        end = shift().after(Moment.begin_of(MONDAY), D(minutes))

        assert end is not None
        assert (end.day, round(end.share, 20)) == (day, round(D(share), 20))

    def test_goes_on_where_it_began(self) -> None:
        assert shift().after(Moment(MONDAY, D("0.75")), D("240")) == Moment(date(2026, 12, 1), D("0.25"))

    def test_leaves_weekends_and_closures_out(self) -> None:
        working = shift("40", WORKING_WEEK, CHRISTMAS)

        assert working.after(Moment.begin_of(date(2026, 12, 23)), D(492)) == Moment(date(2027, 1, 4), D("0.025"))

    def test_that_begins_on_a_closed_day_waits(self) -> None:
        assert shift().after(Moment.begin_of(date(2026, 12, 5)), D(480)) == Moment(date(2026, 12, 7), D(1))

    def test_of_no_minutes_is_over_at_once(self) -> None:
        assert shift("0").after(Moment.begin_of(MONDAY), D(0)) == Moment.begin_of(MONDAY)

    def test_with_unknown_hours_takes_no_time(self) -> None:
        assert shift(None).after(Moment.begin_of(MONDAY), D(10**9)) == Moment.begin_of(MONDAY)

    @pytest.mark.parametrize(("hours", "minutes"), [("0", "1"), ("1", "1000000")])
    def test_beyond_ten_years_is_never_over(self, hours: str, minutes: str) -> None:
        assert shift(hours).after(Moment.begin_of(MONDAY), D(minutes)) is None

    @pytest.mark.parametrize("first", [date(9999, 12, 1), date.max])
    def test_is_computed_up_to_the_end_of_the_calendar(self, first: date) -> None:
        assert shift().after(Moment.begin_of(first), D(100_000)) is None
        assert shift("20").after(Moment.begin_of(first), D(60)) == Moment(first, D("0.25"))  # both are working days

    def test_is_never_over_where_every_day_for_ten_years_is_closed(self) -> None:
        years = [date(year, 11, 30) for year in range(2026, 2038)]
        closed = [Closure(name="x", first_day=one, last_day=other) for one, other in pairwise(years)]

        assert shift("40", WORKING_WEEK, *closed).after(Moment.begin_of(MONDAY), D(1)) is None

    def test_that_fills_a_day_in_parts_is_over_on_it(self) -> None:
        """A day of 420 minutes in 21 parts of 20: a part is 1/21 of the day, which no decimal equals."""
        moment: Moment | None = Moment.begin_of(MONDAY)
        for _ in range(21):
            assert moment is not None
            moment = shift("35").after(moment, D(20))

        assert moment is not None
        assert moment.day == MONDAY

    def test_counts_the_29th_of_february(self) -> None:
        every_day = shift("7", tuple(Weekday))

        assert every_day.after(Moment.begin_of(date(2028, 2, 28)), D(180)) == Moment(date(2028, 3, 1), D(1))

    @given(st.integers(1, 5000), st.integers(1, 5000), st.integers(1, 168))
    def test_in_two_parts_is_over_when_it_would_be_in_one(self, one: int, other: int, hours: int) -> None:
        working, begin = shift(str(hours)), Moment.begin_of(MONDAY)

        first = working.after(begin, D(one))
        assert first is not None
        parts, whole = working.after(first, D(other)), working.after(begin, D(one + other))

        assert parts is not None
        assert whole is not None
        assert parts.day == whole.day
        assert abs(parts.share - whole.share) < D("1E-20")

    @given(
        st.decimals("0.1", 168, places=1),
        st.sets(st.sampled_from(Weekday), min_size=1),
        st.lists(st.tuples(st.integers(0, 900), st.integers(0, 60)), max_size=6),
        st.fractions(0, 1, max_denominator=8),
        st.decimals("0.001", 400_000, places=3),
    )
    def test_is_over_when_counting_day_by_day_says(
        self, hours: Decimal, weekdays: set[Weekday], closures: list[tuple[int, int]], begun: Fraction, minutes: Decimal
    ) -> None:
        closed = {MONDAY + timedelta(days=first + place) for first, days in closures for place in range(days + 1)}
        working = Shift(hours_per_week=hours, weekdays=frozenset(weekdays), closed_days=frozenset(closed))

        found = working.after(Moment(MONDAY, D(begun.numerator) / begun.denominator), minutes)

        day, left, share = MONDAY, Fraction(minutes), begun
        for _ in range(3661):
            if tuple(Weekday)[day.weekday()] in weekdays and day not in closed:
                there = Fraction(hours) * 60 / len(weekdays)
                if left <= there * (1 - share):
                    assert found is not None
                    assert found.day == day
                    assert abs(Fraction(found.share) - share - left / there) < Fraction(1, 10**20)
                    return
                left -= there * (1 - share)
            day, share = day + timedelta(days=1), Fraction(0)
        assert found is None


class TestClosures:
    @pytest.mark.parametrize(
        ("last", "told"), [("2026-11-29", "must not be before"), ("2027-12-03", "within a year of the first day")]
    )
    def test_end_after_they_begin_and_within_a_year(self, last: str, told: str) -> None:
        with pytest.raises(InvalidValuesError, match=told):
            Closure(name="x", first_day=MONDAY, last_day=date.fromisoformat(last))

    def test_refer_to_nothing(self) -> None:
        assert list(references_in(CHRISTMAS)) == []
