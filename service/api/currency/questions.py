"""Queries and bodies of the operations on exchange rates."""

from collections.abc import Iterable
from datetime import date
from decimal import Decimal

from service.domain.currency.exchange_rates import FEED, MANUAL
from service.domain.values.declared import Name, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.money import DatedCurrency
from service.feeds.reference_rates import Span


@declared
class SourceQuery:
    """Which source's rates.

    Attributes:
        source: who published them; "manual" if the workshop entered them.
    """

    source: Name = MANUAL


@declared
class HeldQuery:
    """Which source's held rates.

    Attributes:
        source: who published them.
    """

    source: Name = FEED


@declared
class ImportQuery:
    """Which source the file's rates are from.

    Attributes:
        source: who published them, as the workshop calls it.
    """

    source: Name

    def problems(self) -> Iterable[InvalidValueError]:
        if self.source in (MANUAL, FEED):
            reason = f"'{MANUAL}' means rates entered by PUT, '{FEED}' fetched ones; name the source of this file"
            yield InvalidValueError(("source",), reason)


@declared
class RefreshRequest:
    """What to fetch.

    Attributes:
        span: the latest day, the last 90 days or the whole history. If left out, the latest, or 90 days if no stored
            day is recent enough to compare it with.
    """

    span: Span | None = None


@declared
class ConversionQuery:
    """What to convert.

    Attributes:
        amount: the amount.
        currency: its currency.
        to: the currency to convert to.
        as_of: the day of the rates; today in the workshop's time zone if left out.
    """

    amount: Decimal
    currency: DatedCurrency
    to: DatedCurrency
    as_of: date | None = None
