"""What is sold together: quantities that the unit of a product allows, and a price's part of an order."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.selling.base_quantity import BASE_QUANTITIES, sold_together_problems, unit_problems
from service.domain.selling.sale import OrderOfPrices
from service.domain.values.exact import exactly, snapped
from service.domain.values.units import Unit
from tests.domain.strategies import figures, tried

D = Decimal


class TestSoldTogether:
    @pytest.mark.parametrize(
        ("base_quantity", "batch", "ordered", "told"),
        [
            (100, "100", None, []),
            (100, "99", None, ["batch: must be at least the 100 that the price is for; make the batch larger, or the"]),
            (100, "20", "12.5", []),
            (100, "12.25", "12.5", ["batch: must be at least the 12.5 of an order; make the batch larger"]),
            (1, "0.5", None, []),
            (7, "1", None, ["base_quantity: must be one of 1, 12, 100, 1000"]),
        ],
    )
    def test_a_batch_has_what_the_price_or_the_order_is_for(
        self, base_quantity: int, batch: str, ordered: str | None, told: list[str]
    ) -> None:
        found = sold_together_problems(base_quantity, D(batch), "batch", None if ordered is None else D(ordered))

        assert [str(each).startswith(start) for each, start in zip(found, told, strict=True)] == [True] * len(told)

    @pytest.mark.parametrize(
        ("unit", "batch", "ordered", "told"),
        [
            (Unit.PIECE, "240", "24", []),
            (Unit.PIECE, "240", None, []),
            (Unit.PIECE, "240", "30", ["pieces_per_order: must be a multiple of 12, the pieces that the price is for"]),
            (Unit.PIECE, "240.5", "2.5", ["batch: must be whole", "pieces_per_order: must be whole"]),
            (Unit.KILOGRAM, "240.5", "2.5", []),
            (Unit.HOUR, "0.0005", None, ["batch: must have at most 3 decimals"]),
        ],
    )
    def test_the_unit_says_what_is_whole(self, unit: Unit, batch: str, ordered: str | None, told: list[str]) -> None:
        found = unit_problems(unit, 12, D(batch), "batch", None if ordered is None else D(ordered))

        assert [str(each).startswith(start) for each, start in zip(found, told, strict=True)] == [True] * len(told)


class TestAnOrder:
    @pytest.mark.parametrize(
        ("pieces", "base_quantity", "divided"),
        [
            ("1", 1, ""),
            ("100.00", 100, ""),
            ("40", 1, "÷ 40"),
            ("48.0", 12, "÷ 4"),
            ("2.5", 1, "÷ 2.5"),
            ("12.50", 100, "× 100 ÷ 12.5"),
        ],
    )
    def test_tells_how_a_price_has_its_part_of_it(self, pieces: str, base_quantity: int, divided: str) -> None:
        assert OrderOfPrices(D(pieces), base_quantity).divided == divided

    @tried
    @given(figures("0.001", "99999"), st.sampled_from(BASE_QUANTITIES), figures("0.01", "999", 2))
    def test_is_divided_exactly_however_often_it_has_the_price(
        self, pieces: Decimal, base_quantity: int, amount: Decimal
    ) -> None:
        """Rounded once, in the last of 34 digits, also where an order has the price 0.208333… times."""
        order = OrderOfPrices(pieces, base_quantity)

        part = exactly(order.part)(amount)

        exact = Fraction(amount) * base_quantity / Fraction(pieces)
        assert abs(Fraction(part) - exact) <= exact / 10**33
        assert snapped(exactly(order.whole)(part)) == amount
