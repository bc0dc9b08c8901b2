"""What may be asked and told about exchange rates."""

from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.currency.exchange_rates import FEED, MANUAL
from service.domain.values.declared import CurrencyCode, Length, Name, Positive, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.money import IN_USE, Currency
from service.feeds.reference_rates import Span


@declared
class EnteredRates:
    """Exchange rates for one day.

    Attributes:
        base: the currency of which one unit is worth the rates, for instance "EUR".
        rates: units of each currency for one unit of the base, as published.
    """

    base: Currency
    rates: Annotated[Mapping[CurrencyCode, Positive], Length(at_least=1, at_most=400)]

    def problems(self) -> Iterable[InvalidValueError]:
        for code in self.rates:
            yield from IN_USE.problems(code, ("rates", code))


@declared
class SourceQuery:
    """Whose rates.

    Attributes:
        source: who published them; "manual" if the workshop entered them.
    """

    source: Name = MANUAL


@declared
class HeldQuery:
    """Whose rates are held back.

    Attributes:
        source: who published them.
    """

    source: Name = FEED


@declared
class ImportQuery:
    """Whose rates a file has.

    Attributes:
        source: who published them, in the workshop's words.
    """

    source: Name

    def problems(self) -> Iterable[InvalidValueError]:
        if self.source in (MANUAL, FEED):
            reason = f"'{MANUAL}' is what is entered by PUT and '{FEED}' what is fetched; name the source of this file"
            yield InvalidValueError(("source",), reason)


@declared
class RefreshRequest:
    """What to fetch.

    Attributes:
        span: the latest day, the last 90 days or the whole history; where nothing is said the latest, or 90 days where
            there is no day young enough to compare it with.
    """

    span: Span | None = None


@declared
class ConversionQuery:
    """What to convert.

    Attributes:
        amount: how much.
        currency: of what.
        to: the currency wanted.
        as_of: the day of the rates; today in the workshop's time zone if left out.
    """

    amount: Decimal
    currency: Currency
    to: Currency
    as_of: date | None = None
