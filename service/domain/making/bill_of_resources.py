"""The bill of resources: everything one batch consumes, in physical units."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import NamedTuple

from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import OverheadBase
from service.domain.making.products import Tooling
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, ZERO, exactly, snapped
from service.domain.values.references import part_in, whole_of
from service.domain.values.shown import Quantity
from service.domain.values.units import Unit

_WORKING = ("machines/", "labour-grades/")


@dataclass(frozen=True, slots=True, kw_only=True)
class ResourceLine:
    """What a batch consumes of one resource.

    Attributes:
        resource: its reference, for instance "tariffs/grid#day".
        name: what the workshop calls it.
        unit: the unit of the quantity.
        cost_class: the heading it stands under.
        variable: whether its cost varies with the volume; on a bill, labour does, for only its rate says that it is
            paid by the month.
        quantity: for the whole batch; reclaimed material has a negative rate.
    """

    resource: str
    name: str
    unit: str
    cost_class: CostClass
    variable: bool
    quantity: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class ValuePool:
    """A pool of overhead as a share of a subtotal, which is known once the sheet is priced.

    Attributes:
        resource: its reference, for instance "overheads/purchasing".
        name: what the workshop calls it.
        base: the subtotal it is a share of.
        variable: whether its cost varies with the volume.
    """

    resource: str
    name: str
    base: OverheadBase
    variable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """The quantities of one operation.

    Attributes:
        product: code of the product or sub-assembly.
        operation: its name.
        pieces_good: good pieces, or units of the product, wanted from it.
        pieces_started: pieces that must be started, as an expected value.
        cycles: cycles of the machine, repeats for scrap included; 0 where it is timed by
            throughput and wears no tool.
        run_minutes: cycles × cycle time, or the pieces started ÷ throughput.
        machine_minutes: setup, warm-up and run; 0 for work at a bench.
        electricity_kwh: drawn by its machine.
        learning_factor: factor on the labour time of the run; 1 for a well-known product.
        machine: code of its machine; empty for work at a bench.
        labour_minutes: of each grade, set-up and run, learning included.
        runs_with_previous: whether it works while the step before it still runs.
        learning_model: cumulative_average or unit; empty for a well-known product.
        setups: 1 if it is set up for the batch, else 0.
    """

    product: str
    operation: str
    pieces_good: Quantity
    pieces_started: Quantity
    cycles: Quantity
    run_minutes: Quantity
    machine_minutes: Quantity
    electricity_kwh: Quantity
    learning_factor: Quantity
    machine: str = ""
    labour_minutes: Mapping[str, Quantity] = field(default_factory=dict)
    runs_with_previous: bool = False
    learning_model: str = ""
    setups: Quantity = ZERO


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialIssue:
    """The material or sub-assembly drawn from stock for one product's batch.

    Attributes:
        product: code of the product it is drawn for.
        item: the material or sub-assembly, for instance "materials/hdpe-flakes".
        operation: name of the operation it enters at; empty for a product without operations.
        issued: quantity drawn from stock.
        in_good_pieces: the part of it that is in good pieces.
        reclaimed: the part of it that is lost and ground up again, in units of what it is then.
        reclaimed_as: code of the material that it is then; empty if it is the same.
        disposed: the part of it that is lost and has to be got rid of; of a sub-assembly in units of that material.
    """

    product: str
    item: str
    operation: str
    issued: Quantity
    in_good_pieces: Quantity
    reclaimed: Quantity = ZERO
    reclaimed_as: str = ""
    disposed: Quantity = ZERO


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductBatch:
    """A batch of a product.

    Attributes:
        product: code of the product.
        name: its name.
        quantity: good pieces in the batch, or units of the product.
        unit: what the product is made and sold by.
    """

    product: str
    name: str
    quantity: Quantity
    unit: Unit = Unit.PIECE


@dataclass(frozen=True, slots=True, kw_only=True)
class BillOfResources(ProductBatch):
    """Everything one batch consumes, with the operations and issues behind it.

    Attributes:
        lines: one for each resource, in the order of the cost sheet.
        value_pools: overhead that is a share of a subtotal.
        pieces_made: good pieces of the product and of each sub-assembly made for it.
        steps: the operations.
        issues: materials and sub-assemblies drawn.
        tooling: how every tool is charged; None where each operation says so itself.
        orders: how many orders the batch is sold in.
    """

    lines: tuple[ResourceLine, ...]
    value_pools: tuple[ValuePool, ...]
    pieces_made: Mapping[str, Quantity]
    steps: tuple[Step, ...]
    issues: tuple[MaterialIssue, ...]
    tooling: Tooling | None = None
    orders: Quantity = ONE

    @property
    def resources(self) -> tuple[str, ...]:
        """The resources whose rates price the batch, each once, without their parts."""
        named = (*(line.resource for line in self.lines), *(pool.resource for pool in self.value_pools))
        return tuple(dict.fromkeys(whole_of(resource) for resource in named))

    @property
    def tools_bought(self) -> tuple[str, ...]:
        """The tools that the batch pays for as a whole."""
        bought = (each for each in self.lines if each.cost_class is CostClass.TOOLING and part_in(each.resource))
        return tuple(whole_of(line.resource) for line in bought)

    @property
    def minutes(self) -> Mapping[str, Decimal]:
        """Minutes of every machine and labour grade, by resource."""
        if not any(step.machine or step.labour_minutes for step in self.steps):
            # Bills stored before steps named machine and grades have the hours only.
            return {
                line.resource: line.quantity * MINUTES_PER_HOUR
                for line in self.lines
                if line.resource.startswith(_WORKING)
            }
        found: dict[str, Decimal] = {}
        for step in self.steps:
            named = {f"machines/{step.machine}": step.machine_minutes} if step.machine else {}
            named |= {f"labour-grades/{grade}": minutes for grade, minutes in step.labour_minutes.items()}
            for resource, minutes in named.items():
                found[resource] = found.get(resource, ZERO) + minutes
        return found

    @exactly
    def less(self, parts: Mapping[str, Decimal]) -> "BillOfResources":
        """The bill less so much of some parts of resources; without a line of which nothing is left."""
        if not parts:
            return self
        lines = (
            replace(line, quantity=line.quantity - parts[line.resource]) if line.resource in parts else line
            for line in self.lines
            if snapped(parts.get(line.resource, ZERO)) != snapped(line.quantity)
        )
        return replace(self, lines=tuple(lines))


class BatchBill(NamedTuple):
    """What a listing's standard batch consumes: good pieces, or units, and the quantity of each part of a resource."""

    pieces: Decimal
    quantities: Mapping[str, Decimal]
    unit: Unit = Unit.PIECE
