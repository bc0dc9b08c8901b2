"""The days of the week that are worked."""

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated

from service.domain.values.declared import Length
from service.domain.values.errors import InvalidValueError


class Weekday(StrEnum):
    """A day of the week, as ISO 8601 counts them from Monday."""

    MONDAY = "monday"
    TUESDAY = "tuesday"
    WEDNESDAY = "wednesday"
    THURSDAY = "thursday"
    FRIDAY = "friday"
    SATURDAY = "saturday"
    SUNDAY = "sunday"


WORKING_WEEK = (Weekday.MONDAY, Weekday.TUESDAY, Weekday.WEDNESDAY, Weekday.THURSDAY, Weekday.FRIDAY)
Weekdays = Annotated[tuple[Weekday, ...], Length(at_least=1, at_most=7)]


def twice(weekdays: tuple[Weekday, ...]) -> Iterator[InvalidValueError]:
    """That a weekday is named more than once."""
    if len(set(weekdays)) < len(weekdays):
        yield InvalidValueError(("working_weekdays",), "must be different from each other")
