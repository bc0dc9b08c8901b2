"""Piecewise linear functions and the ranges where they reach a level, solved exactly."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from itertools import pairwise
from typing import NamedTuple

from service.domain.values.exact import ONE, ZERO, snapped


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A linear segment: slope × x + constant.

    Attributes:
        above: exclusive lower end; the first segment of a function includes it.
        up_to: inclusive upper end; None if it has none.
    """

    above: Decimal = ZERO
    up_to: Decimal | None = None
    slope: Decimal = ZERO
    constant: Decimal = ZERO

    def at(self, x: Decimal) -> Decimal:
        return self.slope * x + self.constant

    def reaches(self, x: Decimal) -> bool:
        """Whether x is at or below the upper end."""
        return self.up_to is None or snapped(x) <= snapped(self.up_to)


Function = tuple[Segment, ...]
"""Consecutive segments from 0; the last has no upper end."""


class Interval(NamedTuple):
    """A range of x; the upper end is included, None if there is none. A tuple, for there are hundreds of thousands."""

    low: Decimal
    is_low_included: bool = True
    high: Decimal | None = None

    def holds(self, x: Decimal) -> bool:
        """Whether x is in the range, compared at 28 digits."""
        x, low = snapped(x), snapped(self.low)
        if x < low or (x == low and not self.is_low_included):
            return False
        return self.high is None or x <= snapped(self.high)


EVERYWHERE = (Interval(low=ZERO),)


def line(slope: Decimal = ZERO, constant: Decimal = ZERO) -> Function:
    """A function of a single segment."""
    return (Segment(slope=slope, constant=constant),)


def value_at(function: Function, x: Decimal) -> Decimal:
    """The value at x, which is 0 or more."""
    for segment in function[:-1]:
        if segment.reaches(x):
            return segment.at(x)
    return function[-1].at(x)  # which has no end


def total(functions: Iterable[Function]) -> Function:
    """The sum of one or more functions, added in pairs so that few segments are visited often."""
    found = list(functions)
    while len(found) > 1:
        pairs = zip(found[::2], found[1::2], strict=False)
        found = [*(_sum(one, other) for one, other in pairs), *found[len(found) & ~1 :]]
    return found[0]


def plus(function: Function, *, slope: Decimal = ZERO, constant: Decimal = ZERO) -> Function:
    """The function plus a line."""
    return tuple(_reshaped(each, each.slope + slope, each.constant + constant) for each in function)


def scaled(function: Function, factor: Decimal) -> Function:
    """The function times a factor."""
    return tuple(_reshaped(each, each.slope * factor, each.constant * factor) for each in function)


def _reshaped(segment: Segment, slope: Decimal, constant: Decimal) -> Segment:
    return Segment(above=segment.above, up_to=segment.up_to, slope=slope, constant=constant)


def _sum(one: Function, other: Function) -> Function:
    """The sum of two functions, on the common subdivision of their segments."""
    if len(one) == 1:
        one, other = other, one
    if len(other) == 1:
        return plus(one, slope=other[0].slope, constant=other[0].constant)
    found, above = [], ZERO
    first, second = iter(one), iter(other)
    left, right = next(first), next(second)
    while True:
        ends = [each.up_to for each in (left, right) if each.up_to is not None]
        up_to = min(ends, default=None)
        found.append(
            Segment(above=above, up_to=up_to, slope=left.slope + right.slope, constant=left.constant + right.constant)
        )
        if up_to is None:
            return tuple(found)
        above = up_to
        if left.up_to == up_to:
            left = next(first)
        if right.up_to == up_to:
            right = next(second)


def clamped(function: Function, least: Decimal | None, most: Decimal | None) -> Function:
    """The function limited to the range from least to most."""
    if least is not None:
        function = _never_beyond(function, least, is_below=True)
    if most is not None:
        function = _never_beyond(function, most, is_below=False)
    return function


def _never_beyond(function: Function, limit: Decimal, *, is_below: bool) -> Function:
    """Cuts each segment where it crosses the limit, and is flat beyond it."""
    sign = ONE if is_below else -ONE
    flat = Segment(constant=limit)
    found = []
    for segment in function:
        for interval, is_kept in _cut(segment, sign, limit):
            shape = segment if is_kept else flat
            found.append(replace(shape, above=interval.low, up_to=interval.high))
    return tuple(found)


def _cut(segment: Segment, sign: Decimal, limit: Decimal) -> Iterator[tuple[Interval, bool]]:
    """The parts of a segment in order, each with whether sign × (function − limit) ≥ 0 on it."""
    slope, constant = sign * segment.slope, sign * (segment.constant - limit)
    whole = Interval(low=segment.above, high=segment.up_to)
    if slope == 0:
        yield whole, constant >= 0
        return
    root = -constant / slope
    if root <= segment.above or (segment.up_to is not None and root >= segment.up_to):
        yield whole, (slope > 0) == (root <= segment.above)
        return
    yield Interval(low=segment.above, high=root), slope < 0
    yield Interval(low=root, high=segment.up_to), slope > 0


def is_rising(function: Function) -> bool:
    """Whether the function never falls, so that it stays above every level that it reaches."""
    return all(segment.slope >= 0 for segment in function) and all(
        one.up_to is not None and snapped(one.at(one.up_to)) <= snapped(other.at(one.up_to))
        for one, other in pairwise(function)
    )


def joined(intervals: Iterable[Interval]) -> Iterator[Interval]:
    """The ranges in order, adjacent ones merged."""
    before: Interval | None = None
    for each in intervals:
        if before is not None and before.high is not None and each.low <= before.high:
            before = before._replace(high=each.high)
            continue
        if before is not None:
            yield before
        before = each
    if before is not None:
        yield before


def common(one: Iterable[Interval], other: Iterable[Interval]) -> tuple[Interval, ...]:
    """The intersection of two lists of ranges, in order."""
    return tuple(overlaps(one, other))


def overlaps(one: Iterable[Interval], other: Iterable[Interval]) -> Iterator[Interval]:
    """The same as `common`, lazily: of neither more is taken than is needed."""
    return (found for _, found in meetings(one, other))


def meetings(one: Iterable[Interval], other: Iterable[Interval]) -> Iterator[tuple[int, Interval]]:
    """The ranges that two lists of ranges have in common, each with the place of its range in the first list."""
    others, seen, begin = iter(other), list[Interval](), 0
    for place, first in enumerate(one):
        low, high = snapped(first.low), None if first.high is None else snapped(first.high)
        while begin < len(seen) and (end := seen[begin].high) is not None and snapped(end) < low:
            begin += 1
        at = begin
        while (second := _taken(seen, at, others)) is not None and (high is None or snapped(second.low) <= high):
            found = _overlap(first, second)
            if found is not None:
                yield place, found
            at += 1


def _taken(seen: list[Interval], at: int, others: Iterator[Interval]) -> Interval | None:
    """The range at a place, taken from the iterator if it is the next one; None after the last."""
    if at == len(seen):
        following = next(others, None)
        if following is None:
            return None
        seen.append(following)
    return seen[at]


def _overlap(one: Interval, other: Interval) -> Interval | None:
    low = max(one.low, other.low)
    highs = [each.high for each in (one, other) if each.high is not None]
    high = min(highs, default=None)
    is_low_included = all(each.is_low_included for each in (one, other) if snapped(each.low) == snapped(low))
    if high is None or snapped(low) < snapped(high) or (is_low_included and snapped(low) == snapped(high)):
        return Interval(low=low, is_low_included=is_low_included, high=high)
    return None
