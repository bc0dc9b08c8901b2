"""Packing, compared with exhaustive search where that is possible, and with the volume elsewhere."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import combinations, combinations_with_replacement, permutations, product
from math import prod

from hypothesis import example, given
from hypothesis import strategies as st

from service.domain.shipping.packing import Packing, Sides, packing, side_too_long, stacks, volume_bound
from tests.support.profiles import examples

D = Decimal
ALL = 10**9


def sides(text: str) -> Sides:
    length, width, height = map(D, text.split())
    return length, width, height


def room(piece: str, space: str, at_most: int = ALL) -> int:
    return packing(sides(piece), sides(space), at_most).pieces


def corners(found: Packing) -> Iterator[tuple[tuple[Decimal, Decimal], ...]]:
    """The range of each piece along each of the three axes."""
    for block in found.blocks:
        for column, row, layer in product(range(block.columns), range(block.rows), range(block.layers)):
            along = (
                (block.from_end_mm, column, block.piece_length_mm),
                (block.from_side_mm, row, block.piece_width_mm),
                (block.from_bottom_mm, layer, block.piece_height_mm),
            )
            yield tuple((start + place * side, start + (place + 1) * side) for start, place, side in along)


def assert_lies_apart_within(found: Packing, piece: Sides, space: Sides) -> None:
    placed = list(corners(found))
    for each in placed:
        assert sorted(end - start for start, end in each) == sorted(piece)
        assert all(start >= 0 and end <= limit for (start, end), limit in zip(each, space, strict=True))
    for one, other in combinations(placed, 2):
        assert any(
            a_end <= b_start or b_end <= a_start for (a_start, a_end), (b_start, b_end) in zip(one, other, strict=True)
        )
    assert len(placed) == found.pieces


def most_by_trying_everything(shapes: set[tuple[int, int, int]], space: tuple[int, int, int]) -> int:
    """Tries every way to lay pieces on a grid of whole millimetres: a piece begins in a cell, or it stays empty.

    If pieces with sides of whole millimetres fit, they can be pushed towards one corner until each touches a wall or
    another piece on three sides; then they lie on whole millimetres.
    """
    cells = list(product(*(range(side) for side in space)))
    number = {cell: place for place, cell in enumerate(cells)}
    volume = prod(next(iter(shapes)))
    beginning = [
        [
            sum(1 << number[x + i, y + j, z + k] for i, j, k in product(range(a), range(b), range(c)))
            for a, b, c in shapes
            if x + a <= space[0] and y + b <= space[1] and z + c <= space[2]
        ]
        for x, y, z in cells
    ]
    best = 0

    def go_on(cell: int, taken: int, count: int, left: int) -> None:
        nonlocal best
        while cell < len(cells) and taken >> cell & 1:
            cell += 1
        best = max(best, count)
        if cell == len(cells) or (len(cells) - left) // volume <= best:
            return
        for shape in beginning[cell]:
            if not shape & taken:
                go_on(cell + 1, taken | shape, count + 1, left)
        go_on(cell + 1, taken | 1 << cell, count, left + 1)

    go_on(0, 0, 0, 0)
    return best


BOXES = [
    (piece, space)
    for space in combinations_with_replacement(range(2, 6), 3)
    for piece in combinations_with_replacement(range(1, 5), 3)
    if prod(space) <= 60 and prod(piece) >= 3 and all(one <= other for one, other in zip(piece, space, strict=True))
]
LAYERS = [
    (piece, space)
    for space in combinations_with_replacement(range(3, 11), 2)
    for piece in combinations(range(2, 6), 2)
    if piece[0] <= space[0] and piece[1] <= space[1]
]
MISSED = {
    # Neither straight cuts nor a pinwheel find these: six of 1 × 2 × 2 in 3 × 3 × 3 are the puzzle of Slothouber and
    # Graatsma (from memory).
    ((1, 2, 2), (3, 3, 3)),
    ((1, 2, 2), (3, 3, 5)),
}


class TestAgainstExhaustiveSearch:
    def test_it_finds_the_most_in_every_small_box_but_two_where_one_is_missing(self) -> None:
        assert len(BOXES) > 150

        missing = {}
        for piece, space in BOXES:
            found = packing(tuple(map(D, piece)), tuple(map(D, space)), ALL).pieces  # type: ignore[arg-type]
            if found != (most := most_by_trying_everything(set(permutations(piece)), space)):
                missing[piece, space] = most - found

        assert missing == dict.fromkeys(MISSED, 1)

    def test_it_finds_the_most_in_every_small_layer(self) -> None:
        assert len(LAYERS) > 150

        for (a, b), (x, y) in LAYERS:
            found = packing((D(a), D(b), D(50)), (D(x), D(y), D(50)), ALL)  # as thick as the layer: none stands on edge
            assert found.pieces == most_by_trying_everything({(a, b, 1), (b, a, 1)}, (x, y, 1)), (a, b, x, y)


whole = st.integers(1, 400)
decimal = st.decimals(1, 400, places=2)
length = whole.map(Decimal) | decimal
spaces = st.tuples(*(st.integers(50, 1300).map(Decimal) for _ in range(3)))
pieces = st.tuples(length, length, length)


class TestLaws:
    @given(pieces, spaces)
    @examples(60)
    def test_it_finds_at_most_what_the_volume_holds_and_at_least_what_a_plain_grid_holds(
        self, piece: Sides, space: Sides
    ) -> None:
        found = packing(piece, space, ALL)

        same_way = max(
            prod(int(room // side) for room, side in zip(space, each, strict=True)) for each in permutations(piece)
        )
        assert same_way <= found.pieces <= volume_bound(piece, space)
        assert (found.pieces == 0) == (side_too_long(piece, space) is not None)

    @given(st.tuples(*(st.integers(90, 400).map(Decimal) for _ in range(3))), spaces)
    @examples(60)
    def test_pieces_lie_within_the_space_and_do_not_overlap(self, piece: Sides, space: Sides) -> None:
        assert_lies_apart_within(packing(piece, space, ALL), piece, space)

    @given(st.tuples(*(st.integers(200, 500).map(Decimal) for _ in range(3))), st.integers(1, 40))
    @example(piece=sides("200 211 422"), at_most=19)  # two layers of 211 are as high as one of 422
    @examples(20)
    def test_higher_stacks_hold_more_and_pieces_do_not_overlap(self, piece: Sides, at_most: int) -> None:
        space = sides("1200 800 1300")

        found = stacks(piece, space, at_most)

        heights, rooms = [stack.height_mm for stack in found], [stack.pieces for stack in found]
        assert heights == sorted(set(heights))
        assert rooms == sorted(set(rooms))
        for stack in found:
            assert_lies_apart_within(stack, piece, (space[0], space[1], stack.height_mm))
        assert all(stack.pieces < at_most for stack in found[:-1])

    @given(pieces, spaces, st.integers(1, 500))
    @examples(60)
    def test_asking_for_fewer_finds_room_for_them_or_for_the_most_that_fit(
        self, piece: Sides, space: Sides, at_most: int
    ) -> None:
        found = packing(piece, space, at_most).pieces

        assert min(found, at_most) == min(packing(piece, space, ALL).pieces, at_most)


class TestExamples:
    def test_bricks_lie_in_blocks_that_turn_where_a_grid_leaves_a_gap(self) -> None:
        found = packing(sides("240 120 60"), sides("600 400 400"), ALL)

        assert found.pieces == 44
        assert volume_bound(sides("240 120 60"), sides("600 400 400")) == 55
        assert_lies_apart_within(found, sides("240 120 60"), sides("600 400 400"))

    def test_four_around_a_gap_make_a_pinwheel(self) -> None:
        found = packing(sides("50 30 10"), sides("80 80 10"), ALL)

        assert found.pieces == 4
        assert len(found.blocks) == 4

    def test_thin_pieces_in_a_long_box_fill_it_though_not_every_length_of_a_row_is_tried(self) -> None:
        piece, space = sides("1 30 70"), sides("410 60 75")

        found = packing(piece, space, ALL)

        assert found.pieces >= 410 * 2  # upright in two rows
        assert_lies_apart_within(found, piece, space)

    def test_decimals_count_to_the_last_digit(self) -> None:
        assert room("33.3 10 10", "99.9 10 10") == 3
        assert room("33.3 10 10", "99.8999999999999999999999999 10 10") == 2

    def test_sides_of_any_size_are_taken(self) -> None:
        assert room("0.000001 0.000001 0.000001", "1000000000 1000000000 1000000000") == 10**45
        assert room("0.0003 0.0007 0.0011", "1000 1000 1000") <= 1000**3 / (D("0.0003") * D("0.0007") * D("0.0011"))

    def test_the_longest_side_that_does_not_fit_is_reported_with_the_available_room(self) -> None:
        assert side_too_long(sides("10 700 20"), sides("400 600 400")) == (D(700), D(600))
        assert side_too_long(sides("500 500 20"), sides("400 600 400")) == (D(500), D(400))
        assert side_too_long(sides("10 600 20"), sides("400 600 400")) is None

    def test_a_stack_mixes_layers_where_that_uses_the_height(self) -> None:
        found = stacks(sides("450 310 120"), sides("1200 800 700"), ALL)

        lying, standing = found[0], next(stack for stack in found if stack.height_mm == 310)
        assert [block.piece_height_mm for block in lying.blocks] == [D(120)] * len(lying.blocks)
        assert standing.pieces > found[1].pieces
        mixed = found[-1]
        assert mixed.height_mm == 690
        assert {block.piece_height_mm for block in mixed.blocks} == {D(120), D(450)}

    def test_equal_layers_are_one_block(self) -> None:
        found = stacks(sides("400 400 100"), sides("1200 800 350"), ALL)

        assert [len(stack.blocks) for stack in found] == [1, 1, 1]
        assert [(stack.height_mm, stack.blocks[0].layers) for stack in found] == [(100, 1), (200, 2), (300, 3)]

    def test_a_layer_that_is_not_all_of_one_height_is_repeated_as_a_whole(self) -> None:
        piece, base = sides("400 290 110"), "1200 800"
        layer = packing(piece, sides(f"{base} 400"), ALL)
        assert {block.piece_height_mm for block in layer.blocks} == {D(110), D(290)}

        found = stacks(piece, sides(f"{base} 800"), ALL)

        double = next(stack for stack in found if stack.height_mm == 800)
        assert double.pieces == 2 * layer.pieces
        assert len(double.blocks) == 2 * len(layer.blocks)
        assert_lies_apart_within(double, piece, sides(f"{base} 800"))

    def test_layers_are_all_equal_where_there_are_too_many_mixtures(self) -> None:
        piece, space = sides("23 19 17"), sides("1200 800 1600")
        layers_mm = {packing(piece, (space[0], space[1], side), ALL).height_mm for side in piece}

        found = stacks(piece, space, ALL)

        assert all(any(stack.height_mm % layer_mm == 0 for layer_mm in layers_mm) for stack in found)
        assert found[-1].pieces > volume_bound(piece, space) * 0.9

    def test_nothing_is_stacked_where_nothing_fits(self) -> None:
        assert stacks(sides("900 900 900"), sides("1200 800 1600"), 5) == ()
        assert packing(sides("900 900 900"), sides("1200 800 1600"), 5).height_mm == 0
