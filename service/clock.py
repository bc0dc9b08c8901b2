"""What time it is: whoever needs it asks here, so that it can be set."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

_set_to: list[datetime] = []


def now() -> datetime:
    """The instant in UTC: that of the machine's clock, unless another is set."""
    return _set_to[-1] if _set_to else datetime.now(UTC)


def today_in(time_zone: str) -> date:
    """The day it is in a time zone.

    Args:
        time_zone: IANA name.
    """
    return now().astimezone(ZoneInfo(time_zone)).date()


@contextmanager
def set_to(instant: datetime) -> Iterator[None]:
    """Stop the clock at an instant for every thread of the process; afterwards it tells what it told before."""
    _set_to.append(instant.astimezone(UTC))
    try:
        yield
    finally:
        _set_to.pop()
