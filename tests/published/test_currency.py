"""Published exchange rates and the rules of conversion, entered and used over HTTP.

The service refuses currencies that the euro replaced, so their rates are entered under another currency with the same
number of decimals: the Swiss franc (CHF) for two, the yen (JPY) for none. This does not change the arithmetic.
"""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import flask
import pytest
from babel.core import get_global

from service.domain.currency.exchange_rates import DayRates, ExchangeRates
from service.domain.values.errors import UnknownCurrencyError
from service.domain.values.exact import half_up
from service.domain.values.money import Money, currency_problem, ended_on, minor_unit_decimals
from tests.conftest import Client, make_client
from tests.published.examples import amount, cost_sheet, make, rounded
from tests.support.builders import money
from tests.support.contract import Contract

TWO_DECIMALS, NO_DECIMALS = "CHF", "JPY"
LONG_AGO = "1999-01-01"


def enter(client: Client, day: str, **rates: str) -> None:
    response = client.put(f"exchange-rates/{day}", {"base": "EUR", "rates": rates})
    assert response.status_code in (200, 201), response.json


def buying(client: Client, price: str, currency: str) -> Client:
    """Register a product made of one bought material at this price; returns the workshop."""
    client.register(
        "materials/thing", {"name": "thing", "unit": "piece"}, **{LONG_AGO: {"price": money(price, currency)}}
    )
    make(client, "thing", {"thing": "1"})
    return client


def sheet_on(client: Client, day: str) -> Any:
    return cost_sheet(client, "thing", as_of=day)


IRREVOCABLE = {
    "BEF": "40.3399",
    "DEM": "1.95583",
    "EEK": "15.6466",
    "GRD": "340.750",
    "ESP": "166.386",
    "FRF": "6.55957",
    "IEP": "0.787564",
    "ITL": "1936.27",
    "CYP": "0.585274",
    "LVL": "0.702804",
    "LTL": "3.45280",
    "LUF": "40.3399",
    "MTL": "0.429300",
    "NLG": "2.20371",
    "ATS": "13.7603",
    "PTE": "200.482",
    "SIT": "239.640",
    "SKK": "30.1260",
    "FIM": "5.94573",
}


class TestIrrevocableRates:
    """Council Regulation (EC) No 2866/98, Article 1, as amended to 2015: units for one euro, six significant figures.

    Council Regulation (EC) No 1103/97, Article 4, 1997: a rate is neither rounded nor inverted.
    """

    @pytest.mark.parametrize("currency", sorted(IRREVOCABLE))
    def test_one_euro_is_the_rate_and_the_rate_is_one_euro(self, client: Client, currency: str) -> None:
        rate = IRREVOCABLE[currency]
        enter(client, "2026-01-01", **{TWO_DECIMALS: rate})

        stored = client.get("exchange-rates/2026-01-01").json["rates"]
        back = sheet_on(buying(client, rate, TWO_DECIMALS), "2026-01-01")

        assert stored == {TWO_DECIMALS: rate}
        assert back["subtotals"]["full_cost"]["per_piece"] == money("1.000000")

    @pytest.mark.parametrize("rate", sorted(set(IRREVOCABLE.values())))
    def test_an_amount_there_and_back_is_the_same_amount(self, rate: str) -> None:
        day = DayRates(source="law", base="EUR", published_on=date(2026, 1, 1), rates={TWO_DECIMALS: Decimal(rate)})
        exchange = ExchangeRates(as_of=date(2026, 1, 1), days=(day,))
        euros = Money(amount=Decimal("1234.56"), currency="EUR")

        there = exchange.converted(euros, TWO_DECIMALS)
        back = exchange.converted(Money(amount=there, currency=TWO_DECIMALS), "EUR")

        assert there == euros.amount * Decimal(rate)
        assert half_up(back, 2) == euros.amount

    def test_no_rounded_inverse_is_used_even_for_a_million(self, client: Client) -> None:
        enter(client, "2026-01-01", **{TWO_DECIMALS: IRREVOCABLE["DEM"]})

        sheet = sheet_on(buying(client, "1000000", TWO_DECIMALS), "2026-01-01")

        # With the inverse rounded to six figures, 0.511292, the result would be 511,292.00.
        assert sheet["subtotals"]["full_cost"]["per_batch"] == money("511291.88")

    @pytest.mark.parametrize("currency", sorted(IRREVOCABLE))
    def test_a_currency_that_the_euro_replaced_is_refused_with_its_last_day(self, currency: str) -> None:
        ended = ended_on(currency)

        assert ended is not None
        assert currency_problem(currency) == f"{currency} is no longer in use; its last day was {ended}; use EUR"


class TestPesetasToEuro:
    """Practical Manual of Companies 2020, chapter 1, Agencia Tributaria: amounts in pesetas at 166.386.

    The raw quotients are printed to eight decimals. The third is near a tie: 3,045.72500090.
    """

    @pytest.mark.parametrize(
        ("pesetas", "raw", "euros"),
        [
            ("1270000", "7632.85372567", "7632.85"),
            ("65732", "395.05727645", "395.06"),
            ("506766", "3045.72500090", "3045.73"),
        ],
    )
    def test_an_amount_is_divided_by_the_rate_and_rounded_half_up(
        self, client: Client, pesetas: str, raw: str, euros: str
    ) -> None:
        enter(client, "2026-01-01", **{NO_DECIMALS: IRREVOCABLE["ESP"]})

        cost = sheet_on(buying(client, pesetas, NO_DECIMALS), "2026-01-01")["subtotals"]["full_cost"]

        assert cost["per_batch"] == money(euros)
        assert amount(cost["per_piece"]) == rounded(Decimal(raw), "1E-6")


class TestEurosAndMarks:
    """'Ein Euro = 1,95583 DM', a tax adviser's glossary (StB M. Mueller), no year."""

    def test_977_915_is_rounded_half_up_to_977_92(self, app: flask.Flask, contract: Contract) -> None:
        client = make_client(app, contract, currency=TWO_DECIMALS)
        enter(client, "2026-01-01", **{TWO_DECIMALS: IRREVOCABLE["DEM"]})

        cost = sheet_on(buying(client, "500", "EUR"), "2026-01-01")["subtotals"]["full_cost"]

        assert amount(cost["per_piece"]) == Decimal("977.915")
        assert cost["per_batch"] == money("977.92", TWO_DECIMALS)

    def test_1_000_marks_are_511_29_euros(self, client: Client) -> None:
        enter(client, "2026-01-01", **{TWO_DECIMALS: IRREVOCABLE["DEM"]})

        cost = sheet_on(buying(client, "1000", TWO_DECIMALS), "2026-01-01")["subtotals"]["full_cost"]

        assert cost["per_batch"] == money("511.29")


class TestTriangulation:
    """Equivalent peseta amounts, note 2, Banco de España, 1999: 4,000 marks in pesetas through the euro.

    The source rounds the euros to four decimals (2,045.1675; the law requires at least three), the service does not
    round them; the whole pesetas are the same. The stored page ends before its result, which is recomputed.
    """

    def test_4_000_marks_are_340_287_pesetas(self, app: flask.Flask, contract: Contract) -> None:
        client = make_client(app, contract, currency=NO_DECIMALS)
        enter(client, "2026-01-01", **{TWO_DECIMALS: IRREVOCABLE["DEM"], NO_DECIMALS: IRREVOCABLE["ESP"]})

        cost = sheet_on(buying(client, "4000", TWO_DECIMALS), "2026-01-01")["subtotals"]["full_cost"]

        through_four_decimals = rounded(4000 / Decimal(IRREVOCABLE["DEM"]), "0.0001") * Decimal(IRREVOCABLE["ESP"])
        assert cost["per_batch"] == money("340287", NO_DECIMALS)
        assert rounded(through_four_decimals, "1") == 340_287
        assert abs(amount(cost["per_piece"]) - through_four_decimals) < Decimal("0.01")


REFERENCE_RATES = {
    "1999-01-04": {"USD": "1.1789", "JPY": "133.73", "GBP": "0.7111"},
    "2005-01-03": {"TRY": "1.815"},
    "2005-07-01": {"RON": "3.603"},
    "2008-12-09": {"ISK": "290"},
    "2015-01-14": {"CHF": "1.201"},
    "2015-01-15": {"CHF": "1.028"},
    "2016-06-24": {"GBP": "0.8075"},
    "2018-02-01": {"ISK": "125.01"},
    "2021-01-04": {"USD": "1.2296"},
    "2022-03-01": {"RUB": "117.201"},
    "2023-12-29": {
        "USD": "1.105",
        "JPY": "156.33",
        "GBP": "0.86905",
        "CHF": "0.926",
        "SEK": "11.096",
        "DKK": "7.4529",
        "PLN": "4.3395",
        "HUF": "382.8",
    },
    "2024-06-28": {"USD": "1.0705", "KRW": "1474.86", "INR": "89.2495"},
}


class TestReferenceRates:
    """Euro foreign exchange reference rates, European Central Bank, 1999-2026: units of a currency for one euro."""

    def test_the_digits_kept_are_those_published(self, client: Client) -> None:
        for day, rates in REFERENCE_RATES.items():
            enter(client, day, **rates)

        for day, rates in REFERENCE_RATES.items():
            assert client.get(f"exchange-rates/{day}").json == {"base": "EUR", "rates": rates}

    @pytest.mark.parametrize(
        ("day", "currency"), [(day, currency) for day, rates in REFERENCE_RATES.items() for currency in rates]
    )
    def test_a_hundred_euros_are_a_hundred_times_the_rate(
        self, app: flask.Flask, contract: Contract, day: str, currency: str
    ) -> None:
        client = make_client(app, contract, currency=currency)
        for each, rates in REFERENCE_RATES.items():
            enter(client, each, **rates)

        sheet = sheet_on(buying(client, "100", "EUR"), day)

        assert amount(sheet["subtotals"]["full_cost"]["per_piece"]) == 100 * Decimal(REFERENCE_RATES[day][currency])

    def test_on_a_saturday_the_rate_of_friday_counts_and_is_named(self, app: flask.Flask, contract: Contract) -> None:
        client = make_client(app, contract, currency="USD")
        enter(client, "2023-12-29", **REFERENCE_RATES["2023-12-29"])
        enter(client, "2024-06-28", **REFERENCE_RATES["2024-06-28"])

        sheet = sheet_on(buying(client, "100", "EUR"), "2023-12-30")

        # Linear interpolation between the 29th and the next published day would give 110.265.
        assert sheet["subtotals"]["full_cost"]["per_batch"] == money("110.50", "USD")
        assert [day["published_on"] for day in sheet["exchange_rates"]] == ["2023-12-29"]

    @pytest.mark.parametrize(
        ("day", "status"),
        [("2008-12-09", 200), ("2009-01-09", 200), ("2009-01-10", 422), ("2018-01-31", 422), ("2018-02-01", 200)],
    )
    def test_no_rate_is_carried_over_the_nine_years_in_which_none_was_published(
        self, client: Client, day: str, status: int
    ) -> None:
        """The króna has no reference rate from 2008-12-10 to 2018-01-31; a rate is used for at most 31 days here."""
        enter(client, "2008-12-09", ISK="290")
        enter(client, "2018-02-01", ISK="125.01")
        buying(client, "1000", "ISK")

        response = client.get(f"products/thing/cost-sheet?quantity=1&as_of={day}")

        assert response.status_code == status


class TestCurrenciesThatEnded:
    """Croatia joined the euro on 1 January 2023, Banka Slovenije, 2023: both currencies for 14 days, only the euro
    from 15 January. Last days of the ECB's reference rates: European Central Bank, 1999-2026."""

    def test_the_kuna_is_refused_after_its_last_day(self, client: Client) -> None:
        client.register("materials/thing", {"name": "thing", "unit": "piece"})

        response = client.put("materials/thing/rates/2023-01-15", {"price": money("7.53", "HRK")})

        (error,) = response.json["errors"]
        assert response.status_code == 422
        assert error["pointer"] == "/price/currency"
        assert error["detail"] == "HRK is no longer in use; its last day was 2023-01-14; use EUR"
        assert client.get("materials/thing/rates/2023-01-15").status_code == 404

    def test_a_rate_that_was_never_replaced_is_named_where_it_stops_a_sheet(self, client: Client) -> None:
        enter(client, "2022-12-30", HRK="7.5365")
        buying(client, "753.65", "HRK")

        response = client.get("products/thing/cost-sheet?quantity=1&as_of=2023-01-15")

        (first,) = client.get("materials/thing/rates").json["items"]
        assert response.status_code == 422
        assert response.json["detail"] == (
            f"the rate of materials/thing from {first['valid_from']}: HRK is no longer in use; its last day was "
            "2023-01-14; use EUR"
        )

    @pytest.mark.parametrize(
        ("currency", "rate", "day", "euros"),
        [("HRK", "7.5365", "2022-12-30", "100.00"), ("BGN", "1.95580", "2025-06-02", "385.34")],
    )
    def test_prices_in_it_and_its_rates_are_taken_for_the_days_on_which_it_was_in_use(
        self, client: Client, currency: str, rate: str, day: str, euros: str
    ) -> None:
        """753.65 of each at the European Central Bank's reference rate; that of the lev never changed."""
        enter(client, day, **{currency: rate})
        buying(client, "753.65", currency)

        assert sheet_on(client, day)["subtotals"]["full_cost"]["per_batch"] == money(euros)
        assert client.get(f"exchange-rates/{day}").json == {"base": "EUR", "rates": {currency: rate}}

    @pytest.mark.parametrize(
        ("currency", "last_reference_rate"),
        [
            ("CYP", "2007-12-31"),
            ("MTL", "2007-12-31"),
            ("SIT", "2006-12-29"),
            ("SKK", "2008-12-31"),
            ("EEK", "2010-12-31"),
            ("LVL", "2013-12-31"),
            ("LTL", "2014-12-31"),
            ("HRK", "2022-12-30"),
        ],
    )
    def test_a_currency_ends_within_weeks_of_its_last_reference_rate(
        self, currency: str, last_reference_rate: str
    ) -> None:
        ended, last = ended_on(currency), date.fromisoformat(last_reference_rate)

        assert ended is not None
        assert last <= ended <= last + timedelta(days=31)

    @pytest.mark.parametrize(
        ("currency", "last_reference_rate"), [("BGN", "2025-12-31"), ("ROL", "2005-06-30"), ("TRL", "2004-12-31")]
    )
    def test_others_whose_reference_rates_ended_are_refused_with_their_last_day_too(
        self, currency: str, last_reference_rate: str
    ) -> None:
        ended = ended_on(currency)

        assert ended is not None
        assert ended >= date.fromisoformat(last_reference_rate)
        assert f"its last day was {ended}" in str(currency_problem(currency))


MINOR_UNITS = {
    0: ["JPY", "KRW", "CLP", "VND", "ISK"],
    2: ["EUR", "USD", "GBP", "CHF", "SEK", "HUF", "MRU", "MGA", "RSD"],
    3: ["KWD", "BHD", "TND", "IQD"],
    4: ["CLF", "UYW"],
}


class TestMinorUnits:
    """ISO 4217, list one, as tabled in the data set 'currency-codes' (codes-all.csv), 2026-02-01.

    Unicode CLDR, supplemental data, currency fractions, as packaged in Babel 2.18, 2025: digits for display.
    """

    @pytest.mark.parametrize(
        ("currency", "decimals"),
        [(currency, decimals) for decimals, currencies in MINOR_UNITS.items() for currency in currencies],
    )
    def test_a_currency_has_the_decimals_of_iso_4217(self, currency: str, decimals: int) -> None:
        assert minor_unit_decimals(currency) == decimals

    @pytest.mark.parametrize(("currency", "iso"), [("IQD", 3), ("RSD", 2), ("MGA", 2)])
    def test_where_the_digits_for_display_differ_iso_counts(self, currency: str, iso: int) -> None:
        display_digits, *_ = get_global("currency_fractions")[currency]

        assert display_digits == 0
        assert minor_unit_decimals(currency) == iso

    def test_display_never_shows_more_than_the_minor_unit(self) -> None:
        fractions = get_global("currency_fractions")
        in_use = {
            currency
            for uses in get_global("territory_currencies").values()
            for currency, _, end, is_tender in uses
            if end is None and is_tender
        }

        shown_finer = []
        for currency in in_use:
            try:
                decimals = minor_unit_decimals(currency)
            except UnknownCurrencyError:
                continue  # tender in its territory without a code of ISO 4217
            if fractions.get(currency, fractions["DEFAULT"])[0] > decimals:
                shown_finer.append(currency)

        assert len(in_use) > 100
        assert shown_finer == []

    @pytest.mark.parametrize(("currency", "cost"), [("IQD", "0.335"), ("RSD", "0.34"), ("CLF", "0.3350"), ("JPY", "0")])
    def test_a_cost_sheet_rounds_to_it(self, app: flask.Flask, contract: Contract, currency: str, cost: str) -> None:
        client = make_client(app, contract, currency=currency)

        sheet = sheet_on(buying(client, "0.335", currency), "2026-01-01")

        assert sheet["subtotals"]["full_cost"]["per_batch"] == money(cost, currency)
