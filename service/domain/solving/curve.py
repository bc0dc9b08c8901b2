"""A piecewise linear function prepared for many questions, so that each looks at few of its segments."""

from bisect import bisect_left
from collections.abc import Iterator
from decimal import Decimal
from itertools import accumulate, islice
from typing import NamedTuple

from service.domain.solving.segments import Function, Interval, Segment, is_rising
from service.domain.values.exact import ONE, ZERO, exactly, snapped

_BEYOND_A_ROUNDING_ERROR = Decimal("1E-26")


class Begin(NamedTuple):
    """The lower end of a range, and whether it is in the range."""

    at: Decimal
    is_included: bool


class Curve:
    """A function that is asked about many levels and places.

    Every question may be about the function less a line through 0:  f(x) − less × x. So that policies with different
    margins share one curve, and what is kept of it is kept once.

    Attributes:
        function: its segments.
        is_rising: whether it never falls.
    """

    __slots__ = ("_ends", "_least_slope", "_lines", "_peaks", "function", "is_rising")

    @exactly
    def __init__(self, function: Function) -> None:
        self.function = function
        ended = [(segment, segment.up_to) for segment in function if segment.up_to is not None]
        self._ends = [snapped(up_to) for _, up_to in ended]
        self._peaks = list(accumulate((_peak(segment, up_to) for segment, up_to in ended), max))
        begins = [snapped(function[0].above), *self._ends]
        self._lines = list(zip(function, begins, [*self._ends, None], strict=True))
        self.is_rising = is_rising(function)
        self._least_slope = min(segment.slope for segment in function)

    def __len__(self) -> int:
        """Number of segments."""
        return len(self.function)

    def rises(self, less: Decimal) -> bool:
        """Whether the function less a line never falls."""
        return self.is_rising and self._least_slope >= less

    def segment_at(self, x: Decimal) -> Segment:
        """The segment that x, which is 0 or more, falls into."""
        return self.function[bisect_left(self._ends, snapped(x))]

    def at(self, x: Decimal, less: Decimal = ZERO) -> Decimal:
        """The value at x, which is 0 or more."""
        segment = self.function[bisect_left(self._ends, snapped(x))]
        return (segment.slope - less) * x + segment.constant

    def first(self, level: Decimal, less: Decimal = ZERO) -> Begin | None:
        """Where the function first is at least the level; None if it never is.

        Segments are skipped while the function has stayed below the level by more than a rounding error.
        """
        place = self._first_that_may_reach(level, less)
        for segment, begins, ends in islice(self._lines, place, None):
            slope = segment.slope - less if less else segment.slope
            if slope > 0:
                root = (level - segment.constant) / slope
                at = snapped(root)
                if at <= begins:
                    return Begin(segment.above, not place)
                if ends is None or at <= ends:
                    return Begin(root, True)
            else:
                found = _reaching(segment, slope, level, is_first=not place)
                if found is not None:
                    return Begin(found.low, found.is_low_included)
            place += 1
        return None

    def reaching(self, level: Decimal, less: Decimal = ZERO) -> Iterator[Interval]:
        """The ranges, in order, where the function is at least the level; each segment is solved exactly."""
        place = self._first_that_may_reach(level, less)
        is_first = not place
        for segment in islice(self.function, place, None):
            found = _reaching(segment, segment.slope - less, level, is_first=is_first)
            if found is not None:
                yield found
            is_first = False

    def _first_that_may_reach(self, level: Decimal, less: Decimal) -> int:
        return bisect_left(self._peaks, level) if not less or ZERO < less <= ONE else 0


def _peak(segment: Segment, up_to: Decimal) -> Decimal:
    """The most that a segment can reach, above by more than a rounding error.

    Less a line of a slope up to 1 too: then it reaches less, and its rounding error is not more than this.
    """
    error = (up_to * (abs(segment.slope) + ONE) + abs(segment.constant)) * _BEYOND_A_ROUNDING_ERROR
    return max(segment.at(segment.above), segment.at(up_to)) + error


def _reaching(segment: Segment, slope: Decimal, level: Decimal, *, is_first: bool) -> Interval | None:
    """The range of a segment where slope × x + its constant is at least the level."""
    missing, above, up_to = level - segment.constant, segment.above, segment.up_to
    if slope == 0:
        return None if missing > 0 else Interval(above, is_first, up_to)
    root = missing / slope
    at = snapped(root)
    if slope > 0:
        if at <= snapped(above):
            return Interval(above, is_first, up_to)
        return Interval(root, True, up_to) if up_to is None or at <= snapped(up_to) else None
    if at > snapped(above) or (is_first and root >= above):
        return Interval(above, is_first, root if up_to is None else min(root, up_to))
    return None
