"""The product as a batch made it: its facts changed so that the bill of resources comes to what was counted."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from service.domain.making.bill_of_resources import BillOfResources, Step
from service.domain.making.explosion import bill_of_resources
from service.domain.making.nesting import made_in_order
from service.domain.making.overheads import OverheadBase
from service.domain.making.products import Catalogue, Operation, Product, Tooling
from service.domain.records.batch_record import BatchRecord, OperationCount
from service.domain.records.flows import Flow, counted_flows
from service.domain.records.observation import Fact, Observation
from service.domain.values.errors import InvalidValueError, InvalidValuesError, Path
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, ZERO

Changes = Mapping[tuple[str, str], Mapping[str, Any]]
"""By product and operation, the members that are changed."""


def changed(catalogue: Catalogue, changes: Changes) -> Catalogue:
    """The catalogue with changed operations."""
    products = dict(catalogue.products)
    for code in {product for product, _ in changes}:
        product = products[code]
        operations = (replace(each, **changes.get((code, each.name), {})) for each in product.operations)
        products[code] = replace(product, operations=tuple(operations))
    return replace(catalogue, products=products)


def operation_of(step: Step, catalogue: Catalogue) -> Operation:
    """The operation that a step of a bill is made from."""
    return next(each for each in catalogue.products[step.product].operations if each.name == step.operation)


@dataclass(slots=True)
class Made:
    """A batch on its way from its standard bill to the one that comes to what was counted.

    Attributes:
        catalogue: the facts, as far as what was counted has changed them.
        tooling: how every tool is charged; None where each operation says so itself.
        orders: how many orders it is.
        units: good ones; of a batch without any, those that reached the last operation that any reached.
        observations: what was counted of each fact.
        problems: counts that cannot be.
    """

    record: BatchRecord
    catalogue: Catalogue
    tooling: Tooling | None
    orders: Decimal
    units: Decimal
    observations: list[Observation]
    problems: list[InvalidValueError]

    def bill(self) -> BillOfResources:
        return bill_of_resources(self.record.product, self.units, self.catalogue, self.tooling, self.orders)

    def change(self, changes: Changes) -> None:
        self.catalogue = changed(self.catalogue, changes)

    def refuse(self, path: Path, reason: str) -> None:
        self.problems.append(InvalidValueError(path, reason))


def begin(made: Made) -> None:
    """Takes the units through the operations as they were counted: a product's yields become those of the batch.

    Raises:
        InvalidValuesError: the units started and the scrap do not agree.
    """
    record = made.record
    scrap = _scrap_of(record)
    for code in made_in_order(record.product, made.catalogue.products):
        started = record.units_started if code == record.product else None
        if code not in scrap and started is None:
            continue
        product = made.catalogue.products[code]
        units = record.good_units if code == record.product else made.bill().pieces_made[code]
        try:
            flows = counted_flows(product.operations, units, scrap.get(code, {}), started)
        except InvalidValueError as error:
            raise InvalidValuesError([error]) from None
        made.observations += _yields(code, product, flows)
        if units:
            through = zip(product.operations, flows, strict=True)
            made.change({(code, each.name): {"yield_share": _yield(flow)} for each, flow in through})
        else:
            _lose_all(made, product, flows)


def _scrap_of(record: BatchRecord) -> Mapping[str, Mapping[str, Decimal]]:
    """The scrap that was counted, by product and operation."""
    found: dict[str, dict[str, Decimal]] = {}
    for each in record.operations:
        if each.scrap is not None:
            found.setdefault(each.product or record.product, {})[each.operation] = each.scrap
    return found


def _yield(flow: Flow) -> Decimal:
    return flow.good / flow.started


def _yields(code: str, product: Product, flows: tuple[Flow, ...]) -> Iterator[Observation]:
    for operation, flow in zip(product.operations, flows, strict=True):
        if flow.is_counted and flow.started:
            yield Observation(
                fact=Fact.YIELD_SHARE, product=code, item=operation.name, weight=flow.started, amount=flow.good
            )


def _lose_all(made: Made, product: Product, flows: tuple[Flow, ...]) -> None:
    """Changes the product of a batch without a good unit so that it ends at the last operation that any unit reached.

    All material that was issued is then in no good unit. A pool on good units bears on none.
    """
    code = made.record.product
    reached = [(each, flow) for each, flow in zip(product.operations, flows, strict=True) if flow.started]
    names = [operation.name for operation, _ in reached]
    made.units = reached[-1][1].started
    yields = [*(_yield(flow) for _, flow in reached[:-1]), ONE]
    lines = [each for each in product.bill_of_materials if each.operation is None or each.operation in names]
    _put(
        made,
        replace(
            product,
            operations=tuple(replace(each[0], yield_share=share) for each, share in zip(reached, yields, strict=True)),
            bill_of_materials=tuple(lines),
        ),
    )
    issues = [each for each in made.bill().issues if each.product == code]
    lost = (
        replace(line, quantity_per_piece=ZERO, process_loss_share=ZERO, quantity_per_batch=issue.issued)
        for line, issue in zip(lines, issues, strict=True)
    )
    _put(made, replace(made.catalogue.products[code], bill_of_materials=tuple(lost)))
    pools = {name: each for name, each in made.catalogue.overheads.items() if each.base is not OverheadBase.PIECE}
    made.catalogue = replace(made.catalogue, overheads=pools)


def _put(made: Made, product: Product) -> None:
    made.catalogue = replace(made.catalogue, products={**made.catalogue.products, made.record.product: product})


def take_time(made: Made, begun: BillOfResources) -> None:
    """Makes each operation take the minutes that were counted."""
    steps = {(each.product, each.operation): each for each in begun.steps}
    changes = {}
    for place, count in enumerate(made.record.operations):
        key = count.product or made.record.product, count.operation
        if key in steps:
            if count.minutes is not None or count.setup_minutes is not None:
                changes[key] = _times(made, steps[key], count)
        elif count.minutes or count.setup_minutes:
            reason = "must be left out: no unit came as far as this operation"
            made.refuse(("operations", place, "minutes"), reason)
    made.change(changes)


def _times(made: Made, step: Step, count: OperationCount) -> Mapping[str, Decimal | None]:
    """The set-up and warm-up minutes and the cycle or throughput with which an operation takes what was counted.

    What is beyond set-up and warm-up was run. Where it took less than these, all that was not counted took less in the
    same proportion, and nothing is learnt of its cycles.
    """
    operation = operation_of(step, made.catalogue)
    machine = made.catalogue.machines.get(step.machine)
    setup = operation.setup_minutes if count.setup_minutes is None else count.setup_minutes
    warm_up, run = step.machine_minutes - step.run_minutes - operation.setup_minutes, step.run_minutes
    if machine is None:
        warm_up = ZERO
    if count.minutes is not None:
        run = count.minutes - setup - warm_up
        if run < 0:
            counted = ZERO if count.setup_minutes is None else setup
            estimated = setup + warm_up + step.run_minutes - counted
            share = (count.minutes - counted) / estimated
            setup = setup if count.setup_minutes is not None else setup * share
            warm_up, run = warm_up * share, step.run_minutes * share
        elif operation.units_per_hour is None:
            made.observations.append(_observed(Fact.CYCLE_MINUTES, step, step.cycles, run))
        else:
            hours = run / MINUTES_PER_HOUR
            made.observations.append(_observed(Fact.UNITS_PER_HOUR, step, hours, step.pieces_started))
    if count.setup_minutes is not None:
        made.observations.append(_observed(Fact.SETUP_MINUTES, step, ONE, setup))
    times = ONE if machine is None else machine.warm_ups(setup + run)
    return {"setup_minutes": setup, "warm_up_minutes": warm_up / times, **_pace(operation, step, run)}


def _pace(operation: Operation, step: Step, run: Decimal) -> Mapping[str, Decimal | None]:
    """The cycle or the throughput with which an operation runs for so many minutes; a run of none has no throughput."""
    if operation.units_per_hour is None:
        return {"cycle_minutes": run / step.cycles}
    return {"units_per_hour": step.pieces_started * MINUTES_PER_HOUR / run if run else None}


def _observed(fact: Fact, step: Step, weight: Decimal, amount: Decimal) -> Observation:
    return Observation(fact=fact, product=step.product, item=step.operation, weight=weight, amount=amount)
