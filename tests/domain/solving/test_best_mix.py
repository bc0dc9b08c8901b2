"""The best mix against every mix there is, and against poor advice."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import prod

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from service.domain.solving import branch_and_bound
from service.domain.solving.best_mix import MOST_PIECES, BestMix, Programme, Propose, best_mix, short_of, unlimited
from service.domain.solving.equations import solution
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
        ranges.append(range(least, min(limits, default=least) + 1))  # only what costs money has no limit at all
    assume(prod(map(len, ranges)) <= _MOST_MIXES)
    return (units for units in product(*ranges) if min(wanted.left(units), default=Fraction(0)) >= 0)


@dataclass(frozen=True)
class Advice:
    """What a solver says that knows little."""

    amounts: Sequence[int]
    basic: Sequence[int] = ()
    tight: Sequence[int] = ()


def bad_advice(amount: int) -> Propose:
    return lambda gains, *_: Advice(amounts=[amount] * len(gains))


@given(programmes())
def test_no_mix_contributes_more(wanted: Programme) -> None:
    best = max(map(wanted.contribution, every_mix(wanted)))

    found = best_mix(wanted, propose)

    assert found.contribution == best == wanted.contribution(found.units)
    assert found.is_proven
    assert found.at_most == best
    assert min(wanted.left(found.units), default=Fraction(0)) >= 0
    for units, least, most in zip(found.units, wanted.least, wanted.most, strict=True):
        assert least <= units
        assert most is None or units <= most


@given(programmes(), st.integers(-5, 10))
@examples(60)
def test_the_worst_advice_leads_to_no_mix_that_cannot_be_made_and_to_no_false_proof(
    wanted: Programme, amount: int
) -> None:
    best = max(map(wanted.contribution, every_mix(wanted)))

    found = best_mix(wanted, bad_advice(amount))

    assert min(wanted.left(found.units), default=Fraction(0)) >= 0
    assert found.contribution <= best <= found.at_most
    assert found.contribution == best or not found.is_proven


def furniture(**changes: object) -> Programme:
    """45 and 80 a piece; 5 and 20 of 400 units of wood, 10 and 15 of 450 hours. By hand: 24 and 14 leave 2,200."""
    known = {
        "contributions": (Fraction(45), Fraction(80)),
        "least": (0, 0),
        "most": (None, None),
        "minutes": ((Fraction(5), Fraction(20)), (Fraction(10), Fraction(15))),
        "available": (Fraction(400), Fraction(450)),
    }
    return Programme(**{**known, **changes})  # type: ignore[arg-type]


def test_two_limits_meet_where_both_are_used_up() -> None:
    found = best_mix(furniture(), propose)

    assert found.units == (24, 14)
    assert found.contribution == 24 * 45 + 14 * 80 == 2200
    assert found.minute_values == (1, 4)  # 5a + 10b = 45 and 20a + 15b = 80


def test_another_minute_is_worth_what_the_programme_says() -> None:
    more = best_mix(furniture(available=(Fraction(425), Fraction(450))), propose)

    assert more.contribution - 2200 == 25 * 1


def test_what_loses_money_is_made_only_where_it_must_be() -> None:
    found = best_mix(furniture(contributions=(Fraction(-1), Fraction(80)), least=(2, 0)), propose)

    assert found.units == (2, 19)


def test_the_least_of_everything_may_take_too_much_time() -> None:
    assert short_of(furniture(least=(0, 21))) == [0]
    assert short_of(furniture(least=(45, 0))) == []
    assert short_of(furniture(least=(46, 0))) == [1]


def test_what_takes_no_time_and_has_no_limit_is_told() -> None:
    free = ((Fraction(0), Fraction(20)), (Fraction(0), Fraction(15)))

    assert unlimited(furniture(minutes=free)) == [0]
    assert unlimited(furniture(minutes=free, most=(7, None))) == []
    assert unlimited(furniture(minutes=free, contributions=(Fraction(0), Fraction(80)))) == []


def test_no_line_has_more_than_there_may_be_of_it() -> None:
    dust = ((Fraction(1, 10**15), Fraction(20)), (Fraction(0), Fraction(15)))

    assert best_mix(furniture(minutes=dust), propose).units == (MOST_PIECES, 19)


def test_a_proof_that_takes_too_long_is_given_up_and_the_limit_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(branch_and_bound, "MOST_LOOKS", 3)

    found: BestMix = best_mix(furniture(available=(Fraction(403), Fraction(457))), propose)

    assert not found.is_proven
    assert found.contribution < found.at_most == 403 * 1 + 457 * 4


def test_equations_without_exactly_one_solution_have_none() -> None:
    assert solution([[Fraction(0), Fraction(2)], [Fraction(3), Fraction(1)]], [Fraction(4), Fraction(5)]) == [1, 2]
    assert solution([[Fraction(1), Fraction(2)], [Fraction(2), Fraction(4)]], [Fraction(1), Fraction(2)]) is None
    assert solution([[Fraction(1), Fraction(2)]], [Fraction(1)]) is None
    assert solution([], []) == []
