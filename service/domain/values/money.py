"""Money and its currency: minor units from ISO 4217; ended currencies and cash rounding from CLDR."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Annotated

import iso4217
from babel.core import get_global

from service.domain.values.declared import Bounds, CurrencyCode, Then, declared
from service.domain.values.errors import CurrencyMismatchError, UnknownCurrencyError
from service.domain.values.exact import UNITS, exactly, half_up

_ENDED_SINCE = {"BGN": date(2026, 1, 31)}
"""Last days that the packaged CLDR does not know yet. Both currencies circulated for the first month of the euro, which
came on 1 January 2026 (from memory; the last reference rate is of 2025-12-31)."""


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


def minor_unit_decimals(code: str) -> int:
    """How many decimals the currency's minor unit has.

    Raises:
        UnknownCurrencyError: not a currency of ISO 4217 today, or one without a minor unit (XAU, XXX).

    Source: ISO 4217:2015, list one, 'minor unit' (as packaged in `iso4217`).
    """
    exponent = _exponent(code)
    if exponent is None:
        raise UnknownCurrencyError(code, ended_on(code))
    return exponent


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
    for uses in get_global("territory_currencies").values():
        for code, _, end, _ in uses:
            ended, before = date(*end) if end else None, found.get(code, date.min)
            found[code] = max(ended, before) if ended and before else None
    return {**found, **_ENDED_SINCE}


def ended_on(code: str) -> date | None:
    """The last day on which the currency was legal tender anywhere; None if it still is, or is unknown.

    Source: Unicode CLDR, supplemental data, currency data by region (as packaged in Babel).
    """
    return _ends().get(code)


def check_currency_on(code: str, day: date) -> None:
    """Raises UnknownCurrencyError unless the currency is in use today or ended on the day or later."""
    if _exponent(code) is None and ((ended := ended_on(code)) is None or ended < day):
        raise UnknownCurrencyError(code, ended)


def _currency_problem(code: str) -> str | None:
    try:
        minor_unit_decimals(code)
    except UnknownCurrencyError as error:
        return str(error)
    return None


IN_USE = Then(rule=_currency_problem)
Currency = Annotated[CurrencyCode, IN_USE]


@declared
class Money:
    """An amount of a currency.

    Attributes:
        amount: in the currency's major unit, for instance "12.34".
        currency: the ISO 4217 code.
    """

    amount: Decimal
    currency: Currency

    def __add__(self, other: "Money") -> "Money":
        if other.currency != self.currency:
            raise CurrencyMismatchError(self.currency, other.currency)
        return in_currency(self.amount + other.amount, self.currency)

    def __str__(self) -> str:
        return f"{self.amount:f} {self.currency}"


NOT_NEGATIVE = Then(rule=Bounds(at_least=0), member="amount")
NotNegativeMoney = Annotated[Money, NOT_NEGATIVE]


def in_currency(amount: Decimal, currency: str) -> Money:
    """Money without the check of its currency, for speed: a sheet holds many amounts of one known currency."""
    money = object.__new__(Money)
    object.__setattr__(money, "amount", amount)
    object.__setattr__(money, "currency", currency)
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
        UnknownCurrencyError: not a currency of ISO 4217 today.

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
