"""A month of products that are not all counted in pieces: kilograms, hours, and sums that would mean nothing."""

from dataclasses import replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.month.break_even import PlannedSale, mix_of
from service.domain.month.fixed_costs import FixedCost
from service.domain.month.month import Month, PlannedProduct
from service.domain.month.plan import PlannedLine
from service.domain.month.statement import MonthStatement, month_statement
from service.domain.month.volume_statement import Milestone
from service.domain.scheduling.plan_load import Load
from service.domain.values.errors import InvalidValuesError
from service.domain.values.exact import exactly
from service.domain.values.units import Unit
from service.encoding import decoded
from service.linear_programming import propose
from tests.domain.examples import D, euros
from tests.domain.strategies import figures, tried
from tests.support.profiles import examples

PIECE, KG, HOUR = Unit.PIECE, Unit.KILOGRAM, Unit.HOUR


def product(pieces: str, unit: Unit, price: str = "10", batch: str = "10", **changes: Any) -> PlannedProduct:
    """A product whose piece, kilogram or hour contributes its price less 4."""
    net = D(price)
    known: dict[str, Any] = {
        "product": "flakes",
        "listing": None,
        "name": "Flakes",
        "standard_batch": D(batch),
        "least": D(0),
        "most": None,
        "in_whole_batches": False,
        "price": euros(price),
        "shown_variable_cost": D(4),
        "sale": PlannedSale(pieces=D(pieces), net_price=net, proceeds=net, variable_cost=D(4), tooling=D(0), unit=unit),
    }
    return PlannedProduct(**{**known, **changes})


@exactly
def load(available: str | None, *lines: tuple[PlannedProduct, str]) -> Load:
    """The press, with the minutes that a piece of each line takes."""
    return Load(
        resource="machines/press",
        name="Press",
        minutes_per_batch=tuple(D(minutes) * each.standard_batch for each, minutes in lines),
        minutes_needed=sum((D(minutes) * each.sale.pieces for each, minutes in lines), D(0)),
        minutes_available=None if available is None else D(available),
    )


def stated(
    products: list[PlannedProduct],
    *loads: Load,
    fixed: str = "600",
    target: str | None = "60",
    looks_for_best_mix: bool = False,
) -> MonthStatement:
    month = Month(
        as_of=date(2026, 11, 25),
        currency="EUR",
        weeks=Decimal(4),
        products=tuple(products),
        fixed_costs=(FixedCost(resource=None, name="Own pay", components={"amount": D(fixed)}),),
        target_profit=None if target is None else D(target),
        loads=loads,
    )
    return month_statement(month, propose if looks_for_best_mix else None, (), (), ())


def best(products: list[PlannedProduct], *loads: Load) -> list[Decimal]:
    found = stated(products, *loads, looks_for_best_mix=True).best_mix
    assert found is not None
    assert found.is_proven
    return [each.pieces for each in found.lines]


class TestOneProductByWeight:
    def test_reaches_its_break_even_with_the_first_gram(self) -> None:
        """601 are paid by 100.1666… kg, and by 100.167 kg in grams; in pieces it would take 101."""
        (line,) = stated([product("137.5", KG)], fixed="601").lines

        assert line.alone_break_even is not None
        assert line.alone_break_even.pieces == D("100.166667")
        assert line.alone_break_even.whole_pieces == D("100.167")
        assert (line.unit, line.pieces, line.batches) == (KG, D("137.5"), D("13.75"))

    def test_is_a_mix_of_kilograms_that_add_up(self) -> None:
        found = stated([product("137.5", KG)], fixed="601")

        assert found.unit is KG
        assert found.contribution_per_piece == euros("6.000000")
        assert found.break_even is not None
        assert (found.break_even.whole_pieces, found.break_even.plan_share) == (D("100.167"), D("0.728485"))
        assert found.margin_of_safety is not None
        assert (found.margin_of_safety.pieces, found.margin_of_safety.whole_pieces) == (D("37.333333"), D("37.333"))

    @pytest.mark.parametrize(("available", "is_beyond"), [("200.332", True), ("200.334", False), (None, False)])
    def test_is_beyond_capacity_where_that_gram_is(self, available: str | None, is_beyond: bool) -> None:
        """The first 100.167 kg that break even take 200.334 minutes."""
        flakes = product("50", KG)

        found = stated([flakes], load(available, (flakes, "2")), fixed="601")

        assert found.break_even is not None
        assert found.break_even.is_beyond_capacity is is_beyond


class TestAMixOfUnits:
    @pytest.fixture
    def mixed(self) -> list[PlannedProduct]:
        """137.5 kg and 320 pieces contribute 825 and 1,920."""
        return [product("137.5", KG), product("320", PIECE)]

    def test_never_adds_kilograms_to_pieces(self, mixed: list[PlannedProduct]) -> None:
        found = stated(mixed, fixed="1372.50")

        assert (found.unit, found.contribution_per_piece) == (None, None)
        assert found.break_even is not None
        assert (found.break_even.pieces, found.break_even.whole_pieces) == (None, None)
        assert found.margin_of_safety is not None
        assert (found.margin_of_safety.pieces, found.margin_of_safety.whole_pieces) == (None, None)
        assert {each.pieces for each in found.profit_by_volume} == {None}

    def test_tells_the_quantity_of_each_and_the_part_of_the_plan_instead(self, mixed: list[PlannedProduct]) -> None:
        """1,372.50 is half of what the plan contributes."""
        found = stated(mixed, fixed="1372.50")

        assert found.break_even is not None
        assert found.break_even.pieces_of_each == (D("68.75"), D(160))
        assert found.break_even.plan_share == D("0.5")
        assert found.margin_of_safety is not None
        assert found.margin_of_safety.share == D("0.5")
        assert {each.milestone: each.plan_share for each in found.profit_by_volume} == {
            Milestone.NOTHING: 0,
            Milestone.BREAK_EVEN: D("0.5"),
            Milestone.TARGET: D("0.521858"),  # (1,372.5 + 60) ÷ 2,745
            Milestone.PLAN: 1,
        }
        assert [line.pieces_per_composite_unit for line in found.lines] == [55, 128]

    @pytest.mark.parametrize(("available", "is_beyond"), [("228.74", True), ("228.75", False)])
    def test_is_beyond_capacity_where_the_exact_volume_is(
        self, mixed: list[PlannedProduct], available: str, is_beyond: bool
    ) -> None:
        """Half the plan takes 68.75 + 160 minutes."""
        found = stated(mixed, load(available, *((each, "1") for each in mixed)), fixed="1372.50")

        assert found.break_even is not None
        assert found.break_even.is_beyond_capacity is is_beyond

    def test_of_nothing_is_no_part_of_a_plan(self) -> None:
        found = stated([product("0", KG), product("0", PIECE)], fixed="0")

        assert found.break_even is not None
        assert found.break_even.plan_share is None
        assert [each.plan_share for each in found.profit_by_volume] == [None, None, None]

    def test_half_a_kilogram_and_one_piece_are_a_set_of_1_kg_and_2_pieces(self) -> None:
        mix = mix_of([product("0.5", KG).sale, product("1", PIECE).sale])

        assert (mix.per_unit, mix.planned) == ((1, 2), D("0.5"))
        assert (mix.unit, mix.pieces, mix.contribution) == (None, None, D(18))


class TestTheBestMix:
    def test_of_kilograms_is_not_rounded_to_whole_ones(self) -> None:
        """7 minutes a kilogram: there is time for 14.285 kg."""
        flakes = product("10", KG)

        assert best([flakes], load("100", (flakes, "7"))) == [D("14.285")]

    def test_of_whole_batches_has_whole_batches(self) -> None:
        flakes = product("10", KG, batch="2.5", in_whole_batches=True)

        assert best([flakes], load("100", (flakes, "7"))) == [D("12.5")]

    def test_keeps_pieces_whole_beside_kilograms_that_fill_what_they_leave(self) -> None:
        """Sheets earn 0.6 a minute: 9 take 90 of 95 minutes. Flakes earn 0.5 in the 5 that are left, in grams."""
        sheet, flakes = product("1", PIECE), product("1", KG, price="7.50")
        press = load("95", (sheet, "10"), (flakes, "7"))

        assert best([sheet, flakes], press) == [D(9), D("0.714")]

    def test_has_no_less_than_the_least_and_no_more_than_the_most(self) -> None:
        """Flakes lose and are made for a customer, 2.5 kg of them; hours are wanted up to 1.25."""
        flakes, hours = product("1", KG, price="3", least=D("2.5")), product("1", HOUR, most=D("1.25"))

        assert best([flakes, hours], load("1000", (flakes, "1"), (hours, "60"))) == [D("2.5"), D("1.25")]

    def test_goes_beyond_a_million_kilograms_where_there_is_time(self) -> None:
        flakes = product("10", KG)

        assert best([flakes], load("70000", (flakes, "0.007"))) == [D(10_000_000)]

    def test_names_the_batch_and_the_unit_where_none_is_between_the_least_and_the_most(self) -> None:
        flakes = product("10", KG, batch="2.50", least=D("5.1"), most=D("7.4"), in_whole_batches=True)

        with pytest.raises(InvalidValuesError) as refusal:
            stated([flakes], looks_for_best_mix=True)

        assert str(refusal.value).endswith("no whole batches of 2.5 are at least 5.1 and at most 7.4 kg")


class TestALine:
    def problems(self, unit: Unit, **changes: Any) -> dict[Any, str]:
        known = {"listing": "flakes-bulk", "pieces": "137.5", "least_per_month": "0.5", "most_per_month": 1500}
        line = decoded({**known, **changes}, PlannedLine)
        return {each.path: each.reason for each in line.problems_in(unit)}

    def test_of_kilograms_has_three_decimals(self) -> None:
        assert self.problems(KG) == {}
        with pytest.raises(InvalidValuesError, match="pieces: must have at most 3 decimals"):
            self.problems(KG, pieces="137.5001")

    def test_of_pieces_is_whole_in_every_member(self) -> None:
        whole = "must be whole: pieces are not divided"

        found = self.problems(PIECE, standard_batch="2.5", most_per_month="1500.5")

        assert found == dict.fromkeys(
            [("standard_batch",), ("pieces",), ("least_per_month",), ("most_per_month",)], whole
        )

    def test_of_pieces_may_be_written_with_zeros(self) -> None:
        assert self.problems(PIECE, pieces="137.000", least_per_month="1.0") == {}

    def test_names_the_least_in_plain_digits(self) -> None:
        with pytest.raises(InvalidValuesError, match="must be least_per_month, 1000, or more"):
            self.problems(PIECE, least_per_month=D("1E+3"), most_per_month=10)


@given(figures("0", "9999", 6), st.sampled_from(list(Unit)))
@exactly
def test_the_first_quantity_of_a_unit_reaches_a_volume_and_the_last_is_within_it(volume: Decimal, unit: Unit) -> None:
    first, last = unit.first_from(volume), unit.last_within(volume)

    assert unit.problem(first) is None is unit.problem(last)
    assert first - unit.least < volume <= first
    assert last <= volume < last + unit.least


def in_unit(products: list[PlannedProduct], unit: Unit) -> list[PlannedProduct]:
    return [replace(each, sale=replace(each.sale, unit=unit)) for each in products]


def unrounded(found: MonthStatement) -> MonthStatement:
    """The statement without its unit, and without volumes that are rounded up to one of it."""

    def bare(volume: Any) -> Any:
        return None if volume is None else replace(volume, whole_pieces=D(0), is_beyond_capacity=False)

    return replace(
        found,
        unit=None,
        lines=tuple(
            replace(
                line, unit=PIECE, alone_break_even=bare(line.alone_break_even), alone_target=bare(line.alone_target)
            )
            for line in found.lines
        ),
        break_even=bare(found.break_even),
        target=bare(found.target),
        margin_of_safety=found.margin_of_safety and replace(found.margin_of_safety, whole_pieces=D(0)),
    )


@tried
@given(
    st.lists(st.tuples(st.integers(0, 500), st.integers(1, 30)), min_size=1, max_size=4),
    st.sampled_from([unit for unit in Unit if unit.is_divided]),
    st.integers(0, 20_000),
)
@exactly
def test_a_plan_in_kilograms_is_the_same_plan_in_pieces_of_a_kilogram(
    lines: list[tuple[int, int]], unit: Unit, available: int
) -> None:
    pieces = [product(str(planned), PIECE, price=str(price)) for planned, price in lines]
    press = load(str(available), *((each, "3") for each in pieces))

    in_pieces, divided = stated(pieces, press), stated(in_unit(pieces, unit), press)

    assert unrounded(divided) == unrounded(in_pieces)
    assert {line.unit for line in divided.lines} == {unit}
    if in_pieces.break_even is not None:
        assert divided.break_even is not None
        first, whole = divided.break_even.whole_pieces, in_pieces.break_even.whole_pieces
        assert first is not None
        assert whole is not None
        assert whole - 1 < first <= whole


@given(
    st.lists(
        st.tuples(st.sampled_from([PIECE, KG, HOUR]), st.integers(-2, 30), st.integers(1, 90), st.integers(0, 40)),
        min_size=1,
        max_size=3,
    ),
    st.integers(0, 2_000),
)
@examples(40)
@exactly
def test_the_best_mix_of_divided_units_fits_and_its_bound_holds_for_pieces_too(
    lines: list[tuple[Unit, int, int, int]], available: int
) -> None:
    products = [product("1", unit, price=str(4 + gain), most=D(most)) for unit, gain, _, most in lines]
    press = load(
        str(available), *((each, str(minutes)) for each, (_, _, minutes, _) in zip(products, lines, strict=True))
    )

    found, whole = (
        stated(each, press, looks_for_best_mix=True).best_mix for each in (products, in_unit(products, PIECE))
    )

    assert found is not None
    assert whole is not None
    assert found.profit is not None
    assert whole.profit is not None
    assert found.profit_at_most is not None
    taken = sum(
        (Fraction(each.pieces) * minutes for each, (_, _, minutes, _) in zip(found.lines, lines, strict=True)),
        Fraction(0),
    )
    assert taken <= available
    for each, (unit, _, _, most) in zip(found.lines, lines, strict=True):
        assert unit.problem(each.pieces) is None
        assert 0 <= each.pieces <= most
    assert found.profit.amount <= found.profit_at_most.amount
    assert whole.profit.amount <= found.profit_at_most.amount
