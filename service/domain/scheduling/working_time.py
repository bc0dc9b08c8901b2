"""When a machine or a labour grade works: hours a week over its working days, and the days the workshop is closed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.working_week import Weekday
from service.domain.values.declared import Line, Name, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, ZERO, exactly, snapped

GREATEST_DAYS = 3660
"""How far ahead work is looked for: ten years."""
_LONGEST_CLOSURE = timedelta(days=366)
_DAY = timedelta(days=1)
_WEEKDAYS = tuple(Weekday)


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
    """How far ahead work is looked for from a day: ten years, or to the end of the calendar."""
    return date.fromordinal(min(first.toordinal() + GREATEST_DAYS, date.max.toordinal()))


class Moment(NamedTuple):
    """A point in working time; sorts by time.

    Attributes:
        day: it is on.
        share: of that working day that is over, 0 to 1.
    """

    day: date
    share: Decimal

    @classmethod
    def begin_of(cls, day: date) -> "Moment":
        """The morning of a day."""
        return cls(day, ZERO)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """When something works.

    Attributes:
        hours_per_week: in an ordinary week; None where nobody knows, and then it does whatever it is asked at once.
        weekdays: over which they are spread alike.
        closed_days: of the workshop.
    """

    hours_per_week: Decimal | None
    weekdays: frozenset[Weekday]
    closed_days: frozenset[date] = frozenset()

    def minutes_on(self, day: date) -> Decimal:
        """How long it works on a day:  hours a week × 60 ÷ working days a week; not at all on a closed one."""
        if self.hours_per_week is None or _WEEKDAYS[day.weekday()] not in self.weekdays or day in self.closed_days:
            return ZERO
        return self.hours_per_week * MINUTES_PER_HOUR / len(self.weekdays)

    @exactly
    def after(self, begin: Moment, minutes: Decimal, last: date | None = None) -> Moment | None:
        """When so many minutes are worked from a moment on; None where that is not by the last day.

        Work that fills a day to its end, within rounding, is done on that day.

        Args:
            begin: the moment.
            minutes: of work.
            last: the day; as far as is looked ahead from the moment if left out.
        """
        if self.hours_per_week is None or not minutes:
            return begin
        share, left = begin.share, minutes
        for ordinal in range(begin.day.toordinal(), (last or last_day_looked_at(begin.day)).toordinal() + 1):
            day = date.fromordinal(ordinal)
            if there := self.minutes_on(day):
                worked = there * (ONE - share)
                if snapped(left) <= snapped(worked):
                    return Moment(day, min(ONE, share + left / there))
                left -= worked
            share = ZERO
        return None

    @exactly
    def minutes_between(self, first: date, days: int) -> Decimal:
        """How long it works in so many days."""
        return sum((self.minutes_on(first + place * _DAY) for place in range(days)), ZERO)
