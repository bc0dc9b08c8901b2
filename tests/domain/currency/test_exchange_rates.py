"""Which day's published rates convert an amount, and how."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from service.domain.currency.errors import MissingExchangeRateError
from service.domain.currency.exchange_rates import FEED, MAX_AGE_DAYS, DayRates, ExchangeRates
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import exactly
from service.domain.values.money import Money
from tests.domain.examples import TODAY, euros


def a_day(days_before: int = 0, source: str = "central bank", base: str = "EUR", **rates: str) -> DayRates:
    return DayRates(
        source=source,
        base=base,
        published_on=TODAY - timedelta(days=days_before),
        rates={code: Decimal(rate) for code, rate in rates.items()} or {"USD": Decimal("1.25")},
    )


def dollars(amount: str) -> Money:
    return Money(amount=Decimal(amount), currency="USD")


def converted(money: Money, currency: str, *days: DayRates) -> Decimal:
    return exactly(ExchangeRates(as_of=TODAY, days=days).converted)(money, currency)


class TestConversion:
    def test_from_and_to_the_base(self) -> None:
        assert converted(dollars("10"), "EUR", a_day()) == 8
        assert converted(euros("8"), "USD", a_day()) == 10

    def test_between_two_others_goes_through_the_base_without_a_rounded_inverse(self) -> None:
        day = a_day(USD="1.2", JPY="150")

        assert converted(dollars("12"), "JPY", day) == 1500

    def test_of_an_amount_already_in_the_currency_takes_no_rate(self) -> None:
        assert converted(euros("1.23"), "EUR") == Decimal("1.23")


class TestWhichDay:
    def test_is_the_last_one_published(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(9, USD="2"), a_day(3), a_day(5, USD="4")) == 8

    def test_is_never_a_later_one(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(-1, USD="2"), a_day(1)) == 8

    def test_is_the_one_entered_by_hand_among_those_of_one_date(self) -> None:
        days = [a_day(source="aaa", USD="2"), a_day(source="manual"), a_day(source="zzz", USD="4")]

        assert converted(dollars("10"), "EUR", *days) == 8

    def test_is_a_newer_one_even_if_an_older_one_was_entered_by_hand(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(1, source="manual", USD="2"), a_day(0)) == 8

    def test_is_one_that_has_both_currencies(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(0, JPY="160"), a_day(2)) == 8

    @pytest.mark.parametrize(("source", "max_age_days"), [("manual", 31), ("customs", 31), (FEED, 10)])
    def test_may_be_as_old_as_its_source_allows_and_no_older(self, source: str, max_age_days: int) -> None:
        oldest, too_old = a_day(max_age_days, source), a_day(max_age_days + 1, source)
        assert converted(dollars("10"), "EUR", oldest) == 8

        with pytest.raises(
            MissingExchangeRateError, match="no exchange rate between USD and EUR on 2026-11-25"
        ) as error:
            converted(dollars("10"), "EUR", too_old)
        assert (error.value.one, error.value.other) == ("USD", "EUR")
        assert (error.value.as_of, error.value.max_age_days) == (TODAY, MAX_AGE_DAYS)

    def test_is_an_older_one_of_a_source_that_allows_it_where_the_feed_has_stopped(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(20, "manual"), a_day(11, FEED, USD="2")) == 8

    def test_is_never_the_last_day_of_a_currency_that_was_replaced(self) -> None:
        """The kuna's last reference rate is of 2022-12-30; the legal conversion rate was 7.53450."""
        last = DayRates(source=FEED, base="EUR", published_on=date(2022, 12, 30), rates={"HRK": Decimal("7.5365")})

        with pytest.raises(MissingExchangeRateError, match="on 2023-01-01 EUR came in the place of HRK"):
            ExchangeRates(as_of=date(2023, 1, 1), days=(last,)).day_for("HRK", "EUR")
        assert ExchangeRates(as_of=date(2022, 12, 31), days=(last,)).day_for("HRK", "EUR") == last


class TestWhatWasUsed:
    def test_is_stated_with_its_age_and_how_old_it_may_be(self) -> None:
        days = (a_day(3, FEED, USD="1.25", JPY="160"), a_day(30, "manual"))

        fetched, entered = ExchangeRates(as_of=TODAY, days=days).stated()

        assert (fetched.source, fetched.published_on, fetched.base) == (FEED, TODAY - timedelta(days=3), "EUR")
        assert (fetched.age_days, fetched.max_age_days) == (3, 10)
        assert fetched.rates == {"USD": Decimal("1.25"), "JPY": Decimal(160)}
        assert (entered.source, entered.age_days, entered.max_age_days) == ("manual", 30, 31)

    def test_lists_the_needed_currencies_of_a_day_by_code(self) -> None:
        day = a_day(USD="1.25", JPY="160", GBP="0.8")

        assert list(day.only({"USD", "EUR", "GBP"}).rates) == ["GBP", "USD"]


class TestDayRates:
    @pytest.mark.parametrize(
        ("changes", "message"),
        [
            ({"base": "ZZZ"}, "base: ZZZ is not an ISO 4217 currency"),
            ({"rates": {"DEM": Decimal(2)}}, "rates/DEM: DEM is no longer in use"),
            ({"rates": {"EUR": Decimal(2)}}, "rates/EUR: the base's rate to itself is 1; leave it out"),
            ({"rates": {"USD": Decimal(0)}}, "rates: must be more than 0"),
            ({"rates": {}}, "rates: must have 1 to 400 entries"),
        ],
    )
    def test_are_refused_where_they_are_invalid(self, changes: dict[str, Any], message: str) -> None:
        usual = {"source": "manual", "base": "EUR", "published_on": date(2026, 1, 2), "rates": {"USD": Decimal("1.1")}}

        with pytest.raises(InvalidValuesError) as error:
            DayRates(**{**usual, **changes})

        assert message in str(error.value)

    def test_may_name_the_base_itself_at_1(self) -> None:
        day = a_day(EUR="1", USD="1.25")

        assert (day.rate_of("EUR"), day.rate_of("USD"), day.rate_of("JPY")) == (1, Decimal("1.25"), None)

    def test_may_name_a_currency_until_its_last_day(self) -> None:
        def on(day: date) -> DayRates:
            return DayRates(source=FEED, base="EUR", published_on=day, rates={"HRK": Decimal("7.5365")})

        assert on(date(2023, 1, 14)).rate_of("HRK") == Decimal("7.5365")
        with pytest.raises(InvalidValuesError, match="rates/HRK: HRK is no longer in use; its last day was 2023-01-14"):
            on(date(2023, 1, 15))

    @pytest.mark.parametrize("code", ["ZZZ", "XXX", "XAU", "CNH"])
    def test_never_name_a_code_that_was_not_a_currency_on_the_day(self, code: str) -> None:
        with pytest.raises(InvalidValuesError, match=f"rates/{code}: {code} is not an ISO 4217 currency"):
            DayRates(source="manual", base="EUR", published_on=date(1999, 1, 4), rates={code: Decimal(2)})
