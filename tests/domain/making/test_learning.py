"""Edge cases of the learning curve; tests/published holds the published figures."""

from decimal import Decimal, localcontext

import pytest
from hypothesis import given

from service.domain.making.learning import LearningCurve, LearningModel, learning_factor, learning_index
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import half_up
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

    def test_is_1_while_no_whole_piece_is_made_yet(self) -> None:
        assert factor(a_curve(), "0.5") == 1
        assert factor(a_curve(before="0.5"), "0.5") == 1

    def test_continues_from_the_pieces_made_before(self) -> None:
        assert factor(a_curve(before="1"), "1") == Decimal("0.6")  # two take 1.6 in all, the first took 1
        assert factor(a_curve(before="2"), "2") == Decimal("0.48")  # (4 × 0.64 − 2 × 0.8) ÷ 2

    def test_counts_a_part_of_a_piece_made_before(self) -> None:
        assert Decimal("0.6") < factor(a_curve(before="0.5"), "1") < 1

    @given(figures("0.51", "1", 2), figures("0", "50", 1), figures("0.1", "500", 1), figures("0.1", "500", 1))
    def test_never_rises_with_the_pieces(self, rate: Decimal, before: Decimal, pieces: Decimal, more: Decimal) -> None:
        curve = LearningCurve(rate_share=rate, pieces_before=before)

        fewer, many = learning_factor(curve, pieces), learning_factor(curve, pieces + more)

        assert half_up(many, 12) <= half_up(fewer, 12)
        assert many > 0


def a_unit_curve(rate: str = "0.8", before: str = "0") -> LearningCurve:
    return LearningCurve(rate_share=Decimal(rate), pieces_before=Decimal(before), model=LearningModel.UNIT)


def added_up(rate: Decimal, before: int, pieces: int) -> Decimal:
    """Σ i^b piece by piece, with many more digits than the service has, in the equivalent form rate^log2(i)."""
    with localcontext() as context:
        context.prec = 60
        two, found = Decimal(2).ln(), Decimal(0)
        for piece in range(before + 1, before + pieces + 1):
            found += rate ** (Decimal(piece).ln() / two)
        return found / pieces


class TestTheUnitModel:
    def test_multiplies_the_time_of_a_piece_by_the_rate_with_every_doubling(self) -> None:
        assert [factor(a_unit_curve(before=before), "1") for before in ("0", "1", "3", "7")] == [
            1,
            Decimal("0.8"),
            Decimal("0.64"),
            Decimal("0.512"),
        ]

    def test_takes_the_average_of_its_pieces(self) -> None:
        assert factor(a_unit_curve(), "2") == Decimal("0.9")  # (1 + 0.8) ÷ 2
        assert factor(a_unit_curve(before="1"), "3") == Decimal("0.714035")  # (0.8 + 0.702104 + 0.64) ÷ 3

    def test_counts_a_part_of_a_piece_with_that_part_of_its_time(self) -> None:
        assert factor(a_unit_curve(), "1.5") == half_up(Decimal("1.4") / Decimal("1.5"), 6)
        assert factor(a_unit_curve(before="0.5"), "1") == Decimal("0.9")
        assert factor(a_unit_curve(), "0.5") == 1

    @pytest.mark.parametrize("rate", ["0.51", "0.8", "0.99"])
    @pytest.mark.parametrize(
        ("before", "pieces"), [(0, 63), (0, 64), (0, 65), (10, 60), (63, 65), (64, 70), (100, 2000), (5000, 300)]
    )
    def test_of_many_pieces_is_what_they_add_up_to_one_by_one(self, rate: str, before: int, pieces: int) -> None:
        found = learning_factor(a_unit_curve(rate, str(before)), Decimal(pieces))

        assert abs(found / added_up(Decimal(rate), before, pieces) - 1) < Decimal("1E-27")

    def test_of_a_billion_pieces_lies_between_its_integrals(self) -> None:
        count, rate = Decimal(10**9), Decimal("0.9")
        index = learning_index(rate)

        total = learning_factor(a_unit_curve("0.9"), count) * count

        assert ((count + 1) ** (1 + index) - 1) / (1 + index) < total < count ** (1 + index) / (1 + index)

    @given(figures("0.51", "1", 2), figures("0", "200", 1), figures("0.1", "500", 1), figures("0.1", "500", 1))
    def test_two_lots_take_the_same_time_as_one(
        self, rate: Decimal, before: Decimal, pieces: Decimal, more: Decimal
    ) -> None:
        def total(start: Decimal, count: Decimal) -> Decimal:
            return learning_factor(a_unit_curve(str(rate), str(start)), count) * count

        together, parts = total(before, pieces + more), total(before, pieces) + total(before + pieces, more)

        assert abs(together / parts - 1) < Decimal("1E-26")

    @given(figures("0.51", "0.99", 2), figures("2", "500", 0))
    def test_takes_longer_than_the_cumulative_average_at_the_same_rate(self, rate: Decimal, pieces: Decimal) -> None:
        unit, average = (LearningCurve(rate_share=rate, model=model) for model in reversed(LearningModel))

        assert learning_factor(unit, pieces) > learning_factor(average, pieces)


class TestTheCurve:
    @pytest.mark.parametrize("rate", ["0.5", "1.01", "0"])
    def test_is_refused_where_a_second_piece_would_take_nothing_or_more(self, rate: str) -> None:
        with pytest.raises(InvalidValuesError, match="rate_share: must be"):
            a_curve(rate)

    def test_has_the_exponent_log2_of_its_rate(self) -> None:
        assert half_up(learning_index(Decimal("0.8")), 4) == Decimal("-0.3219")
