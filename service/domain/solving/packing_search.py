"""A packing search for identical boxes, in whole numbers: recursive straight cuts and pinwheels."""

from bisect import bisect_right
from collections.abc import Callable, Iterator
from functools import cache, lru_cache
from heapq import nsmallest
from itertools import combinations, permutations, product
from math import prod
from typing import NamedTuple

Size = tuple[int, int, int]
_Division = tuple[tuple[Size, Size], ...]
"""The origin and size of each part of a divided space."""

_MAX_LOOKS = 2000
"""How many parts one search examines; a count, not a time limit, so that results are reproducible."""
_MAX_DEPTH = 3
"""The depth of recursion. Measured: deeper searches spend their budget in a corner and find less."""
_BEAM = 6
"""How many divisions of a space are searched, the best first."""
_MAX_SUMS, _MAX_CUTS, _MAX_PINWHEEL_CUTS = 400, 16, 8


class Grid(NamedTuple):
    """Pieces that all lie the same way: origin, sides of a piece and number of pieces along each axis."""

    start: Size
    sides: Size
    numbers: Size

    @property
    def pieces(self) -> int:
        return prod(self.numbers)


def grid_in(sides: Size, size: Size, start: Size = (0, 0, 0)) -> Grid:
    """The grid with the most pieces, in the best of six orientations."""
    x, y, z = size
    grids = (Grid(start, (a, b, c), (x // a, y // b, z // c)) for a, b, c in sorted(set(permutations(sides))))
    return max(grids, key=lambda grid: grid.pieces)


@lru_cache(maxsize=4096)
def grids_in(sides: Size, size: Size) -> tuple[Grid, ...]:
    """The non-empty grids that the search divides the space into."""
    search = _Search(sides, size)
    found = (grid_in(sides, part, start) for start, part in search.parts((0, 0, 0), size, _MAX_DEPTH))
    return tuple(grid for grid in found if grid.pieces)


class _Search:
    """One search; remembers for every part it has met how many pieces it holds and how it was divided."""

    def __init__(self, sides: Size, size: Size) -> None:
        self._sides = sides
        self._volume = prod(sides)
        self._sums = _sums(sides, max(size))
        self._looks = _MAX_LOOKS
        self._found: dict[tuple[Size, int], tuple[int, _Division]] = {}
        self._best(size, _MAX_DEPTH)

    def parts(self, start: Size, size: Size, depth: int) -> Iterator[tuple[Size, Size]]:
        """The final parts of a space: origin and size of each."""
        _, division = self._found.get((size, depth), (0, ()))
        if not division:
            yield start, size
        for (x, y, z), part in division:
            yield from self.parts((start[0] + x, start[1] + y, start[2] + z), part, depth - 1)

    def _count(self, size: Size) -> int:
        """The most pieces in a single grid; unrolled, for most of the time is spent here."""
        (a, b, c), (x, y, z) = self._sides, size
        xa, xb, xc, ya, yb, yc, za, zb, zc = x // a, x // b, x // c, y // a, y // b, y // c, z // a, z // b, z // c
        return max(xa * yb * zc, xa * yc * zb, xb * ya * zc, xb * yc * za, xc * ya * zb, xc * yb * za)

    def _best(self, size: Size, depth: int) -> int:
        if (size, depth) in self._found:
            return self._found[size, depth][0]
        count, bound = self._count(size), self._bound(size)
        division: _Division = ()
        for parts in self._promising(size, depth) if count < bound else ():
            total = sum(self._best(part, depth - 1) for _, part in parts)
            if total > count:
                count, division = total, parts
            if count == bound:
                break
        self._found[size, depth] = count, division
        return count

    def _bound(self, size: Size) -> int:
        """An upper bound: the volume that whole sides can fill ÷ the volume of a piece."""
        return prod(self._filled(side) for side in size) // self._volume

    def _filled(self, side: int) -> int:
        """The longest row of pieces that fits into a side."""
        if not self._sums:
            return side
        place = bisect_right(self._sums, side)
        return self._sums[place - 1] if place else 0

    def _promising(self, size: Size, depth: int) -> Iterator[_Division]:
        """The divisions to search, those first whose parts hold most as single grids."""
        if depth:
            yield from self._straight(size)
        if depth == _MAX_DEPTH:
            yield from self._pinwheels(size)

    def _straight(self, size: Size) -> list[_Division]:
        """Divisions into two by one straight cut; cuts beyond the middle would be mirror images."""
        ranked: list[tuple[int, int, _Division]] = []
        for axis, side in enumerate(size):
            for cut in self._cuts(side):
                if 2 * cut <= side and self._looks > 0:
                    self._looks -= 2
                    parts = _box(size, {axis: (0, cut)}), _box(size, {axis: (cut, side)})
                    ranked.append((-sum(self._count(part) for _, part in parts), len(ranked), parts))
        return [parts for _, _, parts in nsmallest(_BEAM, ranked)]

    def _pinwheels(self, size: Size) -> list[_Division]:
        """Divisions into four parts around a fifth, which no straight cut makes."""
        cuts = [self._pairs_of_cuts(side) for side in size]
        ranked = []
        for one, other in combinations(range(3), 2):
            u, v, count = size[one], size[other], self._counts(size, one, other)
            for (u1, u2), (v1, v2) in product(cuts[one], cuts[other]):
                around = count(u2, v1) + count(u - u2, v2) + count(u - u1, v - v2) + count(u1, v - v1)
                ranked.append((-around - count(u2 - u1, v2 - v1), one, other, (u1, u2), (v1, v2)))
        best = nsmallest(_BEAM, ranked)
        return [_pinwheel(size, one, other, ones, others) for _, one, other, ones, others in best]

    def _counts(self, size: Size, one: int, other: int) -> Callable[[int, int], int]:
        """A cached count of a single grid in a part, by its sides along two axes; the same parts recur often."""

        @cache
        def count(u: int, v: int) -> int:
            part = [*size]
            part[one], part[other] = u, v
            return self._count((part[0], part[1], part[2]))

        return count

    def _pairs_of_cuts(self, side: int) -> list[tuple[int, int]]:
        """Pairs of the cuts that leave least unfilled beyond them, of equals those nearest to the middle."""
        rests = {cut: side - cut for cut in self._cuts(side)}
        best = sorted(rests, key=lambda cut: (rests[cut] - self._filled(rests[cut]), abs(2 * cut - side)))
        return list(combinations(sorted(best[:_MAX_PINWHEEL_CUTS]), 2))

    def _cuts(self, side: int) -> list[int]:
        """The cuts worth trying: after every row of pieces or, where these are too many, near the ends."""
        sums = self._sums[: bisect_right(self._sums, side - 1)]
        if sums and len(sums) <= _MAX_CUTS:
            return sums
        found = {count * each for each in self._sides for count in (1, 2, 3, side // each)}
        return sorted(cut for cut in found | {side - cut for cut in found} if 0 < cut < side)


def _sums(sides: Size, most: int) -> list[int]:
    """Every length that a row of pieces can have; empty if there are too many."""
    found = {0}
    for side in sides:
        if most // side > _MAX_SUMS:
            return []
        for start in sorted(found):
            found.update(range(start, most + 1, side))
            if len(found) > _MAX_SUMS:
                return []
    return sorted(found - {0})


def _pinwheel(size: Size, one: int, other: int, ones: tuple[int, int], others: tuple[int, int]) -> _Division:
    """Four parts around a fifth, by two cuts along each of two axes."""
    (u1, u2), (v1, v2), u, v = ones, others, size[one], size[other]
    return (
        _box(size, {one: (0, u2), other: (0, v1)}),
        _box(size, {one: (u2, u), other: (0, v2)}),
        _box(size, {one: (u1, u), other: (v2, v)}),
        _box(size, {one: (0, u1), other: (v1, v)}),
        _box(size, {one: (u1, u2), other: (v1, v2)}),
    )


def _box(size: Size, limits: dict[int, tuple[int, int]]) -> tuple[Size, Size]:
    """The origin and size of a part of a space, within limits along some axes."""
    start, part = [0, 0, 0], [*size]
    for axis, (begin, end) in limits.items():
        start[axis], part[axis] = begin, end - begin
    return tuple(start), tuple(part)  # type: ignore[return-value]
