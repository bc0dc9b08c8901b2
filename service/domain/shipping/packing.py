"""Packing of identical pieces into a space, in six orientations and in blocks that a person can follow."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import lru_cache
from itertools import product
from math import prod

from service.domain.solving.packing_search import Grid, Size, grid_in, grids_in
from service.domain.values.exact import ZERO, exactly
from service.domain.values.shown import Quantity

Sides = tuple[Decimal, Decimal, Decimal]
"""Length, width and height in millimetres."""
_MAX_MIXTURES = 4000
"""The most mixtures of layers tried; beyond that, only stacks of equal layers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Pieces that all lie the same way, in columns, rows and layers.

    Attributes:
        piece_length_mm: of each piece, along the length of what it is packed into.
        piece_width_mm: along its width.
        piece_height_mm: along its height.
        columns: pieces along the length.
        rows: pieces along the width.
        layers: pieces along the height.
        from_end_mm: where the block begins along the length.
        from_side_mm: where it begins along the width.
        from_bottom_mm: where it begins along the height.
    """

    piece_length_mm: Quantity
    piece_width_mm: Quantity
    piece_height_mm: Quantity
    columns: int
    rows: int
    layers: int
    from_end_mm: Quantity = ZERO
    from_side_mm: Quantity = ZERO
    from_bottom_mm: Quantity = ZERO

    @property
    def pieces(self) -> int:
        return self.columns * self.rows * self.layers

    @property
    def top_mm(self) -> Decimal:
        return self.from_bottom_mm + self.layers * self.piece_height_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """The blocks of pieces in a space; none if not a single piece fits."""

    blocks: tuple[Block, ...]

    @property
    def pieces(self) -> int:
        return sum(block.pieces for block in self.blocks)

    @property
    def height_mm(self) -> Decimal:
        return max((block.top_mm for block in self.blocks), default=ZERO)


def side_too_long(piece: Sides, space: Sides) -> tuple[Decimal, Decimal] | None:
    """The longest side of the piece that does not fit, and the room for it; None if the piece fits.

    A box fits along the axes of a space exactly if its sides, sorted by length, are no longer than those of the space.
    """
    pairs = zip(sorted(piece, reverse=True), sorted(space, reverse=True), strict=True)
    return next(((side, room) for side, room in pairs if side > room), None)


@exactly
def volume_bound(piece: Sides, space: Sides) -> int:
    """An upper bound on the pieces:  volume of the space ÷ volume of a piece, rounded down."""
    sides, size, _ = _whole(piece, space)
    return prod(size) // prod(sides)


@lru_cache(maxsize=4096)
@exactly
def packing(piece: Sides, space: Sides, at_most: int) -> Packing:
    """A packing with room for at most so many pieces, or for as many as the search finds.

    Where a regular grid has too little room, the search divides the space recursively by straight cuts and by the
    pinwheel of five parts, which no straight cut makes; each part is packed as a grid in the best of six orientations.
    The result always fits. It is a heuristic: more pieces might fit.

    Source: the pinwheel is that of R. Morabito and S. Morales, A simple and effective recursive procedure for the
        manufacturer's pallet loading problem, 1998 (from memory).
    """
    sides, size, decimals = _whole(piece, space)
    grid = grid_in(sides, size)
    grids = (grid,) if grid.pieces >= at_most else grids_in(sides, size)
    return Packing(blocks=tuple(_block(each, decimals) for each in grids))


@lru_cache(maxsize=4096)
@exactly
def stacks(piece: Sides, space: Sides, at_most: int) -> tuple[Packing, ...]:
    """Stacks of layers on a base, from low to high, each with room for more than the one before it.

    A layer is as high as one of the piece's sides and packed by `packing`; a stack is the mixture of layers with the
    most room for its height.
    """
    length, width, height = space
    flat = (packing(piece, (length, width, side), at_most) for side in sorted({*piece}) if side <= height)
    layers = [layer for layer in flat if layer.pieces]
    numbers = [min(int(height // layer.height_mm), -(-at_most // layer.pieces)) for layer in layers]
    found: list[Packing] = []
    room = 0
    measured = (_measured(layers, mixture) for mixture in _mixtures(numbers))
    # Of mixtures of equal height the one with the most room comes first; the others add nothing.
    for stack_mm, pieces, mixture in sorted(measured, key=lambda found: (found[0], -found[1], found[2])):
        if stack_mm <= height and room < min(pieces, at_most):
            room = pieces
            found.append(Packing(blocks=tuple(_stacked(layers, mixture))))
    return tuple(found)


def _measured(layers: list[Packing], mixture: tuple[int, ...]) -> tuple[Decimal, int, tuple[int, ...]]:
    """The height of a mixture of layers and its pieces."""
    pairs = list(zip(layers, mixture, strict=True))
    stack_mm = sum((layer.height_mm * count for layer, count in pairs), ZERO)
    return stack_mm, sum(layer.pieces * count for layer, count in pairs), mixture


def _mixtures(numbers: list[int]) -> Iterable[tuple[int, ...]]:
    """The numbers of each layer in every mixture or, if these are too many, in stacks of equal layers."""
    if prod(number + 1 for number in numbers) <= _MAX_MIXTURES:
        return product(*(range(number + 1) for number in numbers))
    return (
        tuple(count if place == kind else 0 for place in range(len(numbers)))
        for kind, number in enumerate(numbers)
        for count in range(1, number + 1)
    )


def _stacked(layers: list[Packing], mixture: tuple[int, ...]) -> Iterator[Block]:
    """The blocks of the stacked layers; blocks as high as their layer are merged through equal layers."""
    bottom_mm = ZERO
    for layer, count in zip(layers, mixture, strict=True):
        for block in layer.blocks:
            if block.top_mm - block.from_bottom_mm == layer.height_mm:
                if count:
                    yield replace(block, layers=block.layers * count, from_bottom_mm=bottom_mm)
            else:
                for place in range(count):
                    yield replace(block, from_bottom_mm=bottom_mm + place * layer.height_mm + block.from_bottom_mm)
        bottom_mm += count * layer.height_mm


def _whole(piece: Sides, space: Sides) -> tuple[Size, Size, int]:
    """Both in the largest decimal unit in which every side is a whole number, and its decimals."""
    decimals = max(0, *(-int(side.as_tuple().exponent) for side in (*piece, *space)))
    size = [int(side.scaleb(decimals)) for side in (*piece, *space)]
    return (size[0], size[1], size[2]), (size[3], size[4], size[5]), decimals


def _block(grid: Grid, decimals: int) -> Block:
    length, width, height, end, side, bottom = (Decimal(each).scaleb(-decimals) for each in (*grid.sides, *grid.start))
    columns, rows, layers = grid.numbers
    return Block(
        piece_length_mm=length,
        piece_width_mm=width,
        piece_height_mm=height,
        columns=columns,
        rows=rows,
        layers=layers,
        from_end_mm=end,
        from_side_mm=side,
        from_bottom_mm=bottom,
    )
