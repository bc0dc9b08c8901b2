"""What the views of all papers share."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from babel import Locale

_COUNTRY_LETTERS = 2
"""A country's code has two letters; regions of several countries have three digits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """A text on the left, a figure on the right, and a note in small below."""

    text: str
    figure: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaperView:
    """A paper in finished words, from which its page and its PDF are laid out.

    Attributes:
        language: the locale's, or English if there is no catalogue for it.
        region: the locale's country, for instance "AT"; empty if it has none.
        day: year, month and day of the document.
        word: the kind of document.
    """

    locale: str
    language: str
    region: str
    day: tuple[int, int, int]
    title: str
    word: str


def head_of(locale: str, language: str, day: date) -> dict[str, Any]:
    """The first members of a view: in which locale and language, for which country, of which day."""
    of_day = (day.year, day.month, day.day)
    return {"locale": locale, "language": language, "region": country_of(locale), "day": of_day}


def country_name(country: str, language: str) -> str:
    """What a language calls a country, by its ISO 3166-1 code; the code if it has no name for it."""
    found: str = Locale.parse(language).territories.get(country, country)
    return found


def country_of(locale: str) -> str:
    """The country of a locale; empty if it has none, or is for several: es_419 is for Latin America.

    Source: ISO 3166-1, alpha-2 codes; UN M49, codes of regions.
    """
    territory = Locale.parse(locale).territory or ""
    return territory if len(territory) == _COUNTRY_LETTERS else ""
