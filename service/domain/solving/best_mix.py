"""The mix of products that leaves the most where time is the limit: stated and checked in exact fractions."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from operator import mul
from typing import Protocol

MOST_PIECES = 1_000_000_000
"""No line has more, whatever there is room for."""
_MOST_ROUNDS = 8
"""How often the bound is made closer; the first rounds do most of it."""
_NOTHING = Fraction(0)


class Proposed(Protocol):
    """What a solver proposes. Nothing of it is believed: a poor proposal makes a poor mix, never a wrong one."""

    @property
    def amounts(self) -> Sequence[int]:
        """Whole units of each line."""

    @property
    def row_values(self) -> Sequence[Fraction]:
        """What another minute of each row is worth where units need not be whole."""


Propose = Callable[
    [Sequence[Fraction], Sequence[Sequence[Fraction]], Sequence[Fraction], Sequence[int]], Proposed | None
]
"""Asks a solver, by gains, rows, their limits and the most of each line; None where it has no answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """How many units of each line leave the most, a unit being a piece or a batch.

    Attributes:
        contributions: of a unit of each line.
        least: units of each line there must be.
        most: units there may be; None where demand does not limit them.
        minutes: for each machine or grade, what a unit of each line takes.
        available: minutes there are of each.
    """

    contributions: tuple[Fraction, ...]
    least: tuple[int, ...]
    most: tuple[int | None, ...]
    minutes: tuple[tuple[Fraction, ...], ...]
    available: tuple[Fraction, ...]

    def left(self, units: Sequence[int]) -> list[Fraction]:
        """Minutes left of each machine and grade."""
        return [
            limit - sum(map(Fraction.__mul__, row, map(Fraction, units)), _NOTHING)
            for row, limit in zip(self.minutes, self.available, strict=True)
        ]

    def contribution(self, units: Sequence[int]) -> Fraction:
        """What so many units contribute."""
        return sum(map(Fraction.__mul__, self.contributions, map(Fraction, units)), _NOTHING)

    def room(self, line: int, left: Sequence[Fraction]) -> int | None:
        """How many units more of a line the minutes left are enough for; None where it takes none."""
        rooms = [floor(minutes / row[line]) for row, minutes in zip(self.minutes, left, strict=True) if row[line]]
        return min(rooms, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMix:
    """The best mix that was found.

    Attributes:
        units: of each line.
        contribution: of all of them.
        at_most: what no mix exceeds.
        minute_values: what another minute of each machine and grade would add, fractions of a unit admitted; to some
            13 digits.
    """

    units: tuple[int, ...]
    contribution: Fraction
    at_most: Fraction
    minute_values: tuple[Fraction, ...]


def short_of(programme: Programme) -> list[int]:
    """The machines and grades that have too little time even for the least of everything."""
    return [place for place, left in enumerate(programme.left(programme.least)) if left < 0]


def unlimited(programme: Programme) -> list[int]:
    """Lines that contribute and that neither demand nor any time limits."""
    return [
        line
        for line, contribution in enumerate(programme.contributions)
        if contribution > 0 and programme.most[line] is None and not any(row[line] for row in programme.minutes)
    ]


def best_mix(programme: Programme, propose: Propose) -> BestMix | None:
    """The mix that contributes the most; None where the solver has no answer.

    Beyond the least of everything only what contributes is looked at. A solver proposes how much of each; its mix is
    mended where it takes more time than there is, or less than it could. What the mix contributes and what no mix
    exceeds are computed exactly.

    Args:
        programme: that is not `short_of` anything and has nothing `unlimited`.
        propose: asks the solver.
    """
    left = programme.left(programme.least)
    lines = [line for line, contribution in enumerate(programme.contributions) if contribution > 0]
    most = {line: _wanted(programme, line, left) for line in lines}
    rows = [place for place, row in enumerate(programme.minutes) if _is_limit(row, left[place], most)]
    extra = _Extra(
        gains=[programme.contributions[line] for line in lines],
        rows=[[programme.minutes[row][line] for line in lines] for row in rows],
        limits=[left[row] for row in rows],
        most=[most[line] for line in lines],
    )
    units, values = extra.most, dict.fromkeys(rows, _NOTHING)
    if rows:
        proposed = propose(extra.gains, extra.rows, extra.limits, extra.most)
        if proposed is None:
            return None
        units = _mended(extra, proposed.amounts)
        values = {row: max(_NOTHING, value) for row, value in zip(rows, proposed.row_values, strict=True)}
    added = dict(zip(lines, units, strict=True))
    base, gained = programme.contribution(programme.least), _total(extra.gains, units)
    return BestMix(
        units=tuple(least + added.get(line, 0) for line, least in enumerate(programme.least)),
        contribution=base + gained,
        at_most=base + _at_most(extra, list(values.values()), gained),
        minute_values=tuple(values.get(row, _NOTHING) for row in range(len(left))),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Extra:
    """What is made beyond the least: every line of it contributes, and every row is a limit.

    Attributes:
        gains: of a unit of each line.
        rows: time that a unit of each line takes.
        limits: time there is.
        most: units of each line; may be one more than there is time for.
    """

    gains: list[Fraction]
    rows: list[list[Fraction]]
    limits: list[Fraction]
    most: list[int]

    def left(self, units: Sequence[int]) -> list[Fraction]:
        """What so many units leave of each limit; negative where they take more."""
        return [limit - _total(row, units) for row, limit in zip(self.rows, self.limits, strict=True)]


def _total(figures: Sequence[Fraction], units: Sequence[int]) -> Fraction:
    return sum((figure * each for figure, each in zip(figures, units, strict=True) if figure and each), _NOTHING)


def _wanted(programme: Programme, line: int, left: Sequence[Fraction]) -> int:
    """Units beyond the least that demand takes; at most one more than there is time for, were all of it the line's."""
    wanted, room = programme.most[line], programme.room(line, left)
    limits = [MOST_PIECES] if wanted is None else [wanted - programme.least[line]]
    return min([*limits, *([] if room is None else [room + 1])])


def _is_limit(row: Sequence[Fraction], left: Fraction, most: dict[int, int]) -> bool:
    """Whether the most of everything takes more than is left."""
    return sum((row[line] * units for line, units in most.items()), _NOTHING) > left


def _mended(extra: _Extra, proposed: Sequence[int]) -> list[int]:
    """The proposal within its limits, with no room left for another unit.

    What is too much is taken off the lines that gain least for their time. A solver that was stopped may have left
    time for more; those that gain most have it.
    """
    units = [max(0, min(each, most)) for each, most in zip(proposed, extra.most, strict=True)]
    for row, limit in zip(extra.rows, extra.limits, strict=True):
        over = _total(row, units) - limit
        for line in sorted(filter(row.__getitem__, range(len(row))), key=lambda line: extra.gains[line] / row[line]):
            fewer = min(units[line], max(0, ceil(over / row[line])))
            units[line] -= fewer
            over -= row[line] * fewer
    left = extra.left(units)
    for line in sorted(range(len(units)), key=lambda line: -extra.gains[line]):
        more = _room(extra.rows, line, left, extra.most[line] - units[line])
        units[line] += more
        left = extra.left(units) if more else left
    return units


def _at_most(extra: _Extra, values: Sequence[Fraction], gained: Fraction) -> Fraction:
    """What no mix gains more than: what the best one known gains, or a bound on all that gain more.

    No mix gains more than  Σ value × time + Σ max(0, gain − Σ value × minutes) × units,  whatever the values of
    time are, as long as none is negative. A mix that gains more than is known can be away from what makes that bound
    by no more than lies between. That leaves each line from so many to so many units, for which the bound is closer.

    Source: G. B. Dantzig, Linear Programming and Extensions, Princeton University Press, 1963, on duality (from
        memory).
    """
    surplus = [
        gain - sum((value * row[line] for value, row in zip(values, extra.rows, strict=True)), _NOTHING)
        for line, gain in enumerate(extra.gains)
    ]
    least, most, bound = [0] * len(surplus), extra.most, _NOTHING
    for _ in range(_MOST_ROUNDS):
        taken = (limit - max(_NOTHING, left) for limit, left in zip(extra.limits, extra.left(most), strict=True))
        ends = [high if own > 0 else low for own, low, high in zip(surplus, least, most, strict=True)]
        bound = sum(map(mul, values, taken), _total(surplus, ends))
        away = [ceil((bound - gained) / abs(own)) - 1 if own else MOST_PIECES for own in surplus]
        least = [max(low, end - each) for low, end, each in zip(least, ends, away, strict=True)]
        left = extra.left(least)
        if bound <= gained or min(left, default=_NOTHING) < 0:
            return gained
        most = [
            min(high, end + each, low + _room(extra.rows, line, left, high))
            for line, (low, high, end, each) in enumerate(zip(least, most, ends, away, strict=True))
        ]
    return max(gained, min(bound, _total(extra.gains, most)))


def _room(rows: Sequence[Sequence[Fraction]], line: int, left: Sequence[Fraction], most: int) -> int:
    """How many units of a line the minutes left are enough for, at most so many."""
    return min([most, *(floor(minutes / row[line]) for row, minutes in zip(rows, left, strict=True) if row[line])])
