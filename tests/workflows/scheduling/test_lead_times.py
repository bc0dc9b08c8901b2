"""When a batch can be ready, and which time of the coming weeks is taken, from stored data."""

from datetime import date

import pytest

from service.domain.values.errors import InvalidValuesError
from service.workflows.lead_times import Capacity, ResourceCapacity, capacity, lead_time_of
from tests.domain.examples import D
from tests.support import builders
from tests.workflows.owner import Owner

MONDAY = date(2026, 11, 30)
OPERATOR = "labour-grades/operator"
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


def test_a_batch_has_parts_of_a_unit_that_has_parts(timed: Owner) -> None:
    """12.5 h of press work at one an hour take 20 + 750 minutes of the 480 a day."""
    by_the_hour = builders.operation(cycle_minutes="0", units_per_hour="1", yield_share="1")
    timed.put("products/press-work", builders.product(unit="hour", bill_of_materials=[], operations=[by_the_hour]))

    found = lead_time_of(timed.workspace, "press-work", D("12.5"), MONDAY, is_rush=False)

    assert (found.loads[0].minutes_needed, found.ready_on) == (770, date(2026, 12, 1))
    with pytest.raises(InvalidValuesError, match=r"^quantity: must be whole: pieces are not divided$"):
        lead_time_of(timed.workspace, "sheet", D("12.5"), MONDAY, is_rush=False)


class TestPaidHours:
    """Three quarters of the paid hours are worked: 7.5 of 10 a week, 90 minutes a working day."""

    @pytest.fixture
    def manned(self, furnished: Owner) -> Owner:
        """20 sheets take the operator 230.526… minutes."""
        furnished.put("labour-grades/operator", {"name": "Operator", "hours_per_week": "10"})
        furnished.put_rate(OPERATOR, "2026-06-01", builders.labour_rate(productive_share="0.75"))
        return furnished

    @pytest.mark.parametrize(
        ("starting_on", "hours", "ready"),
        [(MONDAY, "7.5", date(2026, 12, 2)), (date(2026, 5, 25), "10", date(2026, 5, 26))],
    )
    def test_are_worked_by_the_productive_share_of_the_rate_of_the_day(
        self, manned: Owner, starting_on: date, hours: str, ready: date
    ) -> None:
        found = lead_time_of(manned.workspace, "sheet", 20, starting_on, is_rush=False)

        (operator,) = (each for each in found.loads if each.resource == OPERATOR)
        assert (operator.hours_per_week, operator.done_on, found.ready_on) == (D(hours), ready, ready)

    def test_count_so_in_the_coming_weeks_and_change_nothing_promised(self, manned: Owner) -> None:
        manned.accepted()

        (operator,) = (each for each in coming(manned).resources if each.resource == OPERATOR)

        assert (operator.hours_per_week, operator.minutes_available) == (D("7.5"), D(900))
        assert operator.minutes_promised == D("230.526315789")

    def test_are_whole_hours_of_a_grade_without_a_rate(self, manned: Owner) -> None:
        manned.put("labour-grades/helper", {"name": "Helper", "hours_per_week": "10"})

        hours = {each.resource: each.hours_per_week for each in coming(manned).resources}

        assert hours["labour-grades/helper"] == 10

    def test_are_those_paid_by_the_month_where_no_hours_a_week_are_registered(self, manned: Owner) -> None:
        """65 of a month are 15 of a week."""
        manned.put("labour-grades/operator", {"name": "Operator"})
        terms = builders.labour_rate(productive_share="0.75", paid_hours_per_month="32.5", people="2")
        manned.put_rate(OPERATOR, "2026-06-01", terms)

        hours = {each.resource: each.hours_per_week for each in coming(manned).resources}

        assert hours[OPERATOR] == D("11.25")
        assert manned.plan_month().loads[0].minutes_available == 2925  # 65 × 0.75 × 60

    def test_count_so_in_a_month(self, manned: Owner) -> None:
        (operator, _) = manned.plan_month(weeks="4").loads

        assert (operator.resource, operator.minutes_available) == (OPERATOR, 1800)

    def test_count_so_on_a_quotation(self, manned: Owner) -> None:
        ready = manned.preview(quoted_on="2026-11-30").remarks.lead_time

        assert ready is not None
        assert ready.ready_on == date(2026, 12, 2)


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
