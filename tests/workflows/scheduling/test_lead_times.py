"""When a batch can be ready, and which time of the coming weeks is taken, from stored data."""

from datetime import date

import pytest

from service.workflows.lead_times import Capacity, ResourceCapacity, capacity, lead_time_of
from tests.domain.examples import D
from tests.support import builders
from tests.workflows.owner import Owner

MONDAY = date(2026, 11, 30)
MOVE = {"name": "Move", "first_day": "2026-12-01", "last_day": "2026-12-06"}


@pytest.fixture
def timed(furnished: Owner) -> Owner:
    """20 sheets take 20 + 20 ÷ 0.95 × 40 = 862.105… minutes on the press, which has 480 a day."""
    furnished.put("machines/press", builders.machine(hours_per_week="40"))
    return furnished


def ready_on(owner: Owner, *, is_rush: bool = False) -> date | None:
    return lead_time_of(owner.workspace, "sheet", 20, MONDAY, is_rush=is_rush).ready_on


def coming(owner: Owner, weeks: int = 2) -> Capacity:
    return capacity(owner.workspace, MONDAY, weeks)


def test_a_batch_leaves_out_days_on_which_the_workshop_is_closed(timed: Owner) -> None:
    assert ready_on(timed) == date(2026, 12, 1)

    timed.put("closures/move", MOVE)

    assert ready_on(timed) == date(2026, 12, 7)


def test_a_batch_comes_after_what_is_accepted_unless_it_is_a_rush(timed: Owner) -> None:
    timed.accepted()

    assert ready_on(timed) == date(2026, 12, 3)  # twice 862.105… minutes are 3.6 days
    assert ready_on(timed, is_rush=True) == date(2026, 12, 1)


class TestCapacity:
    def test_states_the_minutes_of_some_weeks_without_closures_and_those_promised(self, timed: Owner) -> None:
        timed.put("closures/move", MOVE)
        timed.accepted()

        found = coming(timed)

        assert (found.starting_on, found.ending_on) == (MONDAY, date(2026, 12, 13))
        assert [each for each in found.resources if each.resource == "machines/press"] == [
            ResourceCapacity(
                resource="machines/press",
                name="Sheet press",
                hours_per_week=D(40),
                minutes_available=D(2880),  # a Monday, and the five days after the move: 6 × 480
                minutes_promised=D("862.105263158"),
                free_on=date(2026, 12, 7),
            )
        ]

    def test_of_a_resource_without_known_hours_is_unknown_though_minutes_are_promised(self, timed: Owner) -> None:
        timed.accepted()

        (operator,) = (each for each in coming(timed).resources if each.resource == "labour-grades/operator")

        assert (operator.hours_per_week, operator.minutes_available, operator.free_on) == (None, None, None)
        assert operator.minutes_promised == D("230.526315789")  # 20 + 842.105… × 0.25

    def test_of_a_resource_with_0_hours_is_never_free(self, timed: Owner) -> None:
        timed.accepted()
        timed.put("machines/press", builders.machine(hours_per_week="0"))

        (press,) = (each for each in coming(timed).resources if each.resource == "machines/press")

        assert (press.minutes_available, press.free_on) == (D(0), None)
