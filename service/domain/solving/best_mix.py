"""The mix of products that leaves the most where time is the limit: stated, checked and proven in exact fractions."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor
from typing import Protocol

from service.domain.solving.branch_and_bound import Extra, Search, cut, filled, whole_by
from service.domain.solving.equations import solution

MOST_PIECES = 1_000_000_000
"""No line has more, whatever there is room for."""
_NOTHING = Fraction(0)


class Proposed(Protocol):
    """What a solver proposes. Nothing of it is believed: a poor proposal makes a poor mix, never a wrong one."""

    @property
    def amounts(self) -> Sequence[int]:
        """Whole units of each line."""

    @property
    def basic(self) -> Sequence[int]:
        """Lines that are between their limits where units need not be whole."""

    @property
    def tight(self) -> Sequence[int]:
        """Rows that are used up then."""


Propose = Callable[[Sequence[Fraction], Sequence[Sequence[Fraction]], Sequence[Fraction], Sequence[int]], Proposed]
"""Asks a solver, by gains, rows, their limits and the most of each line."""


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
        is_proven: whether no mix contributes more.
        minute_values: what another minute of each machine and grade would add, fractions of a unit admitted.
    """

    units: tuple[int, ...]
    contribution: Fraction
    at_most: Fraction
    is_proven: bool
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


def best_mix(programme: Programme, propose: Propose) -> BestMix:
    """The mix that contributes the most.

    Beyond the least of everything only what contributes is looked at. A solver proposes how much of each; that is
    checked, cut down to what there is time for and filled up, and then compared with every mix that could be better,
    all of it exactly. No mix contributes more than

        Σ minute value × minutes left + Σ max(0, contribution − Σ minute value × minutes) × most,

    whatever the minute values are, as long as none is negative. Those of the programme without whole numbers make it
    least.

    Source: G. B. Dantzig, Linear Programming and Extensions, Princeton University Press, 1963, on duality (from
        memory).

    Args:
        programme: that is not `short_of` anything and has nothing `unlimited`.
        propose: asks the solver.
    """
    left = programme.left(programme.least)
    lines = [line for line in range(len(programme.least)) if programme.contributions[line] > 0]
    most = {line: _wanted(programme, line, left) for line in lines}
    rows = [place for place, row in enumerate(programme.minutes) if _is_limit(row, left[place], most)]
    scales = {row: whole_by([left[row], *(programme.minutes[row][line] for line in lines)]) for row in rows}
    extra = Extra(
        gains=[programme.contributions[line] for line in lines],
        rows=[[int(programme.minutes[row][line] * scale) for line in lines] for row, scale in scales.items()],
        limits=[int(left[row] * scale) for row, scale in scales.items()],
        most=[most[line] for line in lines],
    )
    found = _best(extra, propose)
    added = dict(zip(lines, found.units, strict=True))
    units = tuple(least + added.get(line, 0) for line, least in enumerate(programme.least))
    base = programme.contribution(programme.least)
    values = {row: value * scale for (row, scale), value in zip(scales.items(), found.minute_values, strict=True)}
    return BestMix(
        units=units,
        contribution=base + found.contribution,
        at_most=base + found.at_most,
        is_proven=found.is_proven,
        minute_values=tuple(values.get(row, _NOTHING) for row in range(len(left))),
    )


def _wanted(programme: Programme, line: int, left: Sequence[Fraction]) -> int:
    """Units beyond the least that demand takes; at most one more than there is time for, were all of it the line's."""
    wanted, room = programme.most[line], programme.room(line, left)
    limits = [MOST_PIECES] if wanted is None else [wanted - programme.least[line]]
    return min([*limits, *([] if room is None else [room + 1])])


def _is_limit(row: Sequence[Fraction], left: Fraction, most: dict[int, int]) -> bool:
    """Whether the most of everything takes more than is left."""
    return sum((row[line] * units for line, units in most.items()), _NOTHING) > left


def _best(extra: Extra, propose: Propose) -> BestMix:
    """The best mix, with its proof as far as that goes."""
    if not extra.rows:
        total = extra.gain(extra.most)
        return BestMix(units=tuple(extra.most), contribution=total, at_most=total, is_proven=True, minute_values=())
    rows, limits = [list(map(Fraction, row)) for row in extra.rows], list(map(Fraction, extra.limits))
    proposed = propose(extra.gains, rows, limits, extra.most)
    values = _minute_values(extra, proposed.basic, proposed.tight)
    search = Search(extra, values, filled(extra, cut(extra, proposed.amounts)).units)
    search.look()
    gained = extra.gain(search.best)
    return BestMix(
        units=tuple(search.best),
        contribution=gained,
        at_most=gained if search.is_complete else search.at_most,
        is_proven=search.is_complete,
        minute_values=tuple(values),
    )


def _minute_values(extra: Extra, basic: Sequence[int], tight: Sequence[int]) -> list[Fraction]:
    """What makes every free line worth just the time it takes; none is negative."""
    equations = [[extra.rows[row][line] for row in tight] for line in basic]
    found = solution(equations, [extra.gains[line] for line in basic])
    values = dict(zip(tight, found or (), strict=False))
    return [max(_NOTHING, values.get(row, _NOTHING)) for row in range(len(extra.rows))]
