"""Which published day converts an amount, and how."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from service.domain.errors import InvalidValuesError, MissingExchangeRateError
from service.domain.exact import exactly
from service.domain.exchange import DEFAULT_MAX_AGE_DAYS, DayRates, ExchangeRates
from service.domain.money import Money
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

    def test_is_among_those_of_one_date_what_was_entered_by_hand(self) -> None:
        days = [a_day(source="aaa", USD="2"), a_day(source="manual"), a_day(source="zzz", USD="4")]

        assert converted(dollars("10"), "EUR", *days) == 8

    def test_is_a_newer_one_even_if_an_older_was_entered_by_hand(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(1, source="manual", USD="2"), a_day(0)) == 8

    def test_is_one_that_has_both_currencies(self) -> None:
        assert converted(dollars("10"), "EUR", a_day(0, JPY="160"), a_day(2)) == 8

    def test_may_be_as_old_as_the_maximum_age_and_no_older(self) -> None:
        oldest, too_old = a_day(DEFAULT_MAX_AGE_DAYS), a_day(DEFAULT_MAX_AGE_DAYS + 1)
        assert converted(dollars("10"), "EUR", oldest) == 8

        with pytest.raises(
            MissingExchangeRateError, match="no exchange rate between USD and EUR on 2026-11-25"
        ) as error:
            converted(dollars("10"), "EUR", too_old)
        assert (error.value.one, error.value.other) == ("USD", "EUR")
        assert (error.value.as_of, error.value.max_age_days) == (TODAY, DEFAULT_MAX_AGE_DAYS)


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
    def test_are_refused_where_they_cannot_be(self, changes: dict[str, Any], message: str) -> None:
        usual = {"source": "manual", "base": "EUR", "published_on": date(2026, 1, 2), "rates": {"USD": Decimal("1.1")}}

        with pytest.raises(InvalidValuesError) as error:
            DayRates(**{**usual, **changes})

        assert message in str(error.value)

    def test_may_name_the_base_itself_at_1(self) -> None:
        day = a_day(EUR="1", USD="1.25")

        assert (day.rate_of("EUR"), day.rate_of("USD"), day.rate_of("JPY")) == (1, Decimal("1.25"), None)
