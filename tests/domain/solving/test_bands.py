from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.solving.bands import Band, band_problems

D = Decimal
NAMES = ("above_kg", "up_to_kg")


def problems(*bands: tuple[str, str | None]) -> list[tuple[tuple[str | int, ...], str]]:
    found: list[Band] = [(D(above), None if up_to is None else D(up_to)) for above, up_to in bands]
    return [(each.path, each.reason) for each in band_problems(found, ("classes",), NAMES)]


@pytest.mark.parametrize(
    "bands",
    [[("0", "1")], [("0", None)], [("0", "1"), ("1.0", "2"), ("2", "31.5")], [("0", "1"), ("1", "2"), ("2", None)]],
)
def test_bands_that_follow_each_other_have_no_problem(bands: list[tuple[str, str | None]]) -> None:
    assert problems(*bands) == []


@pytest.mark.parametrize(
    ("bands", "place", "reason"),
    [
        (
            [("0", "2"), ("1", "5")],
            (1, "above_kg"),
            "overlaps the entry before it: must be 2, where that one ends (up_to_kg)",
        ),
        (
            [("0", "2"), ("2.5", "5")],
            (1, "above_kg"),
            "leaves a gap after the entry before it: must be 2, where that one ends (up_to_kg)",
        ),
        ([("1", "2"), ("2", "5")], (0, "above_kg"), "must be 0 in the first entry"),
        ([("0", "2"), ("2", "2")], (1, "up_to_kg"), "must be more than above_kg, which is 2"),
        ([("0", "2"), ("2", "1")], (1, "up_to_kg"), "must be more than above_kg, which is 2"),
        ([("0", None), ("2", "5")], (0, "up_to_kg"), "may be left out in the last entry only"),
    ],
)
def test_the_end_that_breaks_the_row_is_named(
    bands: list[tuple[str, str | None]], place: tuple[int, str], reason: str
) -> None:
    found = problems(*bands)

    assert found == [(("classes", *place), reason)]


def test_every_break_is_named_at_once() -> None:
    found = problems(("1", "2"), ("3", "4"), ("3", None), ("5", "5"))

    assert [path for path, _ in found] == [
        ("classes", 0, "above_kg"),
        ("classes", 1, "above_kg"),
        ("classes", 2, "above_kg"),
        ("classes", 2, "up_to_kg"),
        ("classes", 3, "up_to_kg"),
    ]


ends = st.integers(0, 6).map(Decimal)


@given(st.lists(st.tuples(ends, ends | st.none()), min_size=1, max_size=4))
def test_bands_have_no_problem_exactly_if_they_rise_and_contain_every_figure_once(bands: list[Band]) -> None:
    top = max(8 if up_to is None else int(up_to) for _, up_to in bands)
    tried = [D(step) / 4 for step in range(1, top * 4 + 1)]
    holding = {sum(above < figure and (up_to is None or figure <= up_to) for above, up_to in bands) for figure in tried}
    are_rising = all(one < other for (one, _), (other, _) in pairwise(bands))
    are_proper = all(up_to is None or above < up_to for above, up_to in bands)

    found = list(band_problems(bands, (), NAMES))

    assert (not found) == (holding == {1} and are_rising and are_proper)
