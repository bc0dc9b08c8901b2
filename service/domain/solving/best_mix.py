"""The product mix with the greatest contribution within limited time, checked in exact fractions."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor
from operator import mul
from typing import Protocol

MOST_PIECES = 1_000_000_000_000
"""The most units of a line, whatever time there is: a thousand million, in thousandths."""
_MOST_ROUNDS = 8
"""How often the upper bound is tightened; the first rounds do most of it."""
_NOTHING = Fraction(0)
_SAME_VALUE = Fraction(1, 10**9)
"""Values of a minute that differ by less than this share are one value with the errors of a solver."""
_GAIN_DECIMALS = 6


class Proposed(Protocol):
    """What a solver proposes. It is not trusted: a poor proposal gives a poorer mix, never a wrong one."""

    @property
    def amounts(self) -> Sequence[int]:
        """Whole units of each line."""

    @property
    def row_values(self) -> Sequence[Fraction]:
        """The dual value of each row: what one more minute is worth where units need not be whole."""


Propose = Callable[
    [Sequence[Fraction], Sequence[Sequence[Fraction]], Sequence[Fraction], Sequence[int]], Proposed | None
]
"""Asks a solver, given gains, rows, limits of the rows and most units of each line; None if it finds no solution."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Programme:
    """An integer linear programme: the units of each line that contribute the most.

    A unit is a piece, a batch, or the least part of what is divided.

    Attributes:
        contributions: of a unit of each line.
        most: units of each line; None where demand does not limit them.
        minutes: for each machine or grade, the minutes that a unit of each line takes.
        available: minutes of each machine or grade.
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
        return sum(map(Fraction.__mul__, self.contributions, map(Fraction, units)), _NOTHING)

    def room(self, line: int, left: Sequence[Fraction]) -> int | None:
        """How many more units of a line the minutes left allow; None where the line takes no time."""
        rooms = [floor(minutes / row[line]) for row, minutes in zip(self.minutes, left, strict=True) if row[line]]
        return min(rooms, default=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMix:
    """The best mix that was found.

    Attributes:
        at_most: an upper bound on the contribution of any mix.
        minute_values: what one more minute of each machine and grade would add if units could be divided; to some 13
            digits.
    """

    units: tuple[int, ...]
    contribution: Fraction
    at_most: Fraction
    minute_values: tuple[Fraction, ...]


def short_of(programme: Programme) -> list[int]:
    """The machines and grades without enough time for even the least units of every line."""
    return [place for place, left in enumerate(programme.left(programme.least)) if left < 0]


def unlimited(programme: Programme) -> list[int]:
    """The lines that contribute and are limited neither by demand nor by time."""
    return [
        line
        for line, contribution in enumerate(programme.contributions)
        if contribution > 0 and programme.most[line] is None and not any(row[line] for row in programme.minutes)
    ]


def best_mix(programme: Programme, propose: Propose) -> BestMix | None:
    """The mix that contributes the most; None where the solver has no answer.

    Beyond the least units only lines that contribute are considered. The solver's mix is repaired where it exceeds the
    time or leaves room. The contribution of the mix and the upper bound are exact.

    Args:
        programme: one without `short_of` and `unlimited`.
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


def gain_of_more(programme: Programme, found: BestMix, place: int, minutes: Fraction, propose: Propose) -> Fraction:
    """What more minutes of a machine or grade would add if units could be divided.

    The value of a minute holds for the first ones at most: it ends where another limit or the demand is reached, and
    for two that are used up together it may hold for none. Where it holds to the last minute too it is multiplied;
    otherwise the mix with the minutes is compared with the one without, to six decimals.

    Args:
        found: the best mix of the programme.
        place: of the machine or grade.
    """
    value = found.minute_values[place]
    available = (each + minutes if at == place else each for at, each in enumerate(programme.available))
    wider = replace(programme, available=tuple(available))
    more = best_mix(wider, propose)
    if more is None or abs(more.minute_values[place] - value) <= value * _SAME_VALUE:
        return value * minutes
    gain = _divided(wider, more.minute_values) - _divided(programme, found.minute_values)
    return max(_NOTHING, min(value * minutes, round(gain, _GAIN_DECIMALS)))


def _divided(programme: Programme, values: Sequence[Fraction]) -> Fraction:
    """What the best mix adds to the least units if units could be divided, by the dual values that belong to it."""
    left = programme.left(programme.least)
    total = sum(map(mul, values, left), _NOTHING)
    for line, gain in enumerate(programme.contributions):
        taken = sum((value * row[line] for value, row in zip(values, programme.minutes, strict=True)), _NOTHING)
        if gain > taken:
            total += (gain - taken) * _wanted(programme, line, left)
    return total


@dataclass(frozen=True, slots=True, kw_only=True)
class _Extra:
    """The programme beyond the least units: only lines that contribute, only rows that limit.

    `most` may be one unit more than there is time for.
    """

    gains: list[Fraction]
    rows: list[list[Fraction]]
    limits: list[Fraction]
    most: list[int]

    def left(self, units: Sequence[int]) -> list[Fraction]:
        """The time left of each limit; negative where the units take more."""
        return [limit - _total(row, units) for row, limit in zip(self.rows, self.limits, strict=True)]


def _total(figures: Sequence[Fraction], units: Sequence[int]) -> Fraction:
    return sum((figure * each for figure, each in zip(figures, units, strict=True) if figure and each), _NOTHING)


def _wanted(programme: Programme, line: int, left: Sequence[Fraction]) -> int:
    """Units beyond the least that demand allows; at most one more than the line could make with all of the time."""
    wanted, room = programme.most[line], programme.room(line, left)
    limits = [MOST_PIECES] if wanted is None else [wanted - programme.least[line]]
    return min([*limits, *([] if room is None else [room + 1])])


def _is_limit(row: Sequence[Fraction], left: Fraction, most: dict[int, int]) -> bool:
    """Whether the most units of every line would take more than is left."""
    return sum((row[line] * units for line, units in most.items()), _NOTHING) > left


def _mended(extra: _Extra, proposed: Sequence[int]) -> list[int]:
    """Repairs a proposal: takes units off the lines that gain least for their time until it is within its limits.

    Then fills the time left, which a solver that was stopped may leave, with the lines that gain most.
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
    """An upper bound on the gain of any mix; the gain of the known mix if no other can gain more.

    For any values of time that are not negative, no mix gains more than
    Σ value × time + Σ max(0, gain − Σ value × minutes) × units.  A mix that gains more than the known one can only
    differ so far from the units that make this bound; that narrows the range of each line and tightens the bound.

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
    """How many units of a line, up to a maximum, the minutes left allow."""
    return min([most, *(floor(minutes / row[line]) for row, minutes in zip(rows, left, strict=True) if row[line])])
