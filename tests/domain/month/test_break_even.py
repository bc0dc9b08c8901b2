"""Break-even volumes of one product and of a mix."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.month.break_even import Mix, PlannedSale, alone, mix_of
from service.domain.values.exact import exactly


def a_sale(pieces: int, price: str = "10", cost: str = "4", tooling: str = "0") -> PlannedSale:
    net = Decimal(price)
    return PlannedSale(
        pieces=Decimal(pieces), net_price=net, proceeds=net, variable_cost=Decimal(cost), tooling=Decimal(tooling)
    )


def test_a_piece_contributes_its_proceeds_less_variable_cost_which_holds_its_part_of_the_tools() -> None:
    assert a_sale(1, "10", "4", "1.50").contribution == 6


def test_a_set_of_the_mix_has_the_least_whole_pieces_in_the_plan_s_proportion() -> None:
    mix = mix_of([a_sale(600), a_sale(400), a_sale(0), a_sale(200)])

    assert mix.per_unit == (3, 2, 0, 1)
    assert mix.contribution == 36


@pytest.mark.parametrize("cost", ["10", "12"])
def test_no_volume_covers_an_amount_where_the_contribution_is_0(cost: str) -> None:
    assert alone(a_sale(1, "10", cost)).volume(Decimal(1)) is None


def test_a_volume_of_0_covers_an_amount_of_0() -> None:
    volume = alone(a_sale(1, "10", "12")).volume(Decimal(0))

    assert volume is not None
    assert volume.composite_units == volume.whole_composite_units == 0


def test_a_plan_of_nothing_covers_nothing() -> None:
    assert mix_of([a_sale(0), a_sale(0)]).volume(Decimal(1)) is None


@given(
    st.lists(st.tuples(st.integers(0, 500), st.integers(-50, 300)), min_size=1, max_size=5), st.integers(1, 10_000_000)
)
@exactly
def test_the_first_whole_sets_cover_the_amount_and_one_less_do_not(lines: list[tuple[int, int]], cents: int) -> None:
    mix: Mix = mix_of([a_sale(pieces, str(Decimal(100 + gain) / 100), "1") for pieces, gain in lines])
    amount = Decimal(cents) / 100

    volume = mix.volume(amount)

    if volume is None:
        assert mix.contribution <= 0
        return
    whole = volume.whole_composite_units
    assert mix.contribution * whole >= amount > mix.contribution * (whole - 1)
    assert volume.whole_pieces >= volume.pieces > volume.whole_pieces - 1
    assert sum(volume.pieces_of_each) == pytest.approx(volume.pieces, abs=Decimal("1e-20"))
