"""The explosion of a product: everything a batch consumes, including its sub-assemblies."""

from collections import defaultdict
from collections.abc import Iterator, Mapping
from decimal import Decimal

from service.domain.making.bill_of_resources import BillOfResources, MaterialIssue, ResourceLine, Step, ValuePool
from service.domain.making.errors import InconsistentProductError
from service.domain.making.learning import learning_factor, model_of
from service.domain.making.nesting import made_in_order
from service.domain.making.overheads import BatchVolume, Overhead, OverheadBase
from service.domain.making.products import BillLine, Catalogue, Operation, Tooling, becoming, inconsistencies
from service.domain.making.resources import DISPOSED, ENTIRE_TOOL, RECLAIMED, STANDING, Machine, MaterialUse, heading
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError
from service.domain.values.exact import MINUTES_PER_HOUR, ONE, ZERO, exactly, whole_up
from service.domain.values.message import Message
from service.domain.values.references import WHOLE, Registered, part_of
from service.domain.values.units import Unit

MAX_RESOURCES = 10_000
MAX_STEPS = 50_000
"""The most operations and bill-of-materials lines, over all sub-assemblies."""
_LOST = {RECLAIMED: "{name}, credit for regrind", DISPOSED: "{name}, disposal of waste"}
"""The names of the lines for what is lost of a material, by part."""


def flow(operations: tuple[Operation, ...], pieces: Decimal) -> list[tuple[Decimal, Decimal]]:
    """Good pieces out of each operation and pieces started at it, backwards from the last.

    out_k = n,  start_i = out_i ÷ yield_i,  out_{i−1} = start_i.
    Source: rolled yield; common practice in process costing.
    """
    found, out = list[tuple[Decimal, Decimal]](), pieces
    for operation in reversed(operations):
        start = out / operation.yield_share
        found.append((out, start))
        out = start
    return found[::-1]


class _Explosion:
    """Adds up, product by product, what a batch consumes."""

    def __init__(
        self, code: str, quantity: Decimal, catalogue: Catalogue, tooling: Tooling | None, orders: Decimal
    ) -> None:
        self.code, self.catalogue, self.tooling, self.orders = code, catalogue, tooling, orders
        self.made: dict[str, Decimal] = defaultdict(lambda: ZERO, {code: quantity})
        self.issued: dict[tuple[str, str], Decimal] = defaultdict(lambda: ZERO)
        self.labour_minutes: dict[str, Decimal] = defaultdict(lambda: ZERO)
        self.machine_minutes: dict[str, Decimal] = defaultdict(lambda: ZERO)
        self.kwh: dict[tuple[str, str], Decimal] = defaultdict(lambda: ZERO)
        self.shots: dict[tuple[str, str], Decimal] = defaultdict(lambda: ZERO)
        self.steps: list[Step] = []
        self.issues: list[MaterialIssue] = []

    def make_all(self, code: str) -> None:
        order = made_in_order(code, self.catalogue.products)
        made = [self.catalogue.products[each] for each in order]
        if sum(len(each.operations) + len(each.bill_of_materials) for each in made) > MAX_STEPS:
            raise TooComplexError("operations and bill-of-materials lines", MAX_STEPS)
        for each in order:
            self._make(each)

    def _make(self, code: str) -> None:
        """Make one lot of a product, as large as all products that contain it need."""
        product, pieces = self.catalogue.products[code], self.made[code]
        if problems := list(inconsistencies(product, self.catalogue)):
            raise InconsistentProductError(code, problems)
        flows = flow(product.operations, pieces)
        starts = {operation.name: start for operation, (_, start) in zip(product.operations, flows, strict=True)}
        learning = learning_factor(product.learning_curve, pieces), model_of(product.learning_curve)
        for line in product.bill_of_materials:
            self._issue(code, line, pieces, starts)
        for operation, (out, start) in zip(product.operations, flows, strict=True):
            self._operate(code, operation, (out, start), *learning)

    def _issue(self, code: str, line: BillLine, pieces: Decimal, starts: Mapping[str, Decimal]) -> None:
        entry = line.operation or next(iter(starts), "")
        started = starts.get(entry, pieces)
        issued = line.quantity_per_piece * started / (ONE - line.process_loss_share) + line.quantity_per_batch
        contained = line.quantity_per_piece * pieces
        lost = (issued - contained) * (becoming(line, self.catalogue) or ZERO)
        reclaimed, disposed = lost * line.reclaim_share, lost * line.disposed_share
        if line.product is not None:
            self.made[line.product] += issued
        else:
            assert line.material is not None  # a line names one or the other
            self.issued[line.material, WHOLE] += issued
        if waste := line.material or line.reclaimed_as:
            self.issued[line.reclaimed_as or waste, RECLAIMED] += reclaimed
            self.issued[waste, DISPOSED] += disposed
        item = f"products/{line.product}" if line.product is not None else f"materials/{line.material}"
        self.issues.append(
            MaterialIssue(
                product=code,
                item=item,
                operation=entry,
                issued=issued,
                in_good_pieces=contained,
                reclaimed=reclaimed,
                reclaimed_as=line.reclaimed_as or "",
                disposed=disposed,
            )
        )

    def _operate(
        self, code: str, operation: Operation, flow: tuple[Decimal, Decimal], factor: Decimal, model: str
    ) -> None:
        out, start = flow
        cycles, run_minutes = _run(operation, out, start)
        machine_minutes = kwh = ZERO
        if operation.machine is not None:
            machine = self.catalogue.machines[operation.machine]
            warm_up_minutes = operation.warm_up_minutes * machine.warm_ups(operation.setup_minutes + run_minutes)
            machine_minutes = operation.setup_minutes + warm_up_minutes + run_minutes
            self.machine_minutes[operation.machine] += machine_minutes
            kwh = self._electricity(operation, machine, warm_up_minutes, run_minutes)
        labour_minutes = {
            people.labour_grade: operation.setup_minutes * people.setup_crew + run_minutes * factor * people.attendance
            for people in operation.labour
        }
        for grade, minutes in labour_minutes.items():
            self.labour_minutes[grade] += minutes
        if operation.tool is not None:
            self._use(operation.tool, self.tooling or operation.tooling, cycles)
        self.steps.append(
            Step(
                product=code,
                operation=operation.name,
                pieces_good=out,
                pieces_started=start,
                cycles=cycles,
                run_minutes=run_minutes,
                machine_minutes=machine_minutes,
                electricity_kwh=kwh,
                learning_factor=factor,
                machine=operation.machine or "",
                labour_minutes=labour_minutes,
                runs_with_previous=operation.runs_with_previous,
                learning_model=model,
                setups=ONE if operation.setup_minutes else ZERO,
            )
        )

    def _use(self, tool: str, tooling: Tooling, cycles: Decimal) -> None:
        if tooling is Tooling.PER_SHOT:
            self.shots[tool, WHOLE] += cycles
        else:
            self.shots[tool, ENTIRE_TOOL] = ONE  # bought once, however many operations use it

    def _electricity(
        self, operation: Operation, machine: Machine, warm_up_minutes: Decimal, run_minutes: Decimal
    ) -> Decimal:
        load_factor = machine.load_factor if operation.load_factor is None else operation.load_factor
        kwh = (
            warm_up_minutes * machine.warm_up_power_kw
            + operation.setup_minutes * machine.idle_power_kw
            + run_minutes * machine.rated_power_kw * load_factor
        ) / MINUTES_PER_HOUR
        if machine.tariff is not None:
            shares = operation.band_shares or {self.catalogue.tariffs[machine.tariff].bands[0]: ONE}
            for band, share in shares.items():
                self.kwh[machine.tariff, band] += kwh * share
            self.kwh[machine.tariff, STANDING] += kwh
        return kwh

    def lines(self) -> Iterator[ResourceLine]:
        """Every resource with its quantity, in the order of the cost sheet."""
        yield from self._material_lines()
        for code, minutes in self.labour_minutes.items():
            grade = self.catalogue.labour_grades[code]
            yield _line(f"labour-grades/{code}", grade, minutes / MINUTES_PER_HOUR, "h")
        for code, minutes in self.machine_minutes.items():
            yield _line(f"machines/{code}", self.catalogue.machines[code], minutes / MINUTES_PER_HOUR, "h")
        for (code, band), kwh in self.kwh.items():
            tariff = self.catalogue.tariffs[code]
            name = Message("{name}, fixed charges", name=tariff.name) if band == STANDING else f"{tariff.name}, {band}"
            yield _line(f"tariffs/{code}", tariff, kwh, "kWh", part=band, name=name)
        for (code, part), quantity in self.shots.items():
            if part == WHOLE and (code, ENTIRE_TOOL) in self.shots:
                continue  # the batch pays for all of the tool, its wear included
            yield _line(f"tools/{code}", self.catalogue.tools[code], quantity, "piece" if part else "shot", part=part)
        yield from self._overhead_lines()

    def _material_lines(self) -> Iterator[ResourceLine]:
        """The direct material, then the packaging."""
        packaging: list[ResourceLine] = []
        for (code, part), quantity in self.issued.items():
            if quantity:
                material = self.catalogue.materials[code]
                name = Message(_LOST[part], name=material.name) if part else material.name
                line = _line(f"materials/{code}", material, quantity, material.unit.value, part=part, name=name)
                if material.use is MaterialUse.PACKAGING:
                    packaging.append(line)
                else:
                    yield line
        yield from packaging

    def _overhead_lines(self) -> Iterator[ResourceLine]:
        for code, pool in self.catalogue.overheads.items():
            base = pool.base.traits
            if base.quantity is not None:
                unit = self._counted_in(pool) if pool.base is OverheadBase.PIECE else base.unit
                yield _line(f"overheads/{code}", pool, base.quantity(self._volume(pool)), unit)

    def _counted_in(self, pool: Overhead) -> str:
        """The unit of what a pool on pieces bears on; pieces, if it bears on several units."""
        units = {self.catalogue.products[each].unit for each in self.made if pool.bears_on(each)}
        return (units.pop() if len(units) == 1 else Unit.PIECE).value

    def _volume(self, pool: Overhead) -> BatchVolume:
        """What the batch takes of each base, as far as the pool bears on it."""
        machine_minutes = labour_minutes = setups = ZERO
        for step in self.steps:
            if pool.bears_on(step.product, step.machine):
                machine_minutes += step.machine_minutes
                labour_minutes += sum(step.labour_minutes.values(), ZERO)
                setups += step.setups
        return BatchVolume(
            machine_hours=machine_minutes / MINUTES_PER_HOUR,
            labour_hours=labour_minutes / MINUTES_PER_HOUR,
            pieces=sum((pieces for product, pieces in self.made.items() if pool.bears_on(product)), ZERO),
            orders=self.orders if pool.bears_on(self.code) else ZERO,
            setups=setups,
        )

    def value_pools(self) -> Iterator[ValuePool]:
        """The pools that are a share of a subtotal."""
        for code, pool in self.catalogue.overheads.items():
            if pool.base.is_value:
                yield ValuePool(resource=f"overheads/{code}", name=pool.name, base=pool.base, variable=pool.variable)


def _run(operation: Operation, out: Decimal, start: Decimal) -> tuple[Decimal, Decimal]:
    """Cycles and minutes of the run; no cycles where it is timed by throughput and has no tool to wear.

    cycles = ⌈out ÷ pieces per cycle⌉ ÷ yield,  minutes = cycles × cycle time;  or  started ÷ units an hour × 60.
    """
    cycles = whole_up(out / operation.pieces_per_cycle) / operation.yield_share if operation.has_cycles else ZERO
    if operation.units_per_hour is not None:
        return cycles, start / operation.units_per_hour * MINUTES_PER_HOUR
    return cycles, cycles * operation.cycle_minutes


def _line(
    resource: str, registered: Registered, quantity: Decimal, unit: str, *, part: str = WHOLE, name: str = ""
) -> ResourceLine:
    cost_class, variable = heading(registered, part)
    return ResourceLine(
        resource=part_of(resource, part),
        name=name or registered.name,
        unit=unit,
        cost_class=cost_class,
        variable=variable,
        quantity=quantity,
    )


@exactly
def bill_of_resources(
    code: str, quantity: int | Decimal, catalogue: Catalogue, tooling: Tooling | None = None, orders: Decimal = ONE
) -> BillOfResources:
    """Everything a batch of good pieces, or units, consumes, including its sub-assemblies.

    Each sub-assembly is made in one lot, as large as the whole batch needs. Quantities are expected values.

    Args:
        quantity: good pieces; a traced figure, to trace the quantities.
        tooling: how every tool is charged; as each operation says if left out.
        orders: how many orders the batch is sold in, for pools that are spread over orders.

    Raises:
        InvalidValuesError: the quantity is none of the product's unit: half a piece.
        ProductLoopError: a product would contain itself.
        InconsistentProductError: a machine or tariff that it names has changed since it was registered.
        TooComplexError: too deep, or too many resources.
        FigureTooLargeError: a quantity needs more than 34 digits.
    """
    wanted = quantity if isinstance(quantity, Decimal) else Decimal(quantity)
    if problem := catalogue.products[code].unit.problem(wanted):
        raise InvalidValuesError([InvalidValueError(("quantity",), problem)])
    explosion = _Explosion(code, wanted, catalogue, tooling, orders)
    explosion.make_all(code)
    lines = tuple(line for line in explosion.lines() if line.quantity)
    if len(lines) > MAX_RESOURCES:
        raise TooComplexError("resources", MAX_RESOURCES)
    return BillOfResources(
        product=code,
        name=catalogue.products[code].name,
        quantity=Decimal(quantity),
        unit=catalogue.products[code].unit,
        lines=lines,
        value_pools=tuple(explosion.value_pools()),
        pieces_made=dict(explosion.made),
        steps=tuple(explosion.steps),
        issues=tuple(explosion.issues),
        tooling=tooling,
        orders=Decimal(orders),
    )
