"""A postal address in parts, and as it stands on a letter."""

from collections.abc import Iterator
from functools import cache
from typing import Annotated

from babel import Locale

from service.domain.values.declared import Line, Paragraph, Text, declared

_CODE_BELOW = frozenset({"GB", "GG", "IE", "IM", "JE"})
_CODE_AFTER = frozenset({"AU", "BR", "CA", "CO", "EG", "ID", "IN", "NZ", "PK", "SA", "SG", "TH", "US", "ZA"})
_LARGEST_FIRST = frozenset({"CN", "HK", "JP", "KR", "MO", "TW"})
"""Where countries write the post code: on a line of its own, after the town, or first of all if the town's name is in
the country's script; elsewhere it stands before the town. From memory, after the addressing systems that the Universal
Postal Union describes."""
_LETTERS = 2
_NO_COUNTRIES = frozenset({"AC", "CP", "CQ", "DG", "EA", "EU", "EZ", "IC", "QO", "TA", "UN", "XA", "XB", "XK", "ZZ"})
"""Two letters that CLDR knows and ISO 3166-1 does not assign to a country."""


@cache
def _countries() -> frozenset[str]:
    codes = map(str, Locale("en").territories)
    return frozenset(code for code in codes if len(code) == _LETTERS and code.isalpha()) - _NO_COUNTRIES


def country_problem(code: str) -> str | None:
    """What is wrong with a country.

    Source: ISO 3166-1, alpha-2 codes (as CLDR has them, packaged in Babel).
    """
    return None if code in _countries() else "must be a country by its ISO 3166-1 code, such as IE"


Country = Annotated[
    str, Text(max_length=_LETTERS, min_length=_LETTERS, pattern="[A-Z]{2}", form="two capital letters"), country_problem
]


@declared
class PostalAddress:
    """Where somebody is (BG-5 of EN 16931).

    Attributes:
        street: what stands above the town, lines separated by line breaks (BT-35, BT-36, BT-162).
        post_code: BT-38.
        city: the town (BT-37).
        subdivision: a state, province or prefecture, where letters have it (BT-39).
        country: its ISO 3166-1 code, such as "IE" (BT-40).
    """

    street: Paragraph = ""
    post_code: Annotated[str, Text(max_length=20, min_length=0)] = ""
    city: Line = ""
    subdivision: Line = ""
    country: Country | None = None

    @property
    def street_lines(self) -> tuple[str, ...]:
        """The lines above the town that are not blank."""
        return tuple(line for line in self.street.splitlines() if line.strip())

    def lines(self) -> tuple[str, ...]:
        """The address as it stands on a letter, without the country.

        >>> PostalAddress(street="3 Sieve Lane", post_code="1010", city="Quillan", country="AT").lines()
        ('3 Sieve Lane', '1010 Quillan')
        """
        return tuple(filter(None, self._lines()))

    def _lines(self) -> Iterator[str]:
        if self.country in _LARGEST_FIRST and not self.city.isascii():
            yield f"〒{self.post_code}" if self.country == "JP" and self.post_code else self.post_code
            yield self.subdivision + self.city
            yield from self.street_lines
            return
        yield from self.street_lines
        if self.country in _CODE_BELOW:
            yield from (self.city, self.subdivision, self.post_code)
        elif self.country in _CODE_AFTER or self.country in _LARGEST_FIRST:
            yield " ".join(filter(None, (self.city, self.subdivision, self.post_code)))
        else:
            yield " ".join(filter(None, (self.post_code, self.city)))
            yield self.subdivision


NO_ADDRESS = PostalAddress()
