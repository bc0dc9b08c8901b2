"""Exchange rates as they were published, and amounts converted through their base."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.declared import CurrencyCode, Length, Name, Positive, declared
from service.domain.errors import InvalidValueError, MissingExchangeRateError, UnknownCurrencyError
from service.domain.exact import ONE
from service.domain.money import Money, minor_unit_decimals

MANUAL = "manual"
DEFAULT_MAX_AGE_DAYS = 31


@declared
class DayRates:
    """The rates one source published for one day.

    Attributes:
        source: who published them; "manual" where the workshop entered them.
        base: the currency of which one unit is worth the rates.
        published_on: the day they hold from.
        rates: units of each currency for one unit of the base, as published.
    """

    source: Name
    base: CurrencyCode
    published_on: date
    rates: Annotated[Mapping[CurrencyCode, Positive], Length(at_least=1, at_most=400)]

    def problems(self) -> Iterable[InvalidValueError]:
        for path, code in (((("base",)), self.base), *((("rates", code), code) for code in self.rates)):
            try:
                minor_unit_decimals(code)
            except UnknownCurrencyError as error:
                yield InvalidValueError(path, str(error))
        if self.base in self.rates and self.rates[self.base] != 1:
            yield InvalidValueError(("rates", self.base), "the base's rate to itself is 1; leave it out")

    def rate_of(self, currency: str) -> Decimal | None:
        """Units of the currency for one unit of the base."""
        return ONE if currency == self.base else self.rates.get(currency)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExchangeRates:
    """What amounts are converted with on one date.

    Attributes:
        as_of: the date of the conversion.
        days: published rates, any order; those after the date are not used.
        max_age_days: how old a rate may be.
    """

    as_of: date
    days: tuple[DayRates, ...] = ()
    max_age_days: int = DEFAULT_MAX_AGE_DAYS

    def day_for(self, one: str, other: str) -> DayRates:
        """The last published day that has both currencies; among equals what was entered by hand.

        Raises:
            MissingExchangeRateError: none is there within the maximum age.
        """
        found = [
            day
            for day in self.days
            if 0 <= (self.as_of - day.published_on).days <= self.max_age_days
            and day.rate_of(one) is not None
            and day.rate_of(other) is not None
        ]
        if not found:
            raise MissingExchangeRateError(one, other, self.as_of, self.max_age_days)
        return max(found, key=lambda day: (day.published_on, day.source == MANUAL, day.source))

    def converted(self, money: Money, currency: str) -> Decimal:
        """The amount in another currency, unrounded:  amount × rate(to) ÷ rate(from).

        Both rates are per unit of the source's base, so no inverse is rounded on the way.
        Source: Council Regulation (EC) No 1103/97, Article 4 (no rounded inverse, conversion through the base).

        Raises:
            MissingExchangeRateError: no rate within the maximum age.
        """
        if money.currency == currency:
            return money.amount
        day = self.day_for(money.currency, currency)
        per_base_to, per_base_from = day.rate_of(currency), day.rate_of(money.currency)
        assert per_base_to is not None  # day_for found a day that has both
        assert per_base_from is not None
        return money.amount * per_base_to / per_base_from
