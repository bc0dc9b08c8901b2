"""The clock stopped on a day."""

from contextlib import AbstractContextManager
from datetime import UTC, date, datetime, time

from service import clock


def on_day(day: date | str, hour: int = 12) -> AbstractContextManager[None]:
    """Let it be that hour of the day in UTC, noon unless it is said."""
    begin = day if isinstance(day, date) else date.fromisoformat(day)
    return clock.set_to(datetime.combine(begin, time(hour), UTC))
