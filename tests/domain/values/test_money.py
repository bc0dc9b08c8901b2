"""Money, minor units, and codes that are not currencies."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.rates import TariffRate
from service.domain.selling.channels import ChannelRate
from service.domain.values import money
from service.domain.values.errors import CurrencyMismatchError, InvalidValuesError, UnknownCurrencyError
from service.domain.values.money import (
    Money,
    cash_rounded,
    cash_step,
    check_currency_on,
    currency_problems_on,
    ended_on,
    in_currency,
    is_at_minor_unit,
    minor_unit_decimals,
    replaced_by,
    rounded,
)
from tests.domain.examples import euros
from tests.domain.strategies import figures


@pytest.fixture(scope="module", autouse=True)
def _found_anew() -> None:
    """Forget what other tests have found: code that is run only there would count as never run."""
    money._uses.cache_clear()
    money._ends.cache_clear()


class TestMinorUnit:
    @pytest.mark.parametrize(
        ("code", "decimals"), [("EUR", 2), ("JPY", 0), ("KWD", 3), ("CLF", 4), ("IQD", 3), ("RSD", 2), ("MGA", 2)]
    )
    def test_is_the_one_of_iso_4217_and_not_what_shops_round_to(self, code: str, decimals: int) -> None:
        assert minor_unit_decimals(code) == decimals

    @pytest.mark.parametrize("code", ["XAU", "XXX"])
    def test_a_code_without_one_is_refused(self, code: str) -> None:
        with pytest.raises(UnknownCurrencyError, match=f"{code} is not an ISO 4217 currency with a minor unit"):
            minor_unit_decimals(code)

    def test_an_unknown_code_is_refused(self) -> None:
        with pytest.raises(UnknownCurrencyError, match="ZZZ is not an ISO 4217 currency") as error:
            minor_unit_decimals("ZZZ")

        assert (error.value.code, error.value.ended_on) == ("ZZZ", None)

    @pytest.mark.parametrize(("code", "decimals"), [("LTL", 2), ("ESP", 0), ("HRK", 2)])
    def test_of_a_currency_that_has_ended_is_the_one_of_cldr(self, code: str, decimals: int) -> None:
        assert minor_unit_decimals(code) == decimals


class TestMoney:
    def test_adds_up_in_one_currency_and_in_no_other(self) -> None:
        assert euros("1.20") + euros("0.05") == euros("1.25")

        with pytest.raises(CurrencyMismatchError, match="EUR and JPY cannot be put together") as error:
            euros("1") + Money(amount=Decimal(1), currency="JPY")
        assert (error.value.one, error.value.other) == ("EUR", "JPY")

    def test_reads_as_an_amount_and_a_code(self) -> None:
        assert str(Money(amount=Decimal("1E+3"), currency="JPY")) == "1000 JPY"

    @pytest.mark.parametrize("code", ["eur", "EURO", "ZZZ", "XAU"])
    def test_of_an_unknown_currency_is_refused(self, code: str) -> None:
        with pytest.raises(InvalidValuesError, match="currency: "):
            Money(amount=Decimal(1), currency=code)

    def test_is_the_same_made_with_and_without_checks(self) -> None:
        assert in_currency(Decimal("1.5"), "EUR") == euros("1.5")


class TestRounding:
    def test_is_to_the_minor_unit(self) -> None:
        exact = Decimal("1.23456789")

        assert rounded(exact, "EUR") == euros("1.23")
        assert str(rounded(exact, "JPY")) == "1 JPY"

    def test_says_whether_an_amount_is_finer_than_the_minor_unit(self) -> None:
        assert is_at_minor_unit(Decimal("0.010"), "EUR")
        assert not is_at_minor_unit(Decimal("0.011"), "EUR")
        assert not is_at_minor_unit(Decimal("0.5"), "JPY")


class TestCash:
    def test_is_rounded_from_the_amount_that_the_customer_sees(self) -> None:
        assert cash_rounded(Decimal("1.249"), "DKK") == Money(amount=Decimal("1.50"), currency="DKK")
        assert cash_rounded(Decimal("-1.25"), "DKK") == Money(amount=Decimal("-1.50"), currency="DKK")

    def test_in_an_unknown_currency_is_refused(self) -> None:
        with pytest.raises(UnknownCurrencyError):
            cash_rounded(Decimal(1), "ZZZ")

    @given(st.sampled_from(["CHF", "DKK", "SEK", "RSD", "IQD", "TWD"]), figures("0", "99999", 3))
    def test_is_the_nearest_multiple_of_the_step_and_at_a_tie_the_higher(self, currency: str, amount: Decimal) -> None:
        step, told = cash_step(currency), rounded(amount, currency).amount
        paid = cash_rounded(amount, currency)

        assert step is not None
        assert paid is not None
        assert paid.amount % step == 0
        assert -step / 2 < paid.amount - told <= step / 2
        assert rounded(paid.amount, currency) == paid


class TestOnADay:
    @pytest.mark.parametrize(("code", "day"), [("USD", "1999-01-04"), ("HRK", "2023-01-14"), ("BGN", "2026-01-31")])
    def test_a_currency_is_valid_until_its_last_day(self, code: str, day: str) -> None:
        check_currency_on(code, date.fromisoformat(day))

    @pytest.mark.parametrize(("code", "day"), [("ZZZ", "1999-01-04"), ("HRK", "2023-01-15"), ("BGN", "2026-02-01")])
    def test_a_currency_is_not_valid_after_its_last_day(self, code: str, day: str) -> None:
        with pytest.raises(UnknownCurrencyError) as error:
            check_currency_on(code, date.fromisoformat(day))

        assert error.value.ended_on == ended_on(code)

    @pytest.mark.parametrize(
        ("code", "new"),
        [
            ("BGN", ("EUR", date(2026, 1, 1))),
            ("HRK", ("EUR", date(2023, 1, 1))),
            ("LTL", ("EUR", date(2015, 1, 1))),
            ("TRL", ("TRY", date(2005, 1, 1))),
            ("SUR", None),  # the currencies of its heirs have ended, too
            ("YUD", None),
            ("CUC", None),  # nothing came in its place
            ("EUR", None),
            ("ZZZ", None),
        ],
    )
    def test_a_currency_that_ended_names_what_came_in_its_place(self, code: str, new: tuple[str, date] | None) -> None:
        assert replaced_by(code) == new

    def test_every_currency_in_a_value_is_held_against_the_day(self) -> None:
        kuna, lev = (Money(amount=Decimal(1), currency=code) for code in ("HRK", "BGN"))
        terms = TariffRate(
            price_per_kwh={"day": kuna, "night": lev}, standing_charge_per_month=lev, expected_kwh_per_month=Decimal(9)
        )
        fees = ChannelRate(currency="HRK"), ChannelRate()

        assert [str(each) for each in currency_problems_on(terms, date(2025, 6, 2))] == [
            "price_per_kwh/day/currency: HRK is no longer in use; its last day was 2023-01-14; use EUR"
        ]
        assert [each.path for each in currency_problems_on(fees, date(2026, 6, 2))] == [(0, "currency")]
        assert list(currency_problems_on((terms, fees), date(2023, 1, 14))) == []
