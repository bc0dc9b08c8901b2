"""Lead time: when an order can be ready, after the work already promised."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.making.bill_of_resources import BillOfResources, Step
from service.domain.scheduling.working_time import GREATEST_DAYS, Moment, Shift, last_day_looked_at
from service.domain.values.exact import ZERO, exactly, snapped
from service.domain.values.shown import Quantity, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkingResource:
    """A machine or a labour grade, its working hours and the minutes already promised."""

    name: str
    shift: Shift
    minutes_promised: Decimal = ZERO


@dataclass(frozen=True, slots=True, kw_only=True)
class ResourceLoad:
    """The time that an order needs of a machine or labour grade, and the time already promised.

    Attributes:
        resource: its reference, for instance "machines/press".
        name: what the workshop calls it.
        minutes_needed: for the order.
        minutes_promised: for accepted orders that are not completed; 0 for a rush order, which goes first.
        hours_per_week: to work in an ordinary week: of people, paid hours × productive share; null if unknown, and
            then it limits nothing.
        done_on: the day on which it would be done with both if it never waited for another resource; null if not within
            ten years, or if it limits nothing.
    """

    resource: str
    name: str
    minutes_needed: Quantity
    minutes_promised: Quantity
    hours_per_week: Quantity | None
    done_on: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadTime:
    """When an order can be ready.

    Attributes:
        starting_on: the day of the order, from which time is counted.
        is_rush: whether it goes before the orders accepted earlier.
        ready_on: the earliest day on which the last piece, or unit, is done; null if not within ten years.
        bottleneck: the machine or labour grade that is done last, for instance "machines/press"; null if nothing limits
            the order.
        bottleneck_name: what the workshop calls the bottleneck.
        reason: why there is no day, if there is none.
        loads: of every machine and labour grade that it needs, the bottleneck first.
    """

    starting_on: date
    is_rush: bool
    ready_on: date | None
    bottleneck: str | None
    bottleneck_name: str
    reason: str
    loads: tuple[ResourceLoad, ...]


@exactly
def lead_time(
    bills: Sequence[BillOfResources],
    resources: Mapping[str, WorkingResource],
    starting_on: date,
    *,
    is_rush: bool = False,
) -> LeadTime:
    """When an order of some batches, begun in their order, can be ready.

    Forward scheduling with finite capacity, first come first served (common practice, no source): a stage begins when
    the stage before it is over and its own machine and people are free; machine and people work in parallel. Stages
    that run with the one before (`runs_with_previous`) begin with it, though never two at once on one machine.
    Sub-assemblies are made before the products that contain them. Times are expected values without reserve.
    """
    before = {resource: ZERO if is_rush else each.minutes_promised for resource, each in resources.items()}
    loads = [
        _load(resource, resources[resource], minutes, before[resource], starting_on)
        for resource, minutes in _needed(bills).items()
        if minutes
    ]
    loads.sort(key=_lateness, reverse=True)
    limiting = next((each for each in loads if each.hours_per_week is not None), None)
    ready = _Schedule(resources, before, starting_on).ready(bills)
    return LeadTime(
        starting_on=starting_on,
        is_rush=is_rush,
        ready_on=None if ready is None else ready.day,
        bottleneck=None if limiting is None else limiting.resource,
        bottleneck_name="" if limiting is None else limiting.name,
        reason="" if ready is not None or limiting is None else _reason(limiting),
        loads=tuple(loads),
    )


def _needed(bills: Iterable[BillOfResources]) -> dict[str, Decimal]:
    needed: dict[str, Decimal] = {}
    for bill in bills:
        for resource, minutes in bill.minutes.items():
            needed[resource] = needed.get(resource, ZERO) + minutes
    return needed


def _load(resource: str, of: WorkingResource, needed: Decimal, promised: Decimal, starting_on: date) -> ResourceLoad:
    done = of.shift.after(Moment.begin_of(starting_on), promised + needed)
    return shown(
        ResourceLoad,
        "",
        of,
        of.shift,
        resource=resource,
        minutes_needed=needed,
        minutes_promised=promised,
        done_on=None if done is None or of.shift.hours_per_week is None else done.day,
    )


def _lateness(load: ResourceLoad) -> tuple[bool, date, Decimal]:
    """The sort key of loads: by the day done, those never done last; then by minutes needed."""
    is_known = load.hours_per_week is not None
    return is_known and load.done_on is None, load.done_on or date.min, load.minutes_needed


def _reason(load: ResourceLoad) -> str:
    if not load.hours_per_week:
        return f"{load.name} works 0 hours a week, and {load.minutes_needed} minutes of it are needed"
    if load.done_on is None:
        return f"{load.name} would not be done within {GREATEST_DAYS} days"
    return f"the stages, one after the other, would not be done within {GREATEST_DAYS} days"


class _Schedule:
    """Schedules the stages of an order, and records when each machine and grade is free again."""

    def __init__(
        self, resources: Mapping[str, WorkingResource], before: Mapping[str, Decimal], starting_on: date
    ) -> None:
        self.resources, self.start = resources, Moment.begin_of(starting_on)
        self.last = last_day_looked_at(starting_on)
        self.free = {resource: each.shift.after(self.start, before[resource]) for resource, each in resources.items()}

    def ready(self, bills: Iterable[BillOfResources]) -> Moment | None:
        """When the last batch is done; None if one never is."""
        ends = [self._batch(bill) for bill in bills]
        known = [each for each in ends if each is not None]
        return max(known) if len(known) == len(ends) else None

    def _batch(self, bill: BillOfResources) -> Moment | None:
        end: Moment | None = self.start
        for stages in _parallel(bill.steps):
            ends = [self._step(step, end) for step in stages] if end is not None else [None]
            done = [each for each in ends if each is not None]
            end = max(done) if len(done) == len(ends) else None
        return end

    def _step(self, step: Step, earliest: Moment) -> Moment | None:
        """When a step is over that can begin at the earliest moment; None if never."""
        minutes = self._limiting(step)
        free = [self.free[resource] for resource in minutes]
        known = [each for each in free if each is not None]
        if len(known) < len(free):
            return None
        begin = max([earliest, *known])
        for resource, each in minutes.items():
            self.free[resource] = self.resources[resource].shift.after(begin, snapped(each), self.last)
        ends = [self.free[resource] for resource in minutes]
        done = [each for each in ends if each is not None]
        return max([begin, *done]) if len(done) == len(ends) else None

    def _limiting(self, step: Step) -> dict[str, Decimal]:
        """Minutes on the resources that can delay the step: those it needs, and whose hours are known."""
        minutes = {f"labour-grades/{grade}": each for grade, each in step.labour_minutes.items()}
        if step.machine:
            minutes[f"machines/{step.machine}"] = step.machine_minutes
        return {
            resource: each
            for resource, each in minutes.items()
            if each and self.resources[resource].shift.hours_per_week is not None
        }


def _parallel(steps: Sequence[Step]) -> Iterator[list[Step]]:
    """Groups of steps that run at once, in the order of work; a bill lists the product made last first."""
    products = list(dict.fromkeys(step.product for step in steps))
    for product in reversed(products):
        stages: list[Step] = []
        for step in steps:
            if step.product != product:
                continue
            if stages and not step.runs_with_previous:
                yield stages
                stages = []
            stages.append(step)
        yield stages
