"""The period of a plan: a month of the calendar, less the days on which the workshop is closed."""

from calendar import monthrange
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from service.domain.making.resources import WORKING_WEEK, Weekday
from service.domain.scheduling.working_time import Shift
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, exactly, snapped


@dataclass(frozen=True, slots=True, kw_only=True)
class Period:
    """A month of the calendar and all days on which the workshop is closed, in the month or not."""

    first_day: date
    last_day: date
    closed_days: frozenset[date] = frozenset()

    @property
    def days(self) -> int:
        return (self.last_day - self.first_day).days + 1

    @property
    def days_closed(self) -> int:
        """Days of the month on which the workshop is closed, weekends included."""
        return sum(self.first_day <= day <= self.last_day for day in self.closed_days)

    @property
    @exactly
    def weeks(self) -> Decimal:
        """Working weeks: days from Monday to Friday on which the workshop is open ÷ 5."""
        an_hour_a_week = self.minutes(ONE, WORKING_WEEK)
        assert an_hour_a_week is not None  # its hours are known
        return an_hour_a_week / MINUTES_PER_HOUR

    @exactly
    def minutes(self, hours_per_week: Decimal | None, weekdays: Collection[Weekday]) -> Decimal | None:
        """Minutes that something works in the month; None if its hours a week are unknown."""
        if hours_per_week is None:
            return None
        shift = Shift(hours_per_week=hours_per_week, weekdays=frozenset(weekdays), closed_days=self.closed_days)
        return snapped(shift.minutes_between(self.first_day, self.days))

    def nearest(self, day: date) -> date:
        """The day of the month that is nearest to a day."""
        return min(max(day, self.first_day), self.last_day)


def period_of(month: str, closed_days: frozenset[date] = frozenset()) -> Period:
    """The period of a month of the calendar, for instance "2026-12"."""
    first_day = date.fromisoformat(f"{month}-01")
    _, days = monthrange(first_day.year, first_day.month)
    return Period(first_day=first_day, last_day=first_day + timedelta(days=days - 1), closed_days=closed_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodStatement:
    """The month of the calendar that a plan is for.

    Attributes:
        first_day: of the month.
        last_day: of the month.
        days_closed: days of it on which the workshop is closed, weekends included.
    """

    first_day: date
    last_day: date
    days_closed: int
