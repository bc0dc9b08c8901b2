"""Published rules and examples of cash rounding, in currencies whose smallest coins were withdrawn."""

from decimal import Decimal

import pytest

from service.domain.values.exact import half_up
from service.domain.values.money import cash_rounded, cash_step


def cash(amount: str, currency: str) -> Decimal:
    found = cash_rounded(Decimal(amount), currency)
    assert found is not None
    assert found.currency == currency
    return found.amount


class TestThePennyOfCanada:
    """Phasing out the penny: rounding guidelines, Canada Revenue Agency and Royal Canadian Mint, 2013."""

    @pytest.mark.parametrize(
        ("amount", "paid"),
        [
            ("1.00", "1.00"),
            ("1.01", "1.00"),
            ("1.02", "1.00"),
            ("1.03", "1.05"),
            ("1.04", "1.05"),
            ("1.05", "1.05"),
            ("1.06", "1.05"),
            ("1.07", "1.05"),
            ("1.08", "1.10"),
            ("1.09", "1.10"),
            ("1.10", "1.10"),
        ],
    )
    def test_the_total_is_paid_to_the_nearest_five_cents(self, amount: str, paid: str) -> None:
        assert cash(amount, "CAD") == Decimal(paid)

    def test_the_tax_comes_first_and_the_rounding_last(self) -> None:
        """The agency's example of a hundred screws, as quoted on Lexology; the net amount and the tax are printed,
        the total and the cash amount are recomputed."""
        net = half_up(Decimal("1.79") * 100, 2)
        tax = half_up(net * Decimal("0.13"), 2)

        assert (net, tax, net + tax) == (Decimal("179.00"), Decimal("23.27"), Decimal("202.27"))
        assert cash(str(net + tax), "CAD") == Decimal("202.25")


class TestFiveCents:
    """Phasing out the penny, Office de la protection du consommateur (Quebec), 2023; Swedish rounding, Wikipedia, whose
    examples are Australian. CLDR lists no cash rounding for the Australian dollar, so all are in Canadian dollars."""

    @pytest.mark.parametrize(
        ("amount", "paid"), [("5.98", "6.00"), ("5.97", "5.95"), ("20.42", "20.40"), ("20.43", "20.45")]
    )
    def test_an_amount_is_paid_to_the_nearest_five_cents(self, amount: str, paid: str) -> None:
        assert cash(amount, "CAD") == Decimal(paid)


class TestTheKronaOfSweden:
    """Cash rounding, Wikipedia, section Sweden: whole kronor since the 50 öre coin went in 2010.

    The step is published; rounding an exact half up is our own rule, because practice varies. The figures are derived.
    """

    @pytest.mark.parametrize(("amount", "paid"), [("99.49", "99"), ("99.50", "100"), ("100.50", "101")])
    def test_an_amount_is_paid_in_whole_kronor(self, amount: str, paid: str) -> None:
        assert cash(amount, "SEK") == Decimal(paid)


class TestCurrencyFractions:
    """Unicode CLDR, supplemental data, currency fractions, as packaged in Babel 2.18, Unicode Consortium, 2025."""

    @pytest.mark.parametrize(
        ("currency", "step"),
        [
            ("CHF", "0.05"),
            ("CAD", "0.05"),
            ("DKK", "0.50"),
            ("SEK", "1"),
            ("NOK", "1"),
            ("CZK", "1"),
            ("HUF", "1"),
            ("IQD", "1"),
            ("RSD", "1"),
            ("MGA", "1"),
        ],
    )
    def test_cash_is_a_multiple_of_a_step(self, currency: str, step: str) -> None:
        assert cash_step(currency) == Decimal(step)

    @pytest.mark.parametrize("currency", ["EUR", "USD", "GBP", "JPY", "KWD", "CLF"])
    def test_where_no_cash_step_is_known_cash_is_paid_to_the_minor_unit(self, currency: str) -> None:
        assert cash_step(currency) is None
        assert cash_rounded(Decimal("1.03"), currency) is None
