"""Rounding of results, and figures that are refused since they cannot be exact."""

from decimal import ROUND_UP, Context, Decimal, DivisionByZero, localcontext

import pytest

from service.domain.values.errors import FigureTooLargeError
from service.domain.values.exact import EXACT, apportioned, exactly, half_up, known, plain, whole_down, whole_up


@exactly
def parts_of(whole: str, count: int) -> list[Decimal]:
    return [Decimal(whole) / count] * count


class TestHalfUp:
    @pytest.mark.parametrize(
        ("figure", "shown"),
        [("0.125", "0.13"), ("-0.125", "-0.13"), ("0.1249999999999999999", "0.12"), ("7", "7.00"), ("1E+2", "100.00")],
    )
    def test_rounds_a_tie_away_from_0(self, figure: str, shown: str) -> None:
        assert str(half_up(Decimal(figure), 2)) == shown

    def test_treats_a_tie_that_is_short_by_a_rounding_error_as_a_tie(self) -> None:
        with localcontext(EXACT):
            short = sum(parts_of("0.085", 3))

        assert short < Decimal("0.085")
        assert str(half_up(short, 2)) == "0.09"

    def test_never_returns_a_negative_zero(self) -> None:
        assert str(half_up(Decimal("-0.001"), 2)) == "0.00"

    def test_refuses_a_figure_with_more_digits_than_the_service_computes(self) -> None:
        assert half_up(Decimal("1" * 26), 2) == Decimal("1" * 26)

        with pytest.raises(FigureTooLargeError, match="use smaller quantities or rates"):
            half_up(Decimal("1" * 27), 2)


class TestWhole:
    def test_up_and_down_treat_a_whole_number_with_a_rounding_error_as_whole(self) -> None:
        assert whole_up(Decimal("2.0000000000000000000000000000000001")) == 2
        assert whole_down(Decimal("1.9999999999999999999999999999999999")) == 2

    def test_up_and_down_otherwise_round_up_and_down(self) -> None:
        assert (whole_up(Decimal("2.01")), whole_down(Decimal("2.99"))) == (3, 2)
        assert (whole_up(Decimal("-2.99")), whole_down(Decimal("-2.01"))) == (-2, -3)


class TestApportioned:
    def test_missing_units_go_to_those_that_lost_most_and_at_a_tie_to_the_earlier(self) -> None:
        figures = [Decimal("0.335"), Decimal("0.335"), Decimal("0.33")]

        assert apportioned(figures, 2) == (Decimal("0.34"), Decimal("0.33"), Decimal("0.33"))

    def test_credits_are_apportioned_too(self) -> None:
        shown = apportioned([Decimal("10.004"), Decimal("-0.004"), Decimal("-3.333")], 2)

        assert sum(shown) == Decimal("6.67")

    def test_no_figures_are_apportioned_to_none(self) -> None:
        assert apportioned([], 2) == ()

    def test_they_add_up_to_the_rounded_total_where_that_is_a_tie(self) -> None:
        """Three times a third of 8.5 counts as 8.5 in half_up, so they add up to 9."""
        thirds = parts_of("8.5", 3)
        with localcontext(EXACT):
            total, shown = half_up(sum(thirds), 0), apportioned(thirds, 0)

        assert total == 9
        assert sum(shown) == total


class TestPlain:
    @pytest.mark.parametrize(
        ("figure", "shown"), [("1E+2", "100"), ("1.50", "1.5"), ("0.1234567891", "0.123456789"), ("0E-20", "0")]
    )
    def test_has_neither_exponent_nor_trailing_zeros(self, figure: str, shown: str) -> None:
        assert str(plain(Decimal(figure), 9)) == shown


class TestExactly:
    @pytest.mark.parametrize("precision", [5, 28, 34])
    def test_computes_with_34_digits_and_rounds_half_even_whatever_the_caller_has(self, precision: int) -> None:
        with localcontext(Context(prec=precision, rounding=ROUND_UP)):
            (part, *_) = parts_of("1", 3)

        assert str(part) == f"0.{'3' * 34}"

    def test_refuses_a_figure_that_is_too_large_whatever_the_caller_traps(self) -> None:
        too_large = exactly(lambda: Decimal("1E+40").quantize(Decimal("0.01")))

        with localcontext(Context(prec=34, traps=[])), pytest.raises(FigureTooLargeError):
            too_large()

    def test_computes_the_same_when_nested(self) -> None:
        assert exactly(lambda: parts_of("1", 3))() == parts_of("1", 3)

    def test_a_figure_that_outgrows_the_digits_is_refused(self) -> None:
        @exactly
        def cents_of(figure: Decimal) -> Decimal:
            return figure.quantize(Decimal("0.01"))

        with pytest.raises(FigureTooLargeError):
            cents_of(Decimal("1E+40"))

    def test_a_division_by_0_is_our_own_fault_and_is_raised(self) -> None:
        with pytest.raises(DivisionByZero):
            exactly(lambda: Decimal(1) / Decimal(0))()


class TestTheComputedDigitsOfAFigure:
    @pytest.mark.parametrize(
        ("figure", "shown"),
        [
            ("0.12345678", "0.1235"),
            ("1.50", "1.5"),
            ("0", "0"),
            ("-12345678901234567890123.12344", "-12345678901234567890123.1234"),
            ("123456789012345678901234.99999", "123456789012345678901235"),
            ("12345678901234567890123456.789", "12345678901234567890123456.79"),
            ("1234567890123456789012345678.9", "1234567890123456789012345679"),
            ("12345678901234567890123456789", "12345678901234567890123456790"),
        ],
    )
    def test_are_at_most_28_with_at_most_the_given_decimals(self, figure: str, shown: str) -> None:
        assert f"{known(Decimal(figure), 4):f}" == shown
