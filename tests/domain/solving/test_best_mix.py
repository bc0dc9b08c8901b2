"""The best mix, compared with every mix there is, and with a solver that advises badly."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import prod
from types import SimpleNamespace

import highspy
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.domain.solving.best_mix import (
    MOST_PIECES,
    BestMix,
    Programme,
    Propose,
    best_mix,
    gain_of_more,
    short_of,
    unlimited,
)
from service.linear_programming import propose
from tests.support.profiles import examples

_MOST_MIXES = 20_000
figures = st.fractions(min_value=0, max_value=9, max_denominator=7)


@st.composite
def programmes(draw: st.DrawFn) -> Programme:
    lines, resources = draw(st.integers(1, 4)), draw(st.integers(0, 3))
    least = draw(st.lists(st.integers(0, 2), min_size=lines, max_size=lines))
    more = draw(st.lists(st.none() | st.integers(0, 7), min_size=lines, max_size=lines))
    gains = st.lists(st.fractions(min_value=-3, max_value=30, max_denominator=7), min_size=lines, max_size=lines)
    rows = st.lists(figures, min_size=lines, max_size=lines).map(tuple)
    found = Programme(
        contributions=tuple(draw(gains)),
        least=tuple(least),
        most=tuple(None if each is None else each + base for each, base in zip(more, least, strict=True)),
        minutes=tuple(draw(st.lists(rows, min_size=resources, max_size=resources))),
        available=tuple(draw(st.lists(figures.map(lambda each: each * 8), min_size=resources, max_size=resources))),
    )
    assume(not short_of(found) and not unlimited(found))
    return found


def every_mix(wanted: Programme) -> Iterator[tuple[int, ...]]:
    """All mixes of whole units within demand and time."""
    left = wanted.left(wanted.least)
    ranges = []
    for line, (least, most) in enumerate(zip(wanted.least, wanted.most, strict=True)):
        room = wanted.room(line, left)
        limits = [each for each in (most, None if room is None else least + room) if each is not None]
        ranges.append(range(least, min(limits, default=least) + 1))  # only a line that loses money has no limit at all
    assume(prod(map(len, ranges)) <= _MOST_MIXES)
    return (units for units in product(*ranges) if min(wanted.left(units), default=Fraction(0)) >= 0)


@dataclass(frozen=True)
class Advice:
    """The answer of a bad solver."""

    amounts: Sequence[int]
    row_values: Sequence[Fraction]


def bad_advice(amount: int, value: Fraction = Fraction(0)) -> Propose:
    return lambda gains, rows, *_: Advice(amounts=[amount] * len(gains), row_values=[value] * len(rows))


def found_by(propose: Propose, wanted: Programme) -> BestMix:
    """The best mix; checks that it can be made and sold and contributes as much as it states."""
    found = best_mix(wanted, propose)
    assert found is not None
    assert min(wanted.left(found.units), default=Fraction(0)) >= 0
    for units, least, most in zip(found.units, wanted.least, wanted.most, strict=True):
        assert least <= units
        assert most is None or units <= most
    assert found.contribution == wanted.contribution(found.units)
    return found


@given(programmes())
def test_no_mix_contributes_more(wanted: Programme) -> None:
    best = max(map(wanted.contribution, every_mix(wanted)))

    found = found_by(propose, wanted)

    assert found.contribution == best <= found.at_most


@given(programmes(), st.integers(-5, 10), figures)
@examples(60)
def test_bad_advice_never_leads_to_an_impossible_mix_or_a_false_bound(
    wanted: Programme, amount: int, value: Fraction
) -> None:
    best = max(map(wanted.contribution, every_mix(wanted)))

    found = found_by(bad_advice(amount, value - 1), wanted)

    assert found.contribution <= best <= found.at_most


def test_a_solver_without_an_answer_leads_to_none() -> None:
    assert best_mix(furniture(), lambda *_: None) is None


@pytest.mark.parametrize("values", [[], [float("nan"), 1.0], [float("inf"), 1.0]])
def test_a_solution_without_numbers_is_no_proposal(values: list[float], monkeypatch: pytest.MonkeyPatch) -> None:
    nonsense = SimpleNamespace(col_value=values, row_dual=[1.0, 1.0])
    monkeypatch.setattr(highspy._Highs, "getSolution", lambda _: nonsense)

    assert best_mix(furniture(), propose) is None


def furniture(**changes: object) -> Programme:
    """Two products contribute 45 and 80 a piece, and take 5 and 20 of 400 units of wood, 10 and 15 of 450 hours.

    By hand: 24 and 14 pieces contribute 2,200."""
    known = {
        "contributions": (Fraction(45), Fraction(80)),
        "least": (0, 0),
        "most": (None, None),
        "minutes": ((Fraction(5), Fraction(20)), (Fraction(10), Fraction(15))),
        "available": (Fraction(400), Fraction(450)),
    }
    return Programme(**{**known, **changes})  # type: ignore[arg-type]


def test_the_best_mix_may_use_up_two_limits() -> None:
    found = found_by(propose, furniture())

    assert found.units == (24, 14)
    assert found.contribution == 24 * 45 + 14 * 80 == 2200
    assert found.minute_values == (1, 4)  # 5a + 10b = 45 and 20a + 15b = 80


class TestMoreMinutes:
    def gain(self, place: int, more: int, **changes: object) -> Fraction:
        wanted = furniture(**changes)
        return gain_of_more(wanted, found_by(propose, wanted), place, Fraction(more), propose)

    def test_gain_their_value_as_long_as_it_holds(self) -> None:
        assert [self.gain(0, 25), self.gain(1, 30)] == [25 * 1, 30 * 4]

    def test_gain_nothing_beyond_the_next_limit(self) -> None:
        """The 450 hours make 30 pieces of the second product at most, which take 600 of wood."""
        assert self.gain(0, 500) == 30 * 80 - 2200

    def test_gain_nothing_beyond_the_demand(self) -> None:
        """There is time for 80 pieces and demand for 82."""
        one = {"contributions": (Fraction(45),), "least": (0,), "minutes": ((Fraction(5),),)}

        assert self.gain(0, 60, **one, available=(Fraction(400),), most=(82,)) == 2 * 45

    def test_gain_nothing_of_one_that_is_used_up_together_with_another(self) -> None:
        tied = {"contributions": (Fraction(45),), "least": (0,), "most": (None,)}
        rows = {"minutes": ((Fraction(6),), (Fraction(6),)), "available": (Fraction(600), Fraction(600))}

        assert [self.gain(place, 60, **tied, **rows) for place in (0, 1)] == [0, 0]

    def test_have_the_value_of_a_minute_where_the_solver_has_no_second_answer(self) -> None:
        found = found_by(propose, furniture())

        assert gain_of_more(furniture(), found, 1, Fraction(30), lambda *_: None) == 30 * 4


def test_another_minute_is_worth_what_the_programme_says() -> None:
    more = found_by(propose, furniture(available=(Fraction(425), Fraction(450))))

    assert more.contribution - 2200 == 25 * 1


def test_what_loses_money_is_made_only_where_it_must_be() -> None:
    found = found_by(propose, furniture(contributions=(Fraction(-1), Fraction(80)), least=(2, 0)))

    assert found.units == (2, 19)


def test_the_least_of_everything_may_take_too_much_time() -> None:
    assert short_of(furniture(least=(0, 21))) == [0]
    assert short_of(furniture(least=(45, 0))) == []
    assert short_of(furniture(least=(46, 0))) == [1]


def test_a_line_without_time_or_limit_is_reported() -> None:
    free = ((Fraction(0), Fraction(20)), (Fraction(0), Fraction(15)))

    assert unlimited(furniture(minutes=free)) == [0]
    assert unlimited(furniture(minutes=free, most=(7, None))) == []
    assert unlimited(furniture(minutes=free, contributions=(Fraction(0), Fraction(80)))) == []


def test_no_line_exceeds_its_most() -> None:
    dust = ((Fraction(1, 10**15), Fraction(20)), (Fraction(0), Fraction(15)))

    assert found_by(propose, furniture(minutes=dust)).units == (MOST_PIECES, 19)


def test_time_that_a_solver_leaves_goes_to_the_lines_that_contribute_most() -> None:
    assert found_by(bad_advice(0), furniture()).units == (0, 20)
    assert found_by(bad_advice(0), furniture(most=(None, 7))).units == (34, 7)


def test_too_much_time_is_taken_off_the_lines_that_contribute_least_for_it() -> None:
    assert found_by(bad_advice(16), furniture()).units == (16, 16)  # as proposed: 400 of 400, 400 of 450
    assert found_by(bad_advice(17), furniture()).units == (
        20,
        15,
    )  # 25 too much: two of the second go; 3 of the first fit


def test_where_one_line_competes_for_each_limit_the_bound_is_what_whole_units_reach() -> None:
    apart = ((Fraction(7), Fraction(0), Fraction(1)), (Fraction(0), Fraction(9), Fraction(1)))
    wanted = furniture(
        contributions=(Fraction(45), Fraction(80), Fraction(900)), least=(0, 0, 0), most=(None, None, 3), minutes=apart
    )

    found = found_by(propose, wanted)

    assert found.units == (56, 49, 3)
    assert found.contribution == found.at_most == 56 * 45 + 49 * 80 + 3 * 900


def test_where_several_compete_the_bound_may_be_higher() -> None:
    found = found_by(propose, furniture(available=(Fraction(403), Fraction(457))))

    assert found.contribution < found.at_most <= 403 * 1 + 457 * 4
