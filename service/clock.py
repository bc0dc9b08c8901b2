"""The clock: all code asks for the time here, so that tests can set it."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

_set_to: list[datetime] = []


def now() -> datetime:
    """The current instant in UTC, or the one that is set."""
    return _set_to[-1] if _set_to else datetime.now(UTC)


def today_in(time_zone: str) -> date:
    """Today's date in a time zone, given by its IANA name."""
    return now().astimezone(ZoneInfo(time_zone)).date()


@contextmanager
def set_to(instant: datetime) -> Iterator[None]:
    """Stop the clock at an instant within the context, for every thread of the process."""
    _set_to.append(instant.astimezone(UTC))
    try:
        yield
    finally:
        _set_to.pop()
