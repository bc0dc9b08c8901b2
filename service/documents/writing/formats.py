"""Prices, numbers, shares and dates in the notation of a locale.

Digits are 0 to 9 in every locale: Babel knows each locale's separators, but not its other digits. On a paper whose
fonts lack a character of the locale's notation, an amount has its code of ISO 4217 and a date the form of ISO 8601.
"""

import re
from collections.abc import Callable
from copy import copy
from datetime import date
from decimal import Decimal
from functools import lru_cache
from unicodedata import bidirectional, category

from babel import Locale
from babel.dates import format_date
from babel.numbers import NumberPattern, format_decimal, format_percent, get_currency_symbol
from babel.units import format_compound_unit, format_unit, get_unit_name

from service.domain.listing.unit_price import UnitPrice
from service.domain.values.exact import exactly, readable
from service.domain.values.money import Money, in_currency, minor_unit_decimals, readable_decimals, rounded
from service.domain.values.units import Unit

_QUANTITY_DECIMALS, _SHARE_DECIMALS = 3, 3
"""Of quantities, and of shares of one, as people read them."""
_NO_BREAK_SPACE = "\u00a0"
_COMMON = "en"
"""The locale whose signs every font has."""
_UNITS = {
    Unit.KILOGRAM: "mass-kilogram",
    Unit.LITRE: "volume-liter",
    Unit.METRE: "length-meter",
    Unit.SQUARE_METRE: "area-square-meter",
    Unit.CUBIC_METRE: "volume-cubic-meter",
    Unit.HOUR: "duration-hour",
}
"""What CLDR calls each unit that is not counted."""
_FRACTION = Decimal("2.5")
"""A quantity that is written with the sign of its unit in every locale."""


class PaperLocale(str):
    """A CLDR locale as a paper writes it; itself the identifier.

    Attributes:
        draws: whether the fonts of the paper have all characters of a text.
    """

    __slots__ = ("draws",)
    draws: Callable[[str], bool]

    def __new__(cls, locale: str, draws: Callable[[str], bool]) -> "PaperLocale":
        made = super().__new__(cls, locale)
        made.draws = draws
        return made


def formatted_price(price: Money, locale: str) -> str:
    """An amount with its currency, at the minor unit of ISO 4217."""
    return _isolated_in(locale, _price(price, locale))


def formatted_amount(amount: Money, locale: str) -> str:
    """An amount with its currency, with all its digits and at least those of the minor unit."""
    decimals = max(minor_unit_decimals(amount.currency), -int(amount.amount.as_tuple().exponent))
    return _isolated_in(locale, _in_pattern(amount, decimals, locale))


@exactly
def formatted_unit_amount(amount: Money, locale: str) -> str:
    """The amount for a unit, at the minor unit, or with more of its decimals if it has fewer than three digits."""
    decimals = readable_decimals(amount.amount, amount.currency)
    return formatted_amount(in_currency(readable(amount.amount, decimals), amount.currency), locale)


def formatted_unit_price(unit_price: UnitPrice, locale: str) -> str:
    """The price of one unit of quantity, such as 3,20 €/kg."""
    price, unit = _price(unit_price.price, locale), _UNITS[Unit(unit_price.measure.value)]
    return _isolated_in(locale, _drawn(locale, lambda words: _per_unit(price, unit, words)))


@exactly
def formatted_number(number: Decimal | int, locale: str) -> str:
    """A number with every digit it has."""
    return _isolated_in(
        locale, _drawn(locale, lambda signs: format_decimal(number, locale=signs, decimal_quantization=False))
    )


def formatted_figure(figure: Decimal, locale: str) -> str:
    """A figure of a sentence as it stands there, zeros at its end included: an amount of money has them."""
    decimals = max(0, -int(figure.as_tuple().exponent))
    return _isolated_in(
        locale, _drawn(locale, lambda signs: _figure_pattern(signs, decimals).apply(figure, _parsed(signs)))
    )


def formatted_quantity(quantity: Decimal, locale: str) -> str:
    """A physical quantity, with up to three decimals."""
    return formatted_number(readable(quantity, _QUANTITY_DECIMALS), locale)


@exactly
def formatted_measure(quantity: Decimal, unit: Unit, locale: str) -> str:
    """A quantity in its unit, such as 2,5 Std.; of pieces the number alone."""
    if unit is Unit.PIECE:
        return formatted_quantity(quantity, locale)
    figure = readable(quantity, _QUANTITY_DECIMALS)
    return _isolated_in(locale, _drawn(locale, lambda words: _measure(figure, _UNITS[unit], words)))


def unit_sign(unit: Unit, locale: str) -> str:
    """The sign of a unit, such as m² or Std.; pieces have none."""
    return "" if unit is Unit.PIECE else isolated(_drawn(locale, lambda words: _sign(_UNITS[unit], words)))


def formatted_per(figure: str, unit: Unit, locale: str) -> str:
    """A formatted figure for one of a unit, such as 3,20 €/kg or EUR/kg; for a piece the figure alone."""
    if unit is Unit.PIECE:
        return figure
    bare = unisolated(figure)
    return _isolated_in(locale, _drawn(locale, lambda words: _per_unit(bare, _UNITS[unit], words)))


def formatted_share(share: Decimal, locale: str) -> str:
    """A share of one as a percentage, in tenths of a percent."""
    return formatted_rate(readable(share, _SHARE_DECIMALS), locale)


@exactly
def formatted_rate(share: Decimal, locale: str) -> str:
    """A share that somebody stated, such as the rate of a tax, as a percentage with every digit it has."""
    return _isolated_in(
        locale, _drawn(locale, lambda signs: format_percent(share, locale=signs, decimal_quantization=False))
    )


def formatted_date(day: date, locale: str, *, is_short: bool = False) -> str:
    """A date with the month's name; short with an abbreviated name, if the locale has one."""
    shown = format_date(day, "medium" if is_short else "long", locale=locale)
    return _isolated_in(locale, shown if _is_drawn(shown, locale) else day.isoformat())


_TURNING = frozenset({"R", "AL", "AN", "LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"})


def is_turning(text: str) -> bool:
    """Whether the text has letters or controls that could turn the direction of the text around it."""
    return any(bidirectional(character) in _TURNING for character in text)


def isolated(text: str) -> str:
    """The text, isolated if its direction could affect the text around it.

    Source: Unicode Standard Annex #9, Unicode Bidirectional Algorithm, isolates.
    """
    return f"\u2068{text}\u2069" if is_turning(text) else text


def left_to_right(text: str, locale: str) -> str:
    """The text, written from left to right even in a right-to-left locale."""
    return f"\u2066{text}\u2069" if _parsed(locale).character_order == "right-to-left" else text


def unisolated(text: str) -> str:
    """The text without its isolation."""
    return text.removeprefix("\u2068").removesuffix("\u2069")


def _isolated_in(locale: str, text: str) -> str:
    """The text, isolated in a right-to-left locale or if its direction could affect the text around it."""
    return f"\u2068{text}\u2069" if _parsed(locale).character_order == "right-to-left" else isolated(text)


@lru_cache(maxsize=1024)
def _parsed(locale: str) -> Locale:
    return Locale.parse(locale)


@exactly
def _price(price: Money, locale: str) -> str:
    # Babel rounds half even, so the amount is rounded here, and the pattern shows all its digits.
    return _in_pattern(rounded(price.amount, price.currency), minor_unit_decimals(price.currency), locale)


@exactly
def _in_pattern(amount: Money, decimals: int, locale: str) -> str:
    symbol = _symbol(amount.currency, locale)
    if not _is_drawn(symbol, locale):
        symbol = amount.currency
    return _drawn(locale, lambda signs: _price_pattern(signs, symbol, decimals).apply(amount.amount, _parsed(signs)))


_symbol = lru_cache(maxsize=4096)(get_currency_symbol)


def _per_unit(price: str, unit: str, locale: str) -> str:
    shown = format_compound_unit(price, denominator_unit=unit, length="short", locale=_parsed(locale))
    assert shown is not None  # CLDR has every unit of _UNITS
    return shown


def _measure(figure: Decimal, unit: str, locale: str) -> str:
    """The quantity with its unit; with the sign of a fraction where Babel lacks CLDR's form and has the name for it."""
    words, number = _parsed(locale), format_decimal(figure, locale=locale, decimal_quantization=False)
    shown = format_unit(figure, unit, length="short", locale=words)
    if shown != f"{number} {get_unit_name(unit, length='short', locale=words) or unit}":
        return shown
    before, after = _around(unit, locale)
    return f"{before}{number}{after}"


def _sign(unit: str, locale: str) -> str:
    return "".join(_around(unit, locale)).strip()


@lru_cache(maxsize=1024)
def _around(unit: str, locale: str) -> tuple[str, str]:
    """What stands before and behind a number in this unit."""
    shown = format_unit(_FRACTION, unit, length="short", locale=_parsed(locale))
    before, _, after = shown.partition(format_decimal(_FRACTION, locale=locale))
    return before, after


def _is_drawn(text: str, locale: str) -> bool:
    """Whether what shows the text has all its characters; a page has the fonts of its reader."""
    return not isinstance(locale, PaperLocale) or locale.draws(text)


def _drawn(locale: str, write: Callable[[str], str]) -> str:
    """A text as the locale writes it, or with English signs where a paper's fonts lack one of its own."""
    shown = write(locale)
    return shown if _is_drawn(shown, locale) else write(_COMMON)


@lru_cache(maxsize=4096)
def _price_pattern(locale: str, symbol: str, decimals: int) -> NumberPattern:
    """The locale's pattern of prices, with the symbol of a currency and the given decimals.

    CLDR's decimals of a currency differ from ISO 4217's. A symbol that ends in a letter is separated from a digit by a
    space (CHF 5.00, but €5.00), which Babel leaves out.

    Source: Unicode Technical Standard #35, part 3, Numbers, currency spacing.
    """
    pattern: NumberPattern = copy(_parsed(locale).currency_formats["standard"])
    pattern.frac_prec = (decimals, decimals)
    pattern.prefix = _both(pattern.prefix, r"¤$", symbol + _space_beside(symbol[-1]), symbol)
    pattern.suffix = _both(pattern.suffix, r"^¤", _space_beside(symbol[0]) + symbol, symbol)
    return pattern


@lru_cache(maxsize=1024)
def _figure_pattern(locale: str, decimals: int) -> NumberPattern:
    """The locale's pattern of numbers, with the given decimals."""
    pattern: NumberPattern = copy(_parsed(locale).decimal_formats[None])
    pattern.frac_prec = (decimals, decimals)
    return pattern


def _both(affixes: tuple[str, str], beside_number: str, spaced: str, symbol: str) -> tuple[str, str]:
    """The affixes of positive and negative numbers: the spaced symbol next to the number, otherwise the bare one."""
    positive, negative = (re.sub(beside_number, spaced, affix).replace("¤", symbol) for affix in affixes)
    return positive, negative


def _space_beside(character: str) -> str:
    """A space if CLDR puts one between a digit and this character of a symbol."""
    return "" if category(character)[0] in "SZ" else _NO_BREAK_SPACE
