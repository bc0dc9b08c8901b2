"""Instants in queries: written as such (RFC 3339), or as a whole day in the workshop's time zone."""

import re
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

INSTANT_FORM = (
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
    r"([Tt][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,9})?([Zz]|[+-][0-9]{2}:[0-9]{2}))?"
)
_FORM = re.compile(INSTANT_FORM)
_FIRST_YEAR, _LAST_YEAR = 1900, 2999
_DAY_LENGTH = len("2026-11-25")


def instant_problem(text: str) -> str | None:
    """What is wrong with the text of an instant or a day; None if nothing is."""
    try:
        if not _FORM.fullmatch(text):
            raise ValueError(text)
        year = _read(text).year
    except ValueError:
        return "must be a day such as 2026-11-25 or an instant such as 2026-11-25T09:30:00Z (in an address + is %2B)"
    if not _FIRST_YEAR <= year <= _LAST_YEAR:
        return f"must be from {_FIRST_YEAR} to {_LAST_YEAR}"
    return None


def _read(text: str) -> date | datetime:
    return date.fromisoformat(text) if len(text) == _DAY_LENGTH else datetime.fromisoformat(text.upper())


def instant_of(text: str, time_zone: str, *, is_end: bool = False) -> datetime:
    """The instant in UTC; for a day, its beginning in the time zone or, with `is_end`, its end."""
    found = _read(text)
    if isinstance(found, datetime):
        return found.astimezone(UTC)
    day = found + timedelta(days=1) if is_end else found
    return datetime.combine(day, time.min, ZoneInfo(time_zone)).astimezone(UTC)
