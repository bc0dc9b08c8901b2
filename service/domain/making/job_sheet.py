"""The job sheet of a batch: what to fetch, in which steps, and what comes back; in physical quantities, unrounded.

It is the bill of resources laid out by product and step. Nothing of it depends on rates, and nothing of it is money.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.bill_of_resources import BillOfResources, MaterialIssue, Step
from service.domain.making.products import BillLine, Catalogue, Operation, becoming
from service.domain.making.resources import Machine
from service.domain.values.exact import ZERO, exactly
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A material or a sub-assembly that a batch takes, or gives back.

    Attributes:
        item: its reference, for instance "materials/hdpe-flakes".
        name: what the workshop calls it.
        unit: of the quantity.
        operation: the operation it enters or leaves at; empty for a product without operations.
        made_of: the name of the material that it came from, if that is another.
    """

    item: str
    name: str
    unit: Unit
    operation: str
    quantity: Decimal
    made_of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """The people of a grade at a step.

    Attributes:
        grade: what the workshop calls it.
        setup_crew: people during setup.
        attendance: people during the run.
        minutes: of all of them, learning included.
    """

    grade: str
    setup_crew: Decimal
    attendance: Decimal
    minutes: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class JobStep:
    """One operation of the batch.

    Attributes:
        machine: its name; empty for work at a bench.
        tool: the name of the mould or tool; empty if there is none.
        warm_ups: how often the machine is warmed up.
        warm_up_minutes: of all warm-ups.
        run_minutes: cycles × cycle time.
        cycles: repeats for scrap included, as an expected value; 0 where it has none.
        units_per_hour: its throughput; None where it is timed by cycles.
        pieces_started: as an expected value, like the good ones.
        electricity_kwh: None where the machine draws none.
        processing_temperature_c: in degrees Celsius, if the polymer is heated.
        runs_with_previous: whether it works while the step before it still runs.
    """

    operation: str
    machine: str
    tool: str
    warm_ups: int
    warm_up_minutes: Decimal
    setup_minutes: Decimal
    run_minutes: Decimal
    cycles: Decimal
    pieces_per_cycle: Decimal
    units_per_hour: Decimal | None
    pieces_started: Decimal
    pieces_good: Decimal
    electricity_kwh: Decimal | None
    processing_temperature_c: Decimal | None
    runs_with_previous: bool
    people: tuple[Working, ...]

    @property
    def minutes(self) -> Decimal:
        """Warm-ups, setup and run."""
        return self.warm_up_minutes + self.setup_minutes + self.run_minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class JobPart:
    """One product made for the batch: itself, or a sub-assembly.

    Attributes:
        pieces: good pieces, or units of it, wanted.
        fetched: what is drawn from stock for it, in the order of its bill of materials.
        returned: what comes back to be ground up, by operation and material.
        wasted: what has to be disposed of, by operation and material.
    """

    product: str
    name: str
    pieces: Decimal
    unit: Unit
    fetched: tuple[Drawn, ...]
    returned: tuple[Drawn, ...]
    wasted: tuple[Drawn, ...]
    steps: tuple[JobStep, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSheet:
    """What a batch needs, in the order in which it is made: each sub-assembly before what it goes into."""

    product: str
    name: str
    quantity: Decimal
    unit: Unit
    parts: tuple[JobPart, ...]

    @property
    @exactly
    def electricity_kwh(self) -> Decimal:
        """Of all steps."""
        return sum((step.electricity_kwh or ZERO for part in self.parts for step in part.steps), ZERO)


@exactly
def job_sheet(bill: BillOfResources, catalogue: Catalogue) -> JobSheet:
    """The job sheet of a batch, from its bill and the catalogue that the bill was made from."""
    parts = tuple(_part(made, bill, catalogue) for made in reversed(list(bill.pieces_made)))
    return JobSheet(product=bill.product, name=bill.name, quantity=bill.quantity, unit=bill.unit, parts=parts)


def _part(code: str, bill: BillOfResources, catalogue: Catalogue) -> JobPart:
    product = catalogue.products[code]
    issues = [each for each in bill.issues if each.product == code]
    steps = [each for each in bill.steps if each.product == code]
    returned, wasted = dict[_Left, Decimal](), dict[_Left, Decimal]()
    for line, issue in zip(product.bill_of_materials, issues, strict=True):
        again = issue.item if line.reclaimed_as is None else f"materials/{line.reclaimed_as}"
        waste, units = again if line.material is None else issue.item, becoming(line, catalogue) or ZERO
        for operation, lost in _lost(line, issue, steps):
            for found, left, share in (
                (returned, _Left(operation, again, issue.item), line.reclaim_share),
                (wasted, _Left(operation, waste, issue.item), line.disposed_share),
            ):
                found[left] = found.get(left, ZERO) + lost * units * share
    return JobPart(
        product=code,
        name=product.name,
        pieces=bill.pieces_made[code],
        unit=product.unit,
        fetched=tuple(_drawn(each.item, each.operation, each.issued, catalogue) for each in issues if each.issued),
        returned=tuple(_left(each, quantity, catalogue) for each, quantity in returned.items() if quantity),
        wasted=tuple(_left(each, quantity, catalogue) for each, quantity in wasted.items() if quantity),
        steps=tuple(map(_step, steps, product.operations, [catalogue] * len(steps))),
    )


def _lost(line: BillLine, issue: MaterialIssue, steps: list[Step]) -> Iterator[tuple[str, Decimal]]:
    """Where a line of the bill loses how much: at its own operation what is in no piece, at each from there on scrap.

    Together it is what is issued and is not in a good piece:  issued − quantity per piece × pieces.
    """
    names = [step.operation for step in steps]
    entered = names.index(issue.operation) if issue.operation else 0
    in_started = line.quantity_per_piece * steps[entered].pieces_started if steps else issue.in_good_pieces
    yield issue.operation, issue.issued - in_started
    for step in steps[entered:]:
        yield step.operation, line.quantity_per_piece * (step.pieces_started - step.pieces_good)


class _Left(NamedTuple):
    """Where something is left over, as what, and of what it is made."""

    operation: str
    item: str
    made_of: str


def _left(left: _Left, quantity: Decimal, catalogue: Catalogue) -> Drawn:
    drawn = _drawn(left.item, left.operation, quantity, catalogue)
    if left.item == left.made_of:
        return drawn
    return replace(drawn, made_of=_drawn(left.made_of, left.operation, quantity, catalogue).name)


def _drawn(item: str, operation: str, quantity: Decimal, catalogue: Catalogue) -> Drawn:
    collection, _, code = item.partition("/")
    if collection == "products":
        name, unit = catalogue.products[code].name, catalogue.products[code].unit
    else:
        name, unit = catalogue.materials[code].name, catalogue.materials[code].unit
    return Drawn(item=item, name=name, unit=unit, operation=operation, quantity=quantity)


def _step(step: Step, operation: Operation, catalogue: Catalogue) -> JobStep:
    machine = catalogue.machines[step.machine] if step.machine else None
    times = int(_warm_ups(step, operation, machine))
    return JobStep(
        operation=step.operation,
        machine=machine.name if machine else "",
        tool=catalogue.tools[operation.tool].name if operation.tool else "",
        warm_ups=times,
        warm_up_minutes=operation.warm_up_minutes * times,
        setup_minutes=operation.setup_minutes,
        run_minutes=step.run_minutes,
        cycles=step.cycles,
        pieces_per_cycle=operation.pieces_per_cycle,
        units_per_hour=operation.units_per_hour,
        pieces_started=step.pieces_started,
        pieces_good=step.pieces_good,
        electricity_kwh=step.electricity_kwh if machine and machine.draws_power else None,
        processing_temperature_c=operation.processing_temperature_c,
        runs_with_previous=step.runs_with_previous,
        people=tuple(
            Working(
                grade=catalogue.labour_grades[each.labour_grade].name,
                setup_crew=each.setup_crew if operation.setup_minutes else ZERO,
                attendance=each.attendance,
                minutes=step.labour_minutes[each.labour_grade],
            )
            for each in operation.labour
        ),
    )


def _warm_ups(step: Step, operation: Operation, machine: Machine | None) -> Decimal:
    if machine is None or not operation.warm_up_minutes:
        return ZERO
    return machine.warm_ups(operation.setup_minutes + step.run_minutes)
