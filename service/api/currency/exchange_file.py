"""A CSV file of exchange rates (RFC 4180); every line that is wrong is named."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal

import marshmallow as ma

from service.api.contract.schemas import schema_of
from service.api.http.reading import read_csv
from service.domain.currency.exchange_rates import DayRates
from service.domain.values.declared import CurrencyCode, Positive, declared
from service.domain.values.errors import InvalidValueError, UnknownCurrencyError
from service.domain.values.money import check_currency_on
from service.nearest import in_place_of


@declared
class FileLine:
    """A line of the file.

    Attributes:
        day: the day the rate holds from.
        base: the base currency; the same for all lines of a day.
        currency: another currency; it may have gone out of use since that day.
        rate: units of the currency for one unit of the base.
    """

    day: date
    base: CurrencyCode
    currency: CurrencyCode
    rate: Positive

    def problems(self) -> Iterable[InvalidValueError]:
        for name, code in (("base", self.base), ("currency", self.currency)):
            try:
                check_currency_on(code, self.day)
            except UnknownCurrencyError as error:
                yield InvalidValueError((name,), str(error))
        if self.currency == self.base:
            yield InvalidValueError(("currency",), "is the base itself; leave this line out")


COLUMNS = ("day", "base", "currency", "rate")
_LINE = schema_of(FileLine)()


def read_days(body: bytes, source: str) -> list[DayRates]:
    """The rates of the file by day; none of them if any line is wrong.

    Raises:
        ProblemError: 400 if it is not CSV in UTF-8; 422 naming the first 50 lines that are wrong.
    """
    days = _Days(source)
    read_csv(body, "rate", days.header, days.add)
    return days.found()


class _Days:
    """The days of a file, collected line by line."""

    def __init__(self, source: str) -> None:
        self._source = source
        self._columns: Sequence[str] = ()
        self._days: dict[date, tuple[str, dict[str, Decimal]]] = {}

    def found(self) -> list[DayRates]:
        return [
            DayRates(source=self._source, base=base, published_on=day, rates=rates)
            for day, (base, rates) in sorted(self._days.items())
        ]

    def header(self, names: Sequence[str]) -> Iterator[str]:
        """Take the columns; yields what is wrong with them."""
        self._columns = names
        if sorted(names) != sorted(COLUMNS):
            found = "".join(in_place_of(name, names) for name in COLUMNS if name not in names)
            yield f"must name the columns {', '.join(COLUMNS)}, separated by commas{found}"

    def add(self, _: int, row: Sequence[str]) -> Iterator[str]:
        """Add the line to its day; yields what is wrong with it."""
        try:
            line: FileLine = _LINE.load(dict(zip(self._columns, row, strict=True)))
        except ma.ValidationError as error:
            yield from (f"{column}: {'; '.join(told)}" for column, told in dict(error.messages_dict).items())
            return
        base, rates = self._days.setdefault(line.day, (line.base, {}))
        if line.base != base:
            yield f"base: is {base} on another line of {line.day}; a day has one base"
        elif line.currency in rates:
            yield f"currency: {line.currency} is on another line of {line.day} already"
        rates[line.currency] = line.rate
