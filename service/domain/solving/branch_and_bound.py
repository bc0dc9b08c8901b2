"""The search for a better mix among whole numbers, exact and bounded."""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from operator import mul

MOST_LOOKS = 300_000
"""How many figures the proof looks at before it is given up; about half a second."""
_KNOWN = 10**20
"""Minute values are known to some 28 digits: what differs by less than this part is the same."""
_LEFT_OUT = 6
"""How many minute values are left out one by one for a bound."""
_NOTHING = Fraction(0)


def whole_by(figures: Sequence[Fraction]) -> int:
    """What makes whole numbers of all of them: the same figures, reckoned with faster."""
    return lcm(*(figure.denominator for figure in figures))


@dataclass(frozen=True, slots=True, kw_only=True)
class Extra:
    """What is made beyond the least: every line of it contributes, and every row is a limit.

    Attributes:
        gains: of a unit of each line.
        rows: time that a unit of each line takes, each row in a unit of its own in which it is whole.
        limits: time there is, in the same units.
        most: units of each line; may be one more than there is time for.
    """

    gains: list[Fraction]
    rows: list[list[int]]
    limits: list[int]
    most: list[int]

    def gain(self, units: Sequence[int]) -> Fraction:
        """What so many units contribute."""
        return sum((gain * each for gain, each in zip(self.gains, units, strict=True)), _NOTHING)


class Made:
    """Units of each line, and the time they leave.

    Attributes:
        units: of each line.
        left: of each row; negative where they take more than there is.
    """

    def __init__(self, extra: Extra, units: Sequence[int]) -> None:
        self._taken = [
            [(place, row[line]) for place, row in enumerate(extra.rows) if row[line]] for line in range(len(units))
        ]
        self.units, self.left = [0] * len(units), list(extra.limits)
        for line, each in enumerate(units):
            self.add(line, each)

    def add(self, line: int, units: int) -> None:
        """So many more units of a line, or fewer."""
        self.units[line] += units
        for row, minutes in self._taken[line]:
            self.left[row] -= minutes * units

    def room(self, line: int, most: int) -> int:
        """How many units there may be of a line beside the others, at most so many more."""
        return min([most, *(self.left[row] // minutes for row, minutes in self._taken[line])])

    def taken(self, line: int) -> int:
        """How many rows a unit of a line takes time of."""
        return len(self._taken[line])


def cut(extra: Extra, proposed: Sequence[int]) -> Made:
    """The proposal within its limits: what is too much is taken off the lines that gain least for their time."""
    made = Made(extra, [max(0, min(each, most)) for each, most in zip(proposed, extra.most, strict=True)])
    for place, row in enumerate(extra.rows):
        users = sorted(
            (line for line, minutes in enumerate(row) if minutes), key=lambda line: extra.gains[line] / row[line]
        )
        for line in users:
            if made.left[place] < 0:
                made.add(line, -min(made.units[line], -(made.left[place] // row[line])))
    return made


def filled(extra: Extra, made: Made) -> Made:
    """As many more as there is time for, those that gain most first."""
    for line in sorted(range(len(extra.gains)), key=lambda line: (-extra.gains[line], line)):
        made.add(line, made.room(line, extra.most[line] - made.units[line]))
    return made


class Search:
    """Every mix that could be better than the best so far.

    However many units of the lines before are chosen, what the lines after can add is bounded with each of some sets of
    minute values: those given, and those with one of them, or all, left out. So the units of a line that could still
    lead to a better mix are from one number to another, and no others are looked at. Gains are multiplied until they
    are whole numbers.
    """

    def __init__(self, extra: Extra, values: Sequence[Fraction], best: list[int]) -> None:
        lines = range(len(best))
        self.best, self.is_complete, self._looks = best, True, 0
        self._made = Made(extra, [0] * len(best))
        self._most = [self._made.room(line, extra.most[line]) for line in lines]
        bounds = [Bound(extra, each) for each in sets(values)]
        scale = whole_by([*extra.gains, *(figure for bound in bounds for figure in (bound.begin, *bound.surplus))])
        self._gains = [int(each * scale) for each in extra.gains]
        self._surplus = [[int(bound.surplus[line] * scale) for bound in bounds] for line in lines]
        self.order = sorted(lines, key=lambda line: (-abs(bounds[0].surplus[line]), line))
        self.order.sort(key=lambda line: not bounds[0].is_free(line) or extra.gains[line] < bounds[0].gap(best))
        self._added = self._added_after(len(bounds))
        self._begin = [int(bound.begin * scale) for bound in bounds]
        tops = [begin + added for begin, added in zip(self._begin, self._added[0], strict=True)]
        self.at_most = Fraction(min(tops), scale)
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
        self._at(0, self._begin)

    def _at(self, depth: int, reached: Sequence[int]) -> None:
        line, is_last = self.order[depth], depth == len(self.order) - 1
        self._looks += len(reached) + self._made.taken(line)
        for chosen in self._choices(depth, reached)[: 1 if is_last else None]:
            if self._looks > MOST_LOOKS:
                self.is_complete = False
                return
            self._made.add(line, chosen)
            if is_last:
                self._improve()
            else:
                after = [each + own * chosen for each, own in zip(reached, self._surplus[line], strict=True)]
                self._at(depth + 1, after)
            self._made.add(line, -chosen)

    def _choices(self, depth: int, reached: Sequence[int]) -> range:
        """Units of a line that there is time for and that could lead to a better mix, the most first."""
        line = self.order[depth]
        least, most = 0, self._made.room(line, self._most[line])
        for before, after, own in zip(reached, self._added[depth + 1], self._surplus[line], strict=True):
            short = self._gained + 1 - before - after
            if own > 0:
                least = max(least, -(-short // own))
            elif own < 0:
                most = min(most, short // own)
            elif short > 0:
                return range(0)
        return range(most, least - 1, -1)

    def _improve(self) -> None:
        """A mix that is better, for the bound without minute values is just what it gains."""
        self._looks += len(self.best)
        self.best = list(self._made.units)
        self._gained = self._gain(self.best)


class Bound:
    """What no mix exceeds, by one set of minute values.

    Attributes:
        begin: the minute values of all limits.
        surplus: what a unit of each line adds beyond its time.
    """

    def __init__(self, extra: Extra, values: Sequence[Fraction]) -> None:
        self._extra = extra
        self.begin = sum((value * limit for value, limit in zip(values, extra.limits, strict=True)), _NOTHING)
        priced = [(value, row) for value, row in zip(values, extra.rows, strict=True) if value]
        self.surplus = [
            gain - sum((value * row[line] for value, row in priced if row[line]), _NOTHING)
            for line, gain in enumerate(extra.gains)
        ]

    def is_free(self, line: int) -> bool:
        """Whether a line is worth just the time it takes, as far as minute values are known."""
        return abs(self.surplus[line]) * _KNOWN < self._extra.gains[line]

    def gap(self, units: Sequence[int]) -> Fraction:
        """How much more than so many units gain it allows for."""
        tops = (max(_NOTHING, each) * most for each, most in zip(self.surplus, self._extra.most, strict=True))
        return self.begin + sum(tops, _NOTHING) - self._extra.gain(units)


def sets(values: Sequence[Fraction]) -> list[list[Fraction]]:
    """The minute values, the same without one of the greatest of them, and none."""
    greatest = sorted((place for place, value in enumerate(values) if value), key=lambda place: -values[place])
    left_out = [{place} for place in greatest[:_LEFT_OUT]]
    everything = set(range(len(values)))
    return [
        [_NOTHING if place in without else value for place, value in enumerate(values)]
        for without in (set(), *left_out, everything)
    ]
