"""The working time of a month of the calendar."""

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.making.resources import WORKING_WEEK, Weekday
from service.domain.scheduling.period import period_of

DECEMBER = "2026-12"
YEAR_END = frozenset(date(2026, 12, 24) + timedelta(days=place) for place in range(12))
"""From Christmas Eve, a Thursday, to 4 January."""


def test_a_month_has_the_days_of_the_calendar() -> None:
    assert [period_of(month).days for month in ("2026-12", "2027-02", "2028-02", "9999-12")] == [31, 28, 29, 31]


def test_it_works_on_its_working_days_and_on_none_that_are_closed() -> None:
    open_all, closed = period_of(DECEMBER), period_of(DECEMBER, YEAR_END)

    assert open_all.weeks == Decimal("4.6")  # 23 days from Monday to Friday
    assert closed.weeks == Decimal("3.4")  # less 24, 25, 28, 29, 30 and 31 December
    assert (open_all.days_closed, closed.days_closed) == (0, 8)


def test_minutes_are_those_of_the_weekdays_that_something_works_on() -> None:
    """December 2026 has four Fridays and Saturdays, of which the closures leave three of each."""
    weekend = (Weekday.FRIDAY, Weekday.SATURDAY)

    found = period_of(DECEMBER, YEAR_END)

    assert found.minutes(Decimal(10), weekend) == 6 * 5 * 60
    assert found.minutes(Decimal(40), WORKING_WEEK) == 17 * 8 * 60
    assert found.minutes(None, WORKING_WEEK) is None


def test_a_month_that_is_closed_throughout_has_no_time() -> None:
    february = frozenset(date(2027, 2, 1) + timedelta(days=place) for place in range(28))

    found = period_of("2027-02", february)

    assert found.weeks == 0
    assert found.days_closed == 28
    assert found.minutes(Decimal(40), WORKING_WEEK) == 0


@pytest.mark.parametrize(
    ("day", "nearest"), [("2026-11-30", "2026-12-01"), ("2026-12-09", "2026-12-09"), ("2027-03-01", "2026-12-31")]
)
def test_the_nearest_day_of_it(day: str, nearest: str) -> None:
    assert period_of(DECEMBER).nearest(date.fromisoformat(day)) == date.fromisoformat(nearest)


@given(st.integers(1, 168), st.sets(st.sampled_from(list(Weekday)), min_size=1), st.integers(1990, 2090))
def test_twelve_months_are_the_days_of_the_year(hours: int, weekdays: set[Weekday], year: int) -> None:
    """Against a count of the year's weekdays, in fractions."""
    found = [period_of(f"{year}-{month:02}").minutes(Decimal(hours), weekdays) or 0 for month in range(1, 13)]

    first = date(year, 1, 1)
    days = [first + timedelta(days=place) for place in range((date(year + 1, 1, 1) - first).days)]
    worked = sum(list(Weekday)[day.weekday()] in weekdays for day in days)
    assert abs(sum(map(Fraction, found)) - Fraction(hours * 60 * worked, len(weekdays))) < Fraction(1, 10**20)
