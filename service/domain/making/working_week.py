"""The days of the week that are worked."""

from enum import StrEnum
from typing import Annotated

from service.domain.values.declared import Distinct, Length


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
Weekdays = Annotated[tuple[Weekday, ...], Length(at_least=1, at_most=7), Distinct()]
