"""The learning curve at its edges; published figures stand elsewhere."""

from decimal import Decimal

import pytest
from hypothesis import given

from service.domain.errors import InvalidValuesError
from service.domain.exact import half_up
from service.domain.learning import LearningCurve, learning_factor, learning_index
from tests.domain.strategies import figures


def a_curve(rate: str = "0.8", before: str = "0") -> LearningCurve:
    return LearningCurve(rate_share=Decimal(rate), pieces_before=Decimal(before))


def factor(curve: LearningCurve | None, pieces: str) -> Decimal:
    return half_up(learning_factor(curve, Decimal(pieces)), 6)


class TestTheFactor:
    def test_is_1_without_a_curve_and_on_a_curve_of_1(self) -> None:
        assert factor(None, "100") == 1
        assert factor(a_curve("1"), "100") == 1

    @pytest.mark.parametrize(("pieces", "expected"), [("1", "1"), ("2", "0.8"), ("4", "0.64"), ("8", "0.512")])
    def test_falls_to_the_rate_with_every_doubling(self, pieces: str, expected: str) -> None:
        assert factor(a_curve(), pieces) == Decimal(expected)

    def test_is_1_while_not_one_piece_is_made_yet(self) -> None:
        assert factor(a_curve(), "0.5") == 1
        assert factor(a_curve(before="0.5"), "0.5") == 1

    def test_goes_on_from_the_pieces_made_before(self) -> None:
        assert factor(a_curve(before="1"), "1") == Decimal("0.6")  # two take 1.6 in all, the first took 1
        assert factor(a_curve(before="2"), "2") == Decimal("0.48")  # (4 × 0.64 − 2 × 0.8) ÷ 2

    def test_counts_part_of_a_piece_before_the_first(self) -> None:
        assert Decimal("0.6") < factor(a_curve(before="0.5"), "1") < 1

    @given(figures("0.51", "1", 2), figures("0", "50", 1), figures("0.1", "500", 1), figures("0.1", "500", 1))
    def test_never_rises_with_the_pieces(self, rate: Decimal, before: Decimal, pieces: Decimal, more: Decimal) -> None:
        curve = LearningCurve(rate_share=rate, pieces_before=before)

        fewer, many = learning_factor(curve, pieces), learning_factor(curve, pieces + more)

        assert half_up(many, 12) <= half_up(fewer, 12)
        assert many > 0


class TestTheCurve:
    @pytest.mark.parametrize("rate", ["0.5", "1.01", "0"])
    def test_is_refused_where_a_second_piece_would_take_nothing_or_more(self, rate: str) -> None:
        with pytest.raises(InvalidValuesError, match="rate_share: must be"):
            a_curve(rate)

    def test_has_the_exponent_log2_of_its_rate(self) -> None:
        assert half_up(learning_index(Decimal("0.8")), 4) == Decimal("-0.3219")
