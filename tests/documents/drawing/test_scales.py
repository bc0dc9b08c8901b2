"""Tick values on axes are round and enclose the data; labels do not overlap."""

from datetime import date
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.documents.drawing.scales import Label, amount_marks, day_marks, without_overlap
from tests.domain.strategies import tried

amounts = st.decimals("-1000000", "1000000000000000000000000", places=6)
days = st.dates(date(2000, 1, 1), date(2400, 12, 31))


class TestAmounts:
    @pytest.mark.parametrize(
        ("least", "greatest", "marks"),
        [
            ("4.20", "5.10", ["4.2", "4.4", "4.6", "4.8", "5.0", "5.2"]),
            ("0", "100", ["0", "20", "40", "60", "80", "100"]),
            ("3", "3", ["2.6", "2.8", "3.0", "3.2", "3.4"]),
            ("0", "0", ["-1", "-0.5", "0", "0.5", "1"]),
            ("-3", "1", ["-3", "-2", "-1", "0", "1"]),
            ("0.000001", "0.000002", ["0.000001", "0.0000012", "0.0000014", "0.0000016", "0.0000018", "0.000002"]),
        ],
    )
    def test_are_round(self, least: str, greatest: str, marks: list[str]) -> None:
        assert list(amount_marks(Decimal(least), Decimal(greatest))) == [Decimal(mark) for mark in marks]

    @tried
    @given(amounts, amounts)
    def test_are_three_to_seven_evenly_apart_and_enclose_both_ends(self, one: Decimal, other: Decimal) -> None:
        least, greatest = min(one, other), max(one, other)

        marks = amount_marks(least, greatest)

        assert 3 <= len(marks) <= 7
        assert len({after - before for before, after in pairwise(marks)}) == 1
        assert marks[0] <= least
        assert marks[-1] >= greatest
        assert marks[1] > least or least == greatest
        assert marks[-2] < greatest or least == greatest


class TestDays:
    @pytest.mark.parametrize(
        ("first", "last", "marks"),
        [
            ("2026-11-25", "2026-11-25", ["2026-11-25"]),
            ("2026-11-23", "2026-11-25", ["2026-11-23", "2026-11-24", "2026-11-25"]),
            ("2026-11-01", "2026-11-25", ["2026-11-01", "2026-11-08", "2026-11-15", "2026-11-22"]),
            ("2026-08-31", "2026-11-25", ["2026-09-01", "2026-10-01", "2026-11-01"]),
            ("2026-01-01", "2026-11-25", ["2026-01-01", "2026-04-01", "2026-07-01", "2026-10-01"]),
            ("2022-01-03", "2026-11-25", ["2023-01-01", "2024-01-01", "2025-01-01", "2026-01-01"]),
        ],
    )
    def test_are_every_few_days_or_firsts_of_months(self, first: str, last: str, marks: list[str]) -> None:
        found = day_marks(date.fromisoformat(first), date.fromisoformat(last))

        assert [day.isoformat() for day in found] == marks

    @tried
    @given(days, days)
    def test_are_one_to_seven_within_both_ends(self, one: date, other: date) -> None:
        first, last = min(one, other), max(one, other)

        marks = day_marks(first, last)

        assert 1 <= len(marks) <= 7
        assert first <= marks[0]
        assert marks[-1] <= last
        assert list(marks) == sorted(set(marks))


class TestLabels:
    def test_a_label_takes_its_next_place_if_it_would_cover_an_earlier_one(self) -> None:
        above, below = (Label(text="€4.20", x=x, y=50, places=(-13, 13)) for x in (10, 12))

        first, second = without_overlap([above, below])

        assert (first.places, second.places) == ((-13,), (13,))

    def test_a_label_without_a_place_is_left_out_and_earlier_ones_stay(self) -> None:
        labels = [Label(text=text, x=10, y=50, places=(0,)) for text in ("first", "second")]

        assert [label.text for label in without_overlap(labels)] == ["first"]

    def test_a_label_that_ends_at_its_point_leaves_room_behind_it(self) -> None:
        before = Label(text="€4.20", x=100, y=50, places=(0,), is_before=True)
        behind = Label(text="€4.30", x=100, y=50, places=(0,))

        assert len(without_overlap([before, behind])) == 2

    @tried
    @given(
        st.lists(
            st.builds(
                Label,
                text=st.sampled_from(["€1", "€4.200000", "€123,456.00"]),
                x=st.integers(0, 200),
                y=st.integers(0, 60),
                places=st.just((-13, 13, -27)),
                is_before=st.booleans(),
            ),
            max_size=20,
        )
    )
    def test_no_two_cover_each_other(self, labels: list[Label]) -> None:
        found = without_overlap(labels)

        assert not any(one.covers(other) for place, one in enumerate(found) for other in found[:place])
