"""Money and its currency: minor units from ISO 4217; ended currencies and cash rounding from CLDR."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import is_dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from typing import Annotated, Any, NamedTuple

import iso4217
from babel.core import get_global

from service.domain.values.declared import Bounds, CurrencyCode, Then, declared, field_types, optional_of
from service.domain.values.errors import CurrencyMismatchError, InvalidValueError, Path, UnknownCurrencyError
from service.domain.values.exact import UNITS, exactly, half_up


class _Use(NamedTuple):
    """A currency as legal tender of a territory, from its first day to its last; the last is None while it still is."""

    code: str
    first: date
    last: date | None


_NEWER = {"BG": (_Use("BGN", date(1999, 7, 5), date(2026, 1, 31)), _Use("EUR", date(2026, 1, 1), None))}
"""Uses that the packaged CLDR does not know yet. Both currencies circulated for the first month of the euro, which came
on 1 January 2026 (from memory; the last reference rate is of 2025-12-31)."""


@cache
def _exponent(code: str) -> int | None:
    """Decimals of the minor unit; None where ISO 4217 has no such currency today, or no minor unit for it."""
    try:
        exponent = iso4217.Currency(code).exponent
    except ValueError:
        return None
    return None if exponent is None else int(exponent)


_READABLE_DIGITS, _MOST_MORE_DECIMALS = 3, 4
"""Of an amount for a unit: the digits that people need, and the decimals beyond the minor unit that are kept."""


@cache
def minor_unit_decimals(code: str) -> int:
    """How many decimals the currency's minor unit has; also of one that has ended.

    Raises:
        UnknownCurrencyError: never a currency, or one without a minor unit (XAU, XXX).

    Source: ISO 4217:2015, list one, 'minor unit' (as packaged in `iso4217`). Its list of ended currencies has none;
        those are of Unicode CLDR, supplemental data, currency fractions, 'digits' (as packaged in Babel).
    """
    exponent = _exponent(code)
    if exponent is not None:
        return exponent
    if ended_on(code) is None:
        raise UnknownCurrencyError(code)
    fractions = get_global("currency_fractions")
    return int(fractions.get(code, fractions["DEFAULT"])[0])


@cache
def _uses() -> Mapping[str, tuple[_Use, ...]]:
    """Every use of a currency as legal tender, by territory."""
    packaged = {
        territory: tuple(
            _Use(code, date(*first) if first else date.min, date(*last) if last else None)
            for code, first, last, is_tender in uses
            if is_tender
        )
        for territory, uses in get_global("territory_currencies").items()
    }
    return {territory: _NEWER.get(territory, uses) for territory, uses in packaged.items()}


def readable_decimals(amount: Decimal, currency: str) -> int:
    """Decimals in which people read the amount for a unit: the minor unit's, or more to show three digits.

    >>> readable_decimals(Decimal("9.778333"), "EUR"), readable_decimals(Decimal("0.012345"), "EUR")
    (2, 4)
    """
    decimals = minor_unit_decimals(currency)
    missing = _READABLE_DIGITS - 1 - amount.adjusted() if amount else 0
    return min(max(decimals, missing), decimals + _MOST_MORE_DECIMALS)


@cache
def _ends() -> Mapping[str, date | None]:
    """The last day of every currency that was ever legal tender; None where it still is."""
    found: dict[str, date | None] = {}
    for use in (use for uses in _uses().values() for use in uses):
        before = found.get(use.code, date.min)
        found[use.code] = max(use.last, before) if use.last and before else None
    return found


def ended_on(code: str) -> date | None:
    """The last day on which the currency was legal tender anywhere; None if it still is, or is unknown.

    Source: Unicode CLDR, supplemental data, currency data by region (as packaged in Babel).
    """
    return _ends().get(code)


@cache
def replaced_by(code: str) -> tuple[str, date] | None:
    """The currency that came in the place of one that has ended, and the first day on which that was legal tender.

    None if the currency is still in use somewhere, if its last territories took different ones, or if that one has
    ended since.
    """
    ended = ended_on(code)
    if ended is None:
        return None
    found = {new for uses in _uses().values() if (new := _use_after(code, ended, uses)) is not None}
    if len(found) != 1:
        return None
    ((first, newer),) = found
    return (newer, first) if _exponent(newer) is not None else None


def _use_after(code: str, ended: date, uses: Iterable[_Use]) -> tuple[date, str] | None:
    """First day and code of the currency that came after one in a territory, where that ended last."""
    last = next((use for use in uses if use.code == code and use.last == ended), None)
    if last is None:
        return None
    by = ended + timedelta(days=1)
    came = (use for use in uses if last.first < use.first <= by and (use.last is None or use.last > ended))
    return max(((use.first, use.code) for use in came), default=None)


def check_currency_on(code: str, day: date) -> None:
    """Raises UnknownCurrencyError unless the currency is in use today or ended on the day or later."""
    if _exponent(code) is None and ((ended := ended_on(code)) is None or ended < day):
        new = replaced_by(code)
        raise UnknownCurrencyError(code, ended, new[0] if new else "")


def currency_problem(code: str, day: date = date.max) -> str | None:
    """What is wrong with a currency on a day; today and later if that is left out."""
    try:
        check_currency_on(code, day)
    except UnknownCurrencyError as error:
        return str(error)
    return None


IN_USE = Then(rule=currency_problem)
Currency = Annotated[CurrencyCode, IN_USE]
"""A currency of something without a day."""
IN_ITS_TIME = Then(rule=lambda code: currency_problem(code, date.min))
DatedCurrency = Annotated[CurrencyCode, IN_ITS_TIME]
"""A currency, perhaps an ended one, of something whose day is known apart from it; see `currency_problems_on`."""


@declared
class Money:
    """An amount of a currency.

    Attributes:
        amount: in the currency's major unit, for instance "12.34".
        currency: the ISO 4217 code.
    """

    amount: Decimal
    currency: DatedCurrency

    def __add__(self, other: "Money") -> "Money":
        if other.currency != self.currency:
            raise CurrencyMismatchError(self.currency, other.currency)
        return in_currency(self.amount + other.amount, self.currency)

    def __str__(self) -> str:
        return f"{self.amount:f} {self.currency}"


def currency_problems_on(value: Any, day: date, at: Path = ()) -> Iterator[InvalidValueError]:
    """A problem for each currency in a declared value that was not in use on its day, or has ended before."""
    match value:
        case Mapping():
            for name, each in value.items():
                yield from currency_problems_on(each, day, (*at, name))
        case tuple():
            for place, each in enumerate(value):
                yield from currency_problems_on(each, day, (*at, place))
        case _ if is_dataclass(value):
            for name, hint in field_types(type(value)).items():
                each = getattr(value, name)
                if IN_ITS_TIME in getattr(optional_of(hint) or hint, "__metadata__", ()):
                    if each is not None and (problem := currency_problem(each, day)) is not None:
                        yield InvalidValueError((*at, name), problem)
                else:
                    yield from currency_problems_on(each, day, (*at, name))


NOT_NEGATIVE = Then(rule=Bounds(at_least=0), member="amount")
NotNegativeMoney = Annotated[Money, NOT_NEGATIVE]


_new, _put = object.__new__, object.__setattr__


def in_currency(amount: Decimal, currency: str) -> Money:
    """Money without the check of its currency, for speed: a sheet holds many amounts of one known currency."""
    money = _new(Money)
    _put(money, "amount", amount)
    _put(money, "currency", currency)
    return money


def rounded(amount: Decimal, currency: str) -> Money:
    """The amount at the currency's minor unit, half up."""
    return in_currency(half_up(amount, minor_unit_decimals(currency)), currency)


def is_at_minor_unit(amount: Decimal, currency: str) -> bool:
    """Whether the amount has no more decimals than the currency's minor unit."""
    return half_up(amount, minor_unit_decimals(currency)) == amount


def cash_step(currency: str) -> Decimal | None:
    """The step that cash amounts are rounded to; None where it is not above the minor unit.

    Raises:
        UnknownCurrencyError: never a currency.

    Source: Unicode CLDR, supplemental data, currency fractions: cash rounding, counted in units of the last of the
        cash digits; a currency that is not listed has those of the default (as packaged in Babel).
    """
    fractions = get_global("currency_fractions")
    *_, cash_digits, cash_rounding = fractions.get(currency, fractions["DEFAULT"])
    step = UNITS[cash_digits] * (cash_rounding or 1)
    return step if step > UNITS[minor_unit_decimals(currency)] else None


@exactly
def cash_rounded(amount: Decimal, currency: str) -> Money | None:
    """The amount as paid in cash, rounded half up to the cash step; None where the currency has none.

    The amount is the total with tax. It is rounded to the minor unit, as the customer sees it, and then to the step.
    """
    step = cash_step(currency)
    if step is None:
        return None
    return rounded(half_up(rounded(amount, currency).amount / step, 0) * step, currency)
