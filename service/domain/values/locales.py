"""Locale identifiers of Unicode CLDR."""

from typing import Annotated

from babel import Locale, UnknownLocaleError

from service.domain.values.declared import Text

_FORM = "a CLDR locale, such as en_IE"


def locale_problem(value: str) -> str | None:
    """What is wrong with a locale identifier; CLDR's aliases and omitted scripts (zh_TW, sr_RS) are accepted.

    Source: Unicode CLDR (as packaged in Babel).
    """
    try:
        Locale.parse(value)
    except (UnknownLocaleError, ValueError):
        return f"must be {_FORM}"
    return None


LocaleCode = Annotated[
    str, Text(max_length=30, min_length=2, pattern=r"[A-Za-z]{2,3}(_[A-Za-z0-9]{2,8}){0,3}", form=_FORM), locale_problem
]
