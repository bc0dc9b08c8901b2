"""When an order can be ready: examples by hand, and laws that hold for any workshop."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.making.bill_of_resources import BillOfResources, Step
from service.domain.making.resources import WORKING_WEEK, Weekday
from service.domain.scheduling.lead_time import LeadTime, WorkingResource, lead_time
from service.domain.scheduling.working_time import Moment, Shift
from tests.domain.examples import D

MONDAY = date(2026, 11, 30)
NOBODY_KNOWS = "nobody knows"


def a_step(machine: str = "", minutes: str = "0", product: str = "sheet", **changes: Any) -> Step:
    """Work on a machine, and minutes of labour grades, as in labour={"operator": "60"}."""
    labour = {grade: D(each) for grade, each in changes.pop("labour", {}).items()}
    nothing = dict.fromkeys(("pieces_good", "pieces_started", "cycles", "electricity_kwh"), D(1))
    return Step(
        product=product,
        operation=f"on {machine}",
        run_minutes=D(minutes),
        machine_minutes=D(minutes),
        learning_factor=D(1),
        machine=machine,
        labour_minutes=labour,
        **nothing,
        **changes,
    )


def a_bill(*steps: Step) -> BillOfResources:
    return BillOfResources(
        product="sheet", name="Sheet", quantity=1, lines=(), value_pools=(), pieces_made={}, steps=steps, issues=()
    )


def a_resource(hours: str = "40", promised: str = "0", weekdays: tuple[Weekday, ...] = WORKING_WEEK) -> WorkingResource:
    known = None if hours == NOBODY_KNOWS else D(hours)
    return WorkingResource(
        name="It", shift=Shift(hours_per_week=known, weekdays=frozenset(weekdays)), minutes_promised=D(promised)
    )


def ready(*bills: BillOfResources, is_rush: bool = False, **resources: WorkingResource) -> LeadTime:
    """The lead time; oven=a_resource() is a machine, operator=a_resource() a labour grade."""
    named = {
        f"{'labour-grades' if code == 'operator' else 'machines'}/{code}": each for code, each in resources.items()
    }
    return lead_time(bills, named, MONDAY, is_rush=is_rush)


class TestStages:
    """Resources work 8 hours a day, from Monday 30 November 2026 on."""

    def test_follow_each_other(self) -> None:
        found = ready(a_bill(a_step("oven", "960"), a_step("press", "480")), oven=a_resource(), press=a_resource())

        assert found.ready_on == date(2026, 12, 2)  # two days in the oven, one in the press
        assert found.bottleneck == "machines/oven"

    def test_that_run_with_the_one_before_are_limited_by_the_slowest(self) -> None:
        steps = a_step("oven", "960"), a_step("press", "480", runs_with_previous=True)

        assert ready(a_bill(*steps), oven=a_resource(), press=a_resource()).ready_on == date(2026, 12, 1)

    def test_on_one_machine_never_run_at_once(self) -> None:
        """A press that both heats and cools, compared with a separate oven and press."""
        steps = a_step("press", "960"), a_step("press", "480", runs_with_previous=True)

        assert ready(a_bill(*steps), press=a_resource()).ready_on == date(2026, 12, 2)

    def test_take_their_people_beside_their_machine(self) -> None:
        step = a_step("press", "480", labour={"operator": "960"})

        found = ready(a_bill(step), press=a_resource(), operator=a_resource())

        assert found.ready_on == date(2026, 12, 1)
        assert found.bottleneck == "labour-grades/operator"

    def test_of_sub_assemblies_come_before_what_they_go_into(self) -> None:
        crate, frame = a_step("press", "480", "crate"), a_step("saw", "480", "frame")

        found = ready(a_bill(crate, frame), press=a_resource(promised="480"), saw=a_resource())

        assert found.ready_on == date(2026, 12, 1)  # sawn while the press does its promised work

    def test_of_two_batches_share_the_machines(self) -> None:
        bill = a_bill(a_step("oven", "480"), a_step("press", "480"))

        found = ready(bill, bill, oven=a_resource(), press=a_resource())

        assert found.ready_on == date(2026, 12, 2)  # the second is in the oven while the first is in the press
        assert [load.minutes_needed for load in found.loads] == [960, 960]

    def test_without_any_work_are_over_at_once(self) -> None:
        found = ready(a_bill(a_step()))

        assert (found.ready_on, found.bottleneck, found.loads) == (MONDAY, None, ())

    @pytest.mark.parametrize("minutes", [2, 6, 8, 16, 24, 32, 48, 80])
    def test_that_fill_a_day_together_are_done_on_it(self, minutes: int) -> None:
        stages = [a_step("press", str(minutes))] * (480 // minutes)

        assert ready(a_bill(*stages), press=a_resource()).ready_on == MONDAY

    @pytest.mark.parametrize("hours", [2, 3, 33, 36, 59])
    def test_that_fill_a_day_in_sixths_are_done_on_it(self, hours: int) -> None:
        stages = [a_step("press", str(hours * 2))] * 6  # a day is hours × 60 ÷ 5 = hours × 12 minutes

        assert ready(a_bill(*stages), press=a_resource(str(hours))).ready_on == MONDAY


class TestPromises:
    def test_come_first(self) -> None:
        found = ready(a_bill(a_step("press", "480")), press=a_resource(promised="2400"))

        assert found.ready_on == date(2026, 12, 7)
        (load,) = found.loads
        assert (load.minutes_promised, load.minutes_needed, load.done_on) == (2400, 480, date(2026, 12, 7))

    def test_wait_for_a_rush_order(self) -> None:
        found = ready(a_bill(a_step("press", "480")), press=a_resource(promised="2400"), is_rush=True)

        assert (found.ready_on, found.is_rush, found.loads[0].minutes_promised) == (MONDAY, True, 0)


class TestHours:
    def test_that_are_unknown_limit_nothing(self) -> None:
        steps = a_step("oven", "9999999"), a_step("press", "480")

        found = ready(a_bill(*steps), oven=a_resource(NOBODY_KNOWS), press=a_resource())

        assert (found.ready_on, found.bottleneck) == (MONDAY, "machines/press")
        assert [(each.resource, each.hours_per_week, each.done_on) for each in found.loads] == [
            ("machines/press", 40, MONDAY),
            ("machines/oven", None, None),
        ]

    def test_that_are_unknown_keep_no_other_batch_waiting(self) -> None:
        """The oven is free for the second batch, although the first gets there only on Wednesday."""
        first = a_bill(a_step("press", "1440"), a_step("oven", "30"))
        second = a_bill(a_step("oven", "30"), a_step("saw", "480"))

        found = ready(first, second, press=a_resource(), oven=a_resource(NOBODY_KNOWS), saw=a_resource())

        assert found.ready_on == date(2026, 12, 2)

    def test_of_people_who_are_not_needed_do_not_count(self) -> None:
        step = a_step("press", "480", labour={"operator": "0"})

        found = ready(a_bill(step), press=a_resource(), operator=a_resource("0", promised="10"))

        assert (found.ready_on, found.bottleneck) == (MONDAY, "machines/press")
        assert [each.resource for each in found.loads] == ["machines/press"]

    @pytest.mark.parametrize("starting_on", [MONDAY, date(9995, 1, 4), date.max])
    def test_too_few_for_steps_that_take_over_ten_years_in_sequence_leave_no_day(self, starting_on: date) -> None:
        """31,000 minutes at one hour a week take 517 weeks; ten years have 522. Three times as much does not fit."""
        steps = [a_step(machine, "31000") for machine in MACHINES]

        found = lead_time([a_bill(*steps)], {f"machines/{each}": a_resource("1") for each in MACHINES}, starting_on)

        assert found.ready_on is None
        assert found.reason.endswith("would not be done within 3660 days")
        assert (found.reason[:10] == "the stages") is (starting_on == MONDAY)

    def test_of_0_leave_no_day_and_the_reason_is_stated(self) -> None:
        found = ready(a_bill(a_step("press", "30"), a_step("saw", "5")), press=a_resource("0"), saw=a_resource())

        assert (found.ready_on, found.bottleneck) == (None, "machines/press")
        assert found.reason == "It works 0 hours a week, and 30 minutes of it are needed"

    def test_too_few_for_a_step_within_ten_years_leave_no_day(self) -> None:
        found = ready(a_bill(a_step("press", "1000000")), press=a_resource("1"))

        assert found.ready_on is None
        assert found.reason == "It would not be done within 3660 days"

    def test_of_0_for_a_needed_grade_leave_no_day(self) -> None:
        step = a_step("press", "10", labour={"operator": "10"})

        assert ready(a_bill(step, step), a_bill(step), press=a_resource(), operator=a_resource("0")).ready_on is None

    def test_are_spread_over_the_days_that_are_worked(self) -> None:
        saturdays = a_resource("4", weekdays=(Weekday.SATURDAY,))

        assert ready(a_bill(a_step("press", "300")), press=saturdays).ready_on == date(2026, 12, 12)


MACHINES = ("oven", "press", "saw")
Loads = list[tuple[str, int, bool]]
loads = st.lists(st.tuples(st.sampled_from(MACHINES), st.integers(1, 2000), st.booleans()), min_size=1, max_size=5)
hours = st.lists(st.integers(1, 60), min_size=3, max_size=3)
promises = st.lists(st.integers(0, 3000), min_size=3, max_size=3)


def the_bill(work: Loads, *, parallel: bool | None = None) -> BillOfResources:
    return a_bill(
        *(
            a_step(machine, str(minutes), runs_with_previous=runs if parallel is None else parallel)
            for machine, minutes, runs in work
        )
    )


def asked(work: Loads, hours: list[int], promised: list[int], parallel: bool | None = None) -> LeadTime:
    resources = {
        machine: a_resource(str(each), str(before))
        for machine, each, before in zip(MACHINES, hours, promised, strict=True)
    }
    return ready(the_bill(work, parallel=parallel), **resources)


def day_of(found: LeadTime) -> date:
    assert found.ready_on is not None
    return found.ready_on


class TestLaws:
    @given(loads, hours, promises, st.integers(0, 2), st.integers(1, 40))
    def test_more_hours_are_never_later(
        self, work: Loads, hours: list[int], promised: list[int], which: int, more: int
    ) -> None:
        longer = [each + more if place == which else each for place, each in enumerate(hours)]

        assert day_of(asked(work, longer, promised)) <= day_of(asked(work, hours, promised))

    @given(loads, hours, promises, st.integers(0, 2), st.integers(1, 3000))
    def test_more_promises_are_never_earlier(
        self, work: Loads, hours: list[int], promised: list[int], which: int, more: int
    ) -> None:
        fuller = [each + more if place == which else each for place, each in enumerate(promised)]

        assert day_of(asked(work, hours, fuller)) >= day_of(asked(work, hours, promised))

    @given(loads, hours, promises)
    def test_stages_at_once_are_never_later_than_one_after_the_other(
        self, work: Loads, hours: list[int], promised: list[int]
    ) -> None:
        at_once, mixed, after = (asked(work, hours, promised, parallel) for parallel in (True, None, False))

        assert day_of(at_once) <= day_of(mixed) <= day_of(after)

    @given(loads, hours, promises)
    def test_an_order_is_ready_no_earlier_than_its_bottleneck_is_done(
        self, work: Loads, hours: list[int], promised: list[int]
    ) -> None:
        found = asked(work, hours, promised)

        done = [each.done_on for each in found.loads if each.done_on is not None]
        assert found.loads[0].done_on == max(done)
        assert found.loads[0].resource == found.bottleneck
        assert day_of(found) >= max(done)

    @given(loads, hours, promises)
    def test_an_independent_computation_in_fractions_of_weeks_agrees(
        self, work: Loads, hours: list[int], promised: list[int]
    ) -> None:
        """Minutes are converted to working days of their machine, whatever its hours, and counted from Monday."""
        per_day = {machine: Fraction(each * 60, 5) for machine, each in zip(MACHINES, hours, strict=True)}
        free = {machine: Fraction(each) / per_day[machine] for machine, each in zip(MACHINES, promised, strict=True)}
        before = end = Fraction(0)
        for place, (machine, minutes, runs) in enumerate(work):
            if not (runs and place):
                before = end
            free[machine] = max(before, free[machine]) + Fraction(minutes) / per_day[machine]
            end = max(end, free[machine])

        last = -(-end // 1) - 1  # the working day in which it ends, 0 for the first
        weeks, days = divmod(int(last), 5)
        assert day_of(asked(work, hours, promised)) == MONDAY.fromordinal(MONDAY.toordinal() + weeks * 7 + days)


class TestLittlesLaw:
    """J. D. C. Little, S. C. Graves, Little's Law, in Building Intuition, Springer, 2008, chapter 5.

    Time = number waiting ÷ rate: 160 bottles at 8 a month stay 20 months; six customers at 12 an hour wait half an
    hour. Months here are weeks and hours are working days, since the law holds in any unit.
    """

    @pytest.mark.parametrize(
        ("waiting", "minutes_each", "hours", "weeks"), [("160", "300", "40", 20), ("6", "100", "20", Decimal("0.5"))]
    )
    def test_promised_work_takes_the_number_waiting_divided_by_the_rate(
        self, waiting: str, minutes_each: str, hours: str, weeks: Any
    ) -> None:
        promised = D(waiting) * D(minutes_each)
        rate_per_week = D(hours) * 60 / D(minutes_each)
        assert D(waiting) / rate_per_week == weeks

        free = a_resource(hours).shift.after(*from_monday(promised))

        assert free is not None
        worked = (free.day - MONDAY).days // 7 * 5 + (free.day - MONDAY).days % 7 + free.share
        assert worked / 5 == weeks


def from_monday(minutes: Decimal) -> Any:
    return Moment.begin_of(MONDAY), minutes
