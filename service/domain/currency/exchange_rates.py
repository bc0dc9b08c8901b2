"""Published exchange rates, and conversion through their base currency."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.currency.errors import MissingExchangeRateError
from service.domain.values.declared import CurrencyCode, Length, Name, Positive, declared
from service.domain.values.errors import InvalidValueError, UnknownCurrencyError
from service.domain.values.exact import ONE, exactly
from service.domain.values.money import Money, check_currency_on, replaced_by
from service.domain.values.shown import shown

MANUAL = "manual"
"""The source of rates that the workshop enters."""
FEED = "ECB"
"""The source of rates that are fetched."""

MAX_AGE_DAYS = 31
FEED_MAX_AGE_DAYS = 10
"""A feed publishes every working day; the longest pause in its history, at Easter and at New Year, is five days."""


@declared
class EnteredRates:
    """Exchange rates for one day.

    Attributes:
        base: the base currency, for instance "EUR".
        rates: units of each currency for one unit of the base, as published; any that was in use on that day.
    """

    base: CurrencyCode
    rates: Annotated[Mapping[CurrencyCode, Positive], Length(at_least=1, at_most=400)]


@declared
class DayRates:
    """The rates one source published for one day.

    Attributes:
        source: who published them; "manual" where the workshop entered them.
        base: the currency of which one unit is worth the rates.
        published_on: the day they hold from.
        rates: units of each currency for one unit of the base, as published; currencies that have ended since too.
    """

    source: Name
    base: CurrencyCode
    published_on: date
    rates: Annotated[Mapping[CurrencyCode, Positive], Length(at_least=1, at_most=400)]

    def problems(self) -> Iterable[InvalidValueError]:
        for path, code in (((("base",)), self.base), *((("rates", code), code) for code in self.rates)):
            try:
                check_currency_on(code, self.published_on)
            except UnknownCurrencyError as error:
                yield InvalidValueError(path, str(error))
        if self.base in self.rates and self.rates[self.base] != 1:
            yield InvalidValueError(("rates", self.base), "the base's rate to itself is 1; leave it out")

    def rate_of(self, currency: str) -> Decimal | None:
        """Units of the currency for one unit of the base."""
        return ONE if currency == self.base else self.rates.get(currency)

    @exactly
    def converted(self, money: Money, currency: str) -> Decimal:
        """The amount in another currency, unrounded:  amount × rate(to) ÷ rate(from). The day must have both rates.

        Both rates are per unit of the base, so no inverse is rounded on the way.
        Source: Council Regulation (EC) No 1103/97, Article 4 (no rounded inverse, conversion through the base).
        """
        return self.conversion(money.currency, currency)(money.amount)

    def conversion(self, one: str, other: str) -> Callable[[Decimal], Decimal]:
        """A function that converts amounts from one currency to the other."""
        per_base_to, per_base_from = self.rate_of(other), self.rate_of(one)
        assert per_base_to is not None
        assert per_base_from is not None
        return lambda amount: amount * per_base_to / per_base_from

    def has(self, *currencies: str) -> bool:
        return all(self.rate_of(currency) is not None for currency in currencies)

    def only(self, currencies: Iterable[str]) -> "DayRates":
        """The day with the rates of these currencies only, sorted by code."""
        return replace(self, rates={code: self.rates[code] for code in sorted(currencies) if code in self.rates})


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedRates:
    """Exchange rates that amounts were converted with, as published; of a day, only those that were needed.

    Attributes:
        source: who published them; "manual" where the workshop entered them.
        base: the currency of which one unit is worth the rates.
        published_on: the day they hold from.
        rates: units of each currency for one unit of the base, as published.
        age_days: how old they are on the date asked about.
        max_age_days: how old they may be.
    """

    source: str
    base: str
    published_on: date
    rates: Mapping[str, Decimal]
    age_days: int
    max_age_days: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeRates:
    """The exchange rates for conversions on one date.

    Attributes:
        as_of: the date of the conversion.
        days: published rates in any order; those after the date are not used.
        max_age_days: of a rate that the workshop entered or imported.
        feed_max_age_days: of a rate that was fetched.
    """

    as_of: date
    days: tuple[DayRates, ...] = ()
    max_age_days: int = MAX_AGE_DAYS
    feed_max_age_days: int = FEED_MAX_AGE_DAYS

    def max_age_of(self, source: str) -> int:
        return self.feed_max_age_days if source == FEED else self.max_age_days

    def age_of(self, day: DayRates) -> int:
        return (self.as_of - day.published_on).days

    def day_for(self, one: str, other: str) -> DayRates:
        """The newest published day that has both currencies; of equals the one entered by hand.

        Raises:
            MissingExchangeRateError: there is none within the maximum age of its source, or one of the currencies was
                replaced after it: what the last rate says is not the rate of the change.
        """
        found = [
            day for day in self.days if 0 <= self.age_of(day) <= self.max_age_of(day.source) and day.has(one, other)
        ]
        if not found:
            raise MissingExchangeRateError(one, other, self.as_of, self.max_age_days)
        newest = max(found, key=lambda day: (day.published_on, day.source == MANUAL, day.source))
        for code in (one, other):
            new = replaced_by(code)
            if new is not None and newest.published_on < new[1] <= self.as_of:
                last = newest.source, newest.published_on
                raise MissingExchangeRateError(one, other, self.as_of, self.max_age_days, last, (code, *new))
        return newest

    def converted(self, money: Money, currency: str) -> Decimal:
        """The amount in another currency, unrounded; raises as `day_for` does."""
        if money.currency == currency:
            return money.amount
        return self.day_for(money.currency, currency).converted(money, currency)

    def stated(self) -> tuple[UsedRates, ...]:
        return tuple(
            shown(UsedRates, "", day, age_days=self.age_of(day), max_age_days=self.max_age_of(day.source))
            for day in self.days
        )
