"""Working time: hours a week over the working days, less the days on which the workshop is closed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.resources import Weekday
from service.domain.values.declared import Line, Name, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, ZERO, exactly, snapped

GREATEST_DAYS = 3660
"""The horizon of scheduling: ten years."""
_LONGEST_CLOSURE = timedelta(days=366)
_DAY = timedelta(days=1)
_WEEKDAYS = tuple(Weekday)
_DAYS_A_WEEK = len(_WEEKDAYS)


@declared
class Closure:
    """Days on which the workshop makes nothing: holidays, stocktaking, a move.

    Attributes:
        name: what they are, for instance "Christmas".
        first_day: of them.
        last_day: of them; the same for a single day.
        note: anything worth knowing.
    """

    name: Name
    first_day: date
    last_day: date
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        if self.last_day < self.first_day:
            yield InvalidValueError(("last_day",), "must not be before the first day")
        elif self.last_day - self.first_day > _LONGEST_CLOSURE:
            yield InvalidValueError(("last_day",), "must be within a year of the first day; register another closure")


def closed_days(closures: Iterable[Closure]) -> frozenset[date]:
    """Every day of some closures."""
    return frozenset(
        date.fromordinal(ordinal)
        for each in closures
        for ordinal in range(each.first_day.toordinal(), each.last_day.toordinal() + 1)
    )


def last_day_looked_at(first: date) -> date:
    """The end of the horizon: ten years after a day, or the end of the calendar."""
    return date.fromordinal(min(first.toordinal() + GREATEST_DAYS, date.max.toordinal()))


class Moment(NamedTuple):
    """A point in working time: a day and the share of its working time that is over; sorts by time."""

    day: date
    share: Decimal

    @classmethod
    def begin_of(cls, day: date) -> "Moment":
        return cls(day, ZERO)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """The working hours of a machine or grade: spread evenly over the weekdays, except closed days.

    Hours a week of None are unknown: any work is then done at once.
    """

    hours_per_week: Decimal | None
    weekdays: frozenset[Weekday]
    closed_days: frozenset[date] = frozenset()

    def minutes_on(self, day: date) -> Decimal:
        """Minutes worked on a day:  hours a week × 60 ÷ working days a week; 0 on a closed one."""
        if self.hours_per_week is None or _WEEKDAYS[day.weekday()] not in self.weekdays or day in self.closed_days:
            return ZERO
        return self.hours_per_week * MINUTES_PER_HOUR / len(self.weekdays)

    @exactly
    def after(self, begin: Moment, minutes: Decimal, last: date | None = None) -> Moment | None:
        """When work of so many minutes is done; None if not by the last day (by default the horizon).

        Work that fills a day to its end, within rounding, is done on that day.
        """
        if self.hours_per_week is None or not minutes:
            return begin
        share, left, day = begin.share, minutes, begin.day.toordinal()
        end = (last or last_day_looked_at(begin.day)).toordinal()
        while day <= end and self.hours_per_week:
            if not share and (weeks := self._whole_weeks(left, day, end)):
                left -= weeks * self._week
                day += weeks * _DAYS_A_WEEK
                continue
            if there := self.minutes_on(date.fromordinal(day)):
                worked = there * (ONE - share)
                if snapped(left) <= snapped(worked):
                    return Moment(date.fromordinal(day), min(ONE, share + left / there))
                left -= worked
            share, day = ZERO, day + 1
        return None

    @property
    def _week(self) -> Decimal:
        return (self.hours_per_week or ZERO) * MINUTES_PER_HOUR

    def _whole_weeks(self, minutes: Decimal, day: int, end: int) -> int:
        """Weeks from a day on without a closed one, after which some of the work is left for another week."""
        if minutes <= self._week:
            return 0
        closed = min((each.toordinal() for each in self.closed_days if each.toordinal() >= day), default=end + 1)
        return max(0, min(int(minutes / self._week) - 1, (min(closed, end + 1) - day) // _DAYS_A_WEEK))

    @exactly
    def minutes_between(self, first: date, days: int) -> Decimal:
        return sum((self.minutes_on(first + place * _DAY) for place in range(days)), ZERO)
