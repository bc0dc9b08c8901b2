"""The mix of products that leaves the most where time is the limit: stated, checked and proven in exact fractions."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import floor, lcm
from operator import mul
from typing import Protocol

from service.domain.exact_equations import solution

MOST_PIECES = 1_000_000_000
"""No line has more, whatever there is room for."""
MOST_LOOKS = 300_000
"""How many figures the proof looks at before it is given up; about half a second."""
_LEFT_OUT = 6
"""How many minute values are left out one by one for a bound."""
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
    all of it in exact fractions. No mix contributes more than

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
    extra = _Extra(
        gains=[programme.contributions[line] for line in lines],
        rows=[[programme.minutes[row][line] for line in lines] for row in rows],
        limits=[left[row] for row in rows],
        most=[most[line] for line in lines],
    )
    found = extra.best(propose)
    added = dict(zip(lines, found.units, strict=True))
    units = tuple(least + added.get(line, 0) for line, least in enumerate(programme.least))
    base, values = programme.contribution(programme.least), dict(zip(rows, found.minute_values, strict=True))
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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Extra:
    """What is made beyond the least: every line of it contributes, and every row is a limit.

    Attributes:
        gains: of a unit of each line.
        rows: minutes that a unit of each line takes.
        limits: minutes there are.
        most: units of each line; may be one more than there is time for.
    """

    gains: list[Fraction]
    rows: list[list[Fraction]]
    limits: list[Fraction]
    most: list[int]

    def best(self, propose: Propose) -> BestMix:
        """The best mix, with its proof as far as that goes."""
        if not self.rows:
            total = self.gain(self.most)
            return BestMix(units=tuple(self.most), contribution=total, at_most=total, is_proven=True, minute_values=())
        proposed = propose(self.gains, self.rows, self.limits, self.most)
        values = self._minute_values(proposed.basic, proposed.tight)
        search = _Search(self, values, self._filled(self._cut(proposed.amounts)))
        search.look()
        return BestMix(
            units=tuple(search.best),
            contribution=self.gain(search.best),
            at_most=self.gain(search.best) if search.is_complete else search.at_most,
            is_proven=search.is_complete,
            minute_values=tuple(values),
        )

    def gain(self, units: Sequence[int]) -> Fraction:
        """What so many units contribute."""
        return sum((gain * each for gain, each in zip(self.gains, units, strict=True)), _NOTHING)

    def taken(self, row: int, units: Sequence[int]) -> Fraction:
        """Minutes that so many units take."""
        return sum((minutes * each for minutes, each in zip(self.rows[row], units, strict=True) if each), _NOTHING)

    def room(self, line: int, units: Sequence[int]) -> int:
        """How many more of a line there may be beside so many units."""
        rooms = (
            floor((limit - self.taken(row, units)) / self.rows[row][line])
            for row, limit in enumerate(self.limits)
            if self.rows[row][line]
        )
        return min([self.most[line] - units[line], *rooms])

    def _minute_values(self, basic: Sequence[int], tight: Sequence[int]) -> list[Fraction]:
        """What makes every free line worth just the minutes it takes; none is negative."""
        found = solution(
            [[self.rows[row][line] for row in tight] for line in basic], [self.gains[each] for each in basic]
        )
        values = dict(zip(tight, found or (), strict=False))
        return [max(_NOTHING, values.get(row, _NOTHING)) for row in range(len(self.rows))]

    def _cut(self, proposed: Sequence[int]) -> list[int]:
        """The proposal within its limits: what is too much is taken off the lines that gain least for their time."""
        units = [max(0, min(each, most)) for each, most in zip(proposed, self.most, strict=True)]
        for row in range(len(self.rows)):
            for line in sorted(range(len(units)), key=lambda line: (self._gain_for_time(row, line), line)):
                over = self.taken(row, units) - self.limits[row]
                if over > 0 and self.rows[row][line]:
                    units[line] -= min(units[line], -floor(-over / self.rows[row][line]))
        return units

    def _gain_for_time(self, row: int, line: int) -> Fraction:
        minutes = self.rows[row][line]
        return self.gains[line] / minutes if minutes else _NOTHING

    def _filled(self, units: list[int]) -> list[int]:
        """As many more as there is time for, those that gain most first."""
        for line in sorted(range(len(units)), key=lambda line: (-self.gains[line], line)):
            units[line] += self.room(line, units)
        return units


class _Search:
    """Every mix that could be better than the best so far.

    However many units of the lines before are chosen, what the lines after can add is bounded with each of some sets of
    minute values: those given, and those with one of them, or all, left out. So the units of a line that could still
    lead to a better mix are from one number to another, and no others are looked at. Gains and minutes are multiplied
    until they are whole numbers: the same figures, compared faster.
    """

    def __init__(self, extra: _Extra, values: Sequence[Fraction], best: list[int]) -> None:
        lines = range(len(best))
        self.extra, self.best, self.is_complete, self._looks = extra, best, True, 0
        self._most = [extra.room(line, [0] * len(best)) for line in lines]
        bounds = [_Bound(extra, each) for each in _sets(values)]
        scale = lcm(*(each.denominator for each in extra.gains), *(bound.denominator for bound in bounds))
        self._gains = [int(each * scale) for each in extra.gains]
        self._surplus = [[int(bound.surplus[line] * scale) for bound in bounds] for line in lines]
        self.order = sorted(lines, key=lambda line: (-abs(bounds[0].surplus[line]), line))
        self.order.sort(key=lambda line: bounds[0].surplus[line] != 0 or extra.gains[line] < bounds[0].gap(best))
        self._added = self._added_after(len(bounds))
        self._begin = [int(bound.begin * scale) for bound in bounds]
        tops = [begin + added for begin, added in zip(self._begin, self._added[0], strict=True)]
        self.at_most = Fraction(min(tops), scale)
        scales = [lcm(limit.denominator, *(each.denominator for each in row)) for row, limit in _rows(extra)]
        self._left = [int(limit * each) for limit, each in zip(extra.limits, scales, strict=True)]
        self._taken = [
            [(place, int(row[line] * scales[place])) for place, row in enumerate(extra.rows) if row[line]]
            for line in lines
        ]
        self._gained = self._gain(best)

    def _added_after(self, bounds: int) -> list[list[int]]:
        """What the lines from each place of the order on can add at most, by each bound."""
        found = [[0] * bounds]
        for line in reversed(self.order):
            tops = (max(0, each) * self._most[line] for each in self._surplus[line])
            found.append([top + after for top, after in zip(tops, found[-1], strict=True)])
        return found[::-1]

    def _gain(self, units: Sequence[int]) -> int:
        gained: int = sum(map(mul, self._gains, units))
        return gained

    def look(self) -> None:
        """Go through them; what was looked at is not complete if there are too many."""
        self._at(0, [0] * len(self.best), self._begin)

    def _at(self, depth: int, units: list[int], reached: Sequence[int]) -> None:
        line, is_last = self.order[depth], depth == len(units) - 1
        self._looks += len(reached) + len(self._taken[line])
        for chosen in self._choices(depth, reached)[: 1 if is_last else None]:
            if self._looks > MOST_LOOKS:
                self.is_complete = False
                return
            units[line] = chosen
            if is_last:
                self._improve(units)
            else:
                self._take(line, chosen)
                self._at(
                    depth + 1,
                    units,
                    [each + own * chosen for each, own in zip(reached, self._surplus[line], strict=True)],
                )
                self._take(line, -chosen)

    def _take(self, line: int, units: int) -> None:
        for row, minutes in self._taken[line]:
            self._left[row] -= minutes * units

    def _choices(self, depth: int, reached: Sequence[int]) -> range:
        """Units of a line that there is time for and that could lead to a better mix, the most first."""
        line = self.order[depth]
        least, most = 0, min([self._most[line], *(self._left[row] // minutes for row, minutes in self._taken[line])])
        for before, after, own in zip(reached, self._added[depth + 1], self._surplus[line], strict=True):
            short = self._gained + 1 - before - after
            if own > 0:
                least = max(least, -(-short // own))
            elif own < 0:
                most = min(most, short // own)
            elif short > 0:
                return range(0)
        return range(most, least - 1, -1)

    def _improve(self, units: Sequence[int]) -> None:
        """A mix that is better, for the bound without minute values is just what it gains."""
        self._looks += len(units)
        self.best, self._gained = list(units), self._gain(units)


class _Bound:
    """What no mix exceeds, by one set of minute values.

    Attributes:
        begin: the minute values of all limits.
        surplus: what a unit of each line adds beyond its minutes.
    """

    def __init__(self, extra: _Extra, values: Sequence[Fraction]) -> None:
        self._extra = extra
        self.begin = sum(map(Fraction.__mul__, values, extra.limits), _NOTHING)
        self.surplus = [
            gain - sum((value * row[line] for value, row in zip(values, extra.rows, strict=True) if value), _NOTHING)
            for line, gain in enumerate(extra.gains)
        ]

    def gap(self, units: Sequence[int]) -> Fraction:
        """How much more than so many units gain it allows for, demand aside."""
        tops = (max(_NOTHING, each) * most for each, most in zip(self.surplus, self._extra.most, strict=True))
        return self.begin + sum(tops, _NOTHING) - self._extra.gain(units)

    @property
    def denominator(self) -> int:
        """What makes whole numbers of it."""
        return lcm(self.begin.denominator, *(each.denominator for each in self.surplus))


def _sets(values: Sequence[Fraction]) -> list[list[Fraction]]:
    """The minute values, the same without one of the greatest of them, and none."""
    greatest = sorted((place for place, value in enumerate(values) if value), key=lambda place: -values[place])
    left_out = [{place} for place in greatest[:_LEFT_OUT]]
    everything = set(range(len(values)))
    return [
        [_NOTHING if place in without else value for place, value in enumerate(values)]
        for without in (set(), *left_out, everything)
    ]


def _rows(extra: _Extra) -> Iterator[tuple[list[Fraction], Fraction]]:
    return zip(extra.rows, extra.limits, strict=True)
