"""The forms of decimals, days, locales, time zones and addresses in JSON, wherever they come from."""

import re
from datetime import date
from decimal import Decimal
from typing import Annotated
from urllib.parse import urlsplit
from zoneinfo import available_timezones

from babel import Locale, UnknownLocaleError

from service.domain.values.declared import MAX_DIGITS, Text

DECIMAL_PATTERN = r"^-?(0|[1-9][0-9]*)(\.[0-9]+)?$"
FIRST_DAY, LAST_DAY = date(1900, 1, 1), date(2999, 12, 31)
_DECIMAL = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_LOCALE = "a CLDR locale, such as en_IE"


def decimal_of(text: str | None, most_digits: int = MAX_DIGITS) -> Decimal:
    """The decimal in plain notation; raises ValueError saying what is wrong.

    Args:
        text: the characters; None if it was no text.
        most_digits: the most digits that it may have, and the most of them after the point.
    """
    if text is None or len(text) > 2 * most_digits or not _DECIMAL.fullmatch(text):
        raise ValueError('must be a decimal in plain notation, such as "12.34"')
    figure = Decimal(text)
    if len(figure.as_tuple().digits) > most_digits or len(text.partition(".")[2]) > most_digits:
        raise ValueError(f"must have at most {most_digits} digits")
    return figure or figure.copy_abs()  # no negative zero


def day_of(text: object) -> date:
    """The calendar day, YYYY-MM-DD; raises ValueError saying what is wrong."""
    try:
        if not isinstance(text, str) or not _DATE.fullmatch(text):
            raise ValueError(text)
        day = date.fromisoformat(text)
    except ValueError:
        raise ValueError("must be a day such as 2026-11-25") from None
    if not FIRST_DAY <= day <= LAST_DAY:
        raise ValueError(f"must be from {FIRST_DAY} to {LAST_DAY}")
    return day


def locale_problem(value: str) -> str | None:
    """What is wrong with a locale identifier; CLDR's aliases and omitted scripts (zh_TW, sr_RS) are accepted.

    Source: Unicode CLDR (as packaged in Babel).
    """
    try:
        Locale.parse(value)
    except (UnknownLocaleError, ValueError):
        return f"must be {_LOCALE}"
    return None


LocaleCode = Annotated[
    str,
    Text(max_length=30, min_length=2, pattern=r"[A-Za-z]{2,3}(_[A-Za-z0-9]{2,8}){0,3}", form=_LOCALE),
    locale_problem,
]


def time_zone_problem(value: str) -> str | None:
    """What is wrong with a time zone.

    Source: IANA, Time Zone Database.
    """
    return None if value in available_timezones() else "must be an IANA time zone, such as Europe/Dublin"


TimeZone = Annotated[str, Text(max_length=64), time_zone_problem]


def email_problem(value: str) -> str | None:
    """What is wrong with an e-mail address, which may be empty."""
    name, _, host = value.partition("@")
    is_one = bool(name and host) and "@" not in host and not any(character.isspace() for character in value)
    return None if not value or is_one else "must be an e-mail address, such as desk@workshop.example"


EmailAddress = Annotated[str, Text(max_length=254, min_length=0), email_problem]
"""An address, or nothing."""


def _web_problem(value: str) -> str | None:
    if not value:
        return None
    try:
        parts = urlsplit(value)
        is_one = parts.scheme in ("http", "https") and bool(parts.hostname) and "@" not in parts.netloc
    except ValueError:
        is_one = False
    is_one = is_one and not any(character.isspace() or character in '<>"' for character in value)
    return None if is_one else "must be a web address that begins with https:// or http://"


WebAddress = Annotated[str, Text(max_length=500, min_length=0), _web_problem]
"""An address, or nothing."""
