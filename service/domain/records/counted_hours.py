"""The hours of labour and the kilowatt-hours of a batch, as they were counted."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any, NamedTuple

from service.domain.making.bill_of_resources import BillOfResources, Step
from service.domain.making.products import Attendance, Operation
from service.domain.making.resources import STANDING, Machine
from service.domain.records.as_made import Made, operation_of
from service.domain.records.batch_record import LabourCount
from service.domain.records.observation import Fact, Observation
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, ZERO
from service.domain.values.references import part_of

_MOST_PEOPLE = 1000
"""At one operation; the bound of `Attendance`."""


class _Work(NamedTuple):
    """The people of one grade at a step."""

    step: Step
    operation: Operation
    people: Attendance

    @property
    def setup_minutes(self) -> Decimal:
        return self.operation.setup_minutes * self.people.setup_crew

    @property
    def minutes_a_person(self) -> Decimal:
        """Of the run, learning included."""
        return self.step.run_minutes * self.step.learning_factor

    def with_people(self, setup_crew: Decimal, attendance: Decimal) -> Iterator[Attendance]:
        """The people at the operation, with other figures for the grade; without it if nobody of it worked."""
        for each in self.operation.labour:
            if each is not self.people:
                yield each
            elif setup_crew or attendance:
                yield replace(each, setup_crew=setup_crew, attendance=attendance)


def employ(made: Made, timed: BillOfResources) -> None:
    """Makes each grade work the hours that were counted, over all operations.

    Its set-ups take as long as estimated, and what is beyond them is the run, in proportion to the attendance. Where
    the hours are fewer than those of the set-ups, all its work took less in the same proportion.
    """
    for place, count in enumerate(made.record.labour):
        works = [
            _Work(step, operation, people)
            for step, operation in ((each, operation_of(each, made.catalogue)) for each in timed.steps)
            for people in operation.labour
            if people.labour_grade == count.labour_grade
        ]
        _employ(made, works, count, place)


def _employ(made: Made, works: Sequence[_Work], count: LabourCount, place: int) -> None:
    setups = sum((each.setup_minutes for each in works), ZERO)
    run = sum((each.minutes_a_person * each.people.attendance for each in works), ZERO)
    if not setups and not run:
        if count.hours != 0:
            reason = "must be left out: by the operations that these units came through, this grade takes no time"
            made.refuse(("labour", place, "labour_grade"), reason)
        return
    if count.hours is None:
        return
    counted = count.hours * MINUTES_PER_HOUR
    is_run_counted = bool(run) and counted >= setups
    of_setup, of_run = (ONE, (counted - setups) / run) if is_run_counted else (counted / (setups + run),) * 2
    now = [(each.people.setup_crew * of_setup, each.people.attendance * of_run) for each in works]
    if any(max(each) > _MOST_PEOPLE for each in now):
        reason = f"would be more than {_MOST_PEOPLE} people at an operation; check the hours, and the units"
        made.refuse(("labour", place, "hours"), reason)
        return
    changes: dict[tuple[str, str], Mapping[str, Any]] = {}
    for work, (crew, attendance) in zip(works, now, strict=True):
        changes[work.step.product, work.step.operation] = {"labour": tuple(work.with_people(crew, attendance))}
        if is_run_counted and (weight := work.minutes_a_person):
            made.observations.append(
                _observed(Fact.ATTENDANCE, work.step, weight, weight * attendance, count.labour_grade)
            )
    made.change(changes)


def _observed(fact: Fact, step: Step, weight: Decimal, amount: Decimal, grade: str = "") -> Observation:
    return Observation(fact=fact, product=step.product, item=step.operation, grade=grade, weight=weight, amount=amount)


class _Run(NamedTuple):
    """A step that draws electricity."""

    step: Step
    operation: Operation
    machine: Machine

    @property
    def load_factor(self) -> Decimal:
        own = self.operation.load_factor
        return self.machine.load_factor if own is None else own

    @property
    def rated_kwh(self) -> Decimal:
        """Of the run, at the machine's rated power."""
        return self.step.run_minutes * self.machine.rated_power_kw / MINUTES_PER_HOUR


def power(made: Made, timed: BillOfResources) -> None:
    """Makes the machines of each tariff draw the kilowatt-hours that were counted.

    Warm-ups and set-ups draw what they are estimated to, and what is beyond them is the run, by its load factor. Where
    that would be above 1, or the kilowatt-hours are fewer, all that the machines draw changes in proportion.
    """
    estimated = {line.resource: line.quantity for line in timed.lines}
    counted: dict[str, dict[str, Decimal]] = {}
    for place, count in enumerate(made.record.electricity):
        # All bands together are counted by what every tariff has: the kilowatt-hours that its standing charge is for.
        part = STANDING if count.band is None else count.band
        kwh = count.counted_kwh
        if not estimated.get(part_of(f"tariffs/{count.tariff}", STANDING if kwh is not None else part)):
            if kwh != 0:
                reason = "must be left out: by the operations that these units came through, none of it is used"
                made.refuse(("electricity", place, "tariff"), reason)
        elif kwh is not None:
            counted.setdefault(count.tariff, {})[part] = kwh
    for tariff, bands in counted.items():
        runs = list(_runs(made, timed, tariff))
        if STANDING in bands:
            _power(made, runs, bands[STANDING])
            continue
        of_bands = {
            band: bands.get(band, estimated.get(part_of(f"tariffs/{tariff}", band), ZERO))
            for band in made.catalogue.tariffs[tariff].bands
        }
        _power(made, runs, sum(of_bands.values(), ZERO))
        if shares := dict(_shares(of_bands)):
            made.change({(each.step.product, each.step.operation): {"band_shares": shares} for each in runs})


def _runs(made: Made, timed: BillOfResources, tariff: str) -> Iterator[_Run]:
    for step in timed.steps:
        machine = made.catalogue.machines.get(step.machine)
        if machine is not None and machine.tariff == tariff:
            yield _Run(step, operation_of(step, made.catalogue), machine)


def _power(made: Made, runs: Sequence[_Run], kwh: Decimal) -> None:
    drawn = sum((each.step.electricity_kwh for each in runs), ZERO)
    of_run = sum((each.rated_kwh * each.load_factor for each in runs), ZERO)
    is_run_counted = bool(of_run) and kwh >= drawn - of_run
    share = (kwh - drawn + of_run) / of_run if is_run_counted else ZERO
    if is_run_counted:
        made.observations += (
            _observed(Fact.LOAD_FACTOR, each.step, each.rated_kwh, each.rated_kwh * each.load_factor * share)
            for each in runs
            if each.rated_kwh
        )
    if share and all(each.load_factor * share <= 1 for each in runs):
        made.change(
            {(each.step.product, each.step.operation): {"load_factor": each.load_factor * share} for each in runs}
        )
    else:
        machines = {each.step.machine: _stronger(each.machine, kwh / drawn) for each in runs}
        made.catalogue = replace(made.catalogue, machines={**made.catalogue.machines, **machines})


def _stronger(machine: Machine, times: Decimal) -> Machine:
    return replace(
        machine,
        rated_power_kw=machine.rated_power_kw * times,
        idle_power_kw=machine.idle_power_kw * times,
        warm_up_power_kw=machine.warm_up_power_kw * times,
    )


def _shares(of_bands: Mapping[str, Decimal]) -> Iterator[tuple[str, Decimal]]:
    """The share of each band that drew anything; the last one's is what is left, so that they add up to 1."""
    drawn = {band: each for band, each in of_bands.items() if each}
    kwh, left = sum(drawn.values(), ZERO), ONE
    for place, (band, each) in enumerate(drawn.items(), start=1):
        share = left if place == len(drawn) else each / kwh
        yield band, share
        left -= share
