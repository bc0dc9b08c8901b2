"""Quantity breaks: round batch sizes at which a piece has become cheaper by a given share."""

from collections.abc import Callable
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.quoting.quantity_breaks import AutomaticBreaks, preferred_quantities, quantity_breaks
from service.domain.values.errors import InvalidValuesError
from service.domain.values.units import Unit
from tests.domain.examples import D


def falling(fixed: str, variable: str = "1") -> Callable[[Decimal], Decimal]:
    """The cost of a piece if the batch shares a set-up."""
    return lambda quantity: D(fixed) / quantity + D(variable)


def breaks(fixed: str, least_fall: str, quantity: int = 100, up_to: int = 10_000, at_most: int = 20) -> list[Decimal]:
    wanted = AutomaticBreaks(least_fall_share=D(least_fall), up_to=D(up_to))
    return list(quantity_breaks(falling(fixed), D(quantity), wanted, Unit.PIECE, at_most=at_most))


class TestRoundBatchSizes:
    """ISO 497:1973, series R″10: 1, 1.2, 1.5, 2, 2.5, 3, 4, 5, 6, 8 (figures from memory)."""

    def test_are_the_whole_numbers_of_the_series_above_the_quantity(self) -> None:
        assert list(preferred_quantities(D(0), D(130))) == [
            *(1, 2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80, 100, 120)
        ]
        assert list(preferred_quantities(D(90), D(260))) == [100, 120, 150, 200, 250]

    def test_of_a_unit_that_is_divided_are_its_parts_too(self) -> None:
        found = preferred_quantities(D("0.0015"), D("0.006"), Unit.KILOGRAM)
        assert [str(each) for each in found] == ["0.002", "0.003", "0.004", "0.005", "0.006"]  # 0.0025 has 4 decimals
        assert [str(each) for each in preferred_quantities(D("12.5"), D(20), Unit.HOUR)] == ["15", "20"]

    def test_end_at_the_given_size_inclusive(self) -> None:
        assert list(preferred_quantities(D(500), D(800))) == [600, 800]
        assert list(preferred_quantities(D(800), D(800))) == []


class TestBreaks:
    def test_are_where_the_price_has_fallen_by_the_share_since_the_one_before(self) -> None:
        # 100/n + 1: 2 at 100, 1.8333 at 120 (8.3 %), 1.6667 at 150 (16.7 %), then 20 % of 1.6667 is 1.3333 at 300,
        # then 1.0667 or less would be at 1,500.
        assert breaks("100", "0.20") == [200, 500]
        assert breaks("100", "0.0833") == [120, 150, 200, 300, 500, 1000]

    def test_that_are_exactly_at_the_share_are_taken(self) -> None:
        assert breaks("100", "0.25", up_to=200) == [200]  # 2 to 1.5
        assert breaks("100", "0.2500001", up_to=200) == []

    def test_do_not_exist_where_a_bigger_batch_saves_nothing(self) -> None:
        assert breaks("0", "0.0000001") == []

    def test_are_the_first_up_to_the_limit(self) -> None:
        assert breaks("100", "0.0833", at_most=2) == [120, 150]

    def test_do_not_exist_for_what_costs_nothing(self) -> None:
        wanted = AutomaticBreaks(least_fall_share=D("0.1"), up_to=D(1000))

        assert quantity_breaks(lambda _: D(0), D(10), wanted, Unit.PIECE, at_most=20) == ()

    @pytest.mark.parametrize(("share", "up_to"), [("0", 10), ("1", 10), ("0.1", 0)])
    def test_with_a_share_or_a_batch_of_0_are_refused(self, share: str, up_to: int) -> None:
        with pytest.raises(InvalidValuesError):
            AutomaticBreaks(least_fall_share=D(share), up_to=D(up_to))

    @given(
        st.decimals(0, 1000, places=2), st.integers(1, 500), st.decimals("0.01", "0.5", places=3), st.integers(1, 20)
    )
    def test_each_is_cheaper_by_the_share_than_the_one_before(
        self, fixed: Decimal, quantity: int, share: Decimal, at_most: int
    ) -> None:
        price = falling(str(fixed))
        wanted = AutomaticBreaks(least_fall_share=share, up_to=D(100_000))

        found = [D(quantity), *quantity_breaks(price, D(quantity), wanted, Unit.PIECE, at_most=at_most)]

        assert len(found) <= at_most + 1
        assert found == sorted(set(found))
        assert all(price(one) * (1 - share) >= price(other) for one, other in pairwise(found))
