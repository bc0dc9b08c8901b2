"""How a product is made: its bill of materials and its operations."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.making.learning import LearningCurve
from service.domain.making.overheads import Overhead
from service.domain.making.resources import BandShares, LabourGrade, Machine, Material, Tariff, Tool, band_share_problem
from service.domain.safety.cautions import DeclaredUse
from service.domain.values.declared import (
    Bounds,
    Code,
    Distinct,
    Length,
    Line,
    Name,
    NotNegative,
    Positive,
    PositiveShare,
    ProperShare,
    Share,
    declared,
)
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ONE, ZERO
from service.domain.values.references import Names
from service.domain.values.units import QUANTITY_SOLD_DECIMALS, Decimals, Unit


class Tooling(StrEnum):
    """How an operation's tool is charged."""

    PER_SHOT = "per_shot"
    ENTIRE = "entire"


@declared
class BillLine:
    """One line of a bill of materials: a material, or a product made for this one.

    Attributes:
        material: code of the material; either this or product.
        product: code of the sub-assembly, made lot for lot.
        quantity_per_piece: what one good piece contains, in the material's unit or in pieces.
        quantity_per_batch: needed for a batch of any size, for instance to purge the machine.
        process_loss_share: the share of the issued quantity that never gets into a started piece.
        reclaim_share: the share of everything lost that can be reground.
        reclaimed_as: code of the material that it is then, credited at that one's reclaim value: a green blend is no
            longer pure; the material itself if left out. Lost sub-assemblies become a material only so, by their mass
            if it is counted in kg; what has to be got rid of is then at the disposal cost of that one.
        disposal_share: the share of everything lost that has to be got rid of, at the material's disposal cost; if left
            out all that is not reclaimed. Less where some of it vanishes, such as moisture.
        operation: name of the operation it enters at; the first if left out.
    """

    material: Annotated[Code, Names("materials")] | None = None
    product: Annotated[Code, Names("products")] | None = None
    quantity_per_piece: NotNegative = ZERO
    quantity_per_batch: NotNegative = ZERO
    process_loss_share: ProperShare = ZERO
    reclaim_share: Share = ZERO
    reclaimed_as: Annotated[Code, Names("materials")] | None = None
    disposal_share: Share | None = None
    operation: Name | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if (self.material is None) == (self.product is None):
            yield InvalidValueError(("material",), "give either a material or a product")
        if self.product is not None and self.reclaimed_as is None and (self.reclaim_share or self.disposal_share):
            reason = "is required: the material that lost parts are then, with its reclaim value and disposal cost"
            yield InvalidValueError(("reclaimed_as",), reason)
        if self.material is not None and self.reclaimed_as is not None and not self.reclaim_share:
            yield InvalidValueError(("reclaimed_as",), "has no meaning without a reclaim_share")
        if self.disposal_share is not None and self.reclaim_share + self.disposal_share > ONE:
            left = ONE - self.reclaim_share
            reason = f"reclaimed and disposed of together are more than what is lost; at most {left} is left"
            yield InvalidValueError(("disposal_share",), reason)
        if not self.quantity_per_piece and not self.quantity_per_batch:
            yield InvalidValueError(("quantity_per_piece",), "must be more than 0, or quantity_per_batch must be")

    @property
    def disposed_share(self) -> Decimal:
        """The share of what is lost that has to be got rid of; none of a sub-assembly, unless it becomes a material."""
        if self.product is not None and self.reclaimed_as is None:
            return ZERO
        return ONE - self.reclaim_share if self.disposal_share is None else self.disposal_share


@declared
class Attendance:
    """The people of one grade at an operation.

    Attributes:
        labour_grade: code of the grade.
        setup_crew: people during setup.
        attendance: people present during the run; 0.25 is one person minding four machines. Required unless there is a
            setup_crew; nobody is taken to be there in silence.
    """

    labour_grade: Annotated[Code, Names("labour-grades")]
    setup_crew: Annotated[Decimal, Bounds(at_least=0, at_most=1000)] = ZERO
    attendance: Annotated[Decimal, Bounds(at_least=0, at_most=1000)] = ZERO

    def problems(self) -> Iterator[InvalidValueError]:
        if not self.attendance and not self.setup_crew:
            reason = "is required: 1 is one person all the time that it runs; or give setup_crew for the setup alone"
            yield InvalidValueError(("attendance",), reason)


_GRADES_ONCE = Distinct(by="labour_grade", reason="names a labour grade twice; add its people up")


@declared
class Operation:
    """One step of work, on one machine or at a bench, timed by setup and by cycle or throughput.

    Attributes:
        name: unique within the product.
        machine: code of the machine; none for work at a bench.
        setup_minutes: minutes once a batch, before the first piece.
        warm_up_minutes: minutes the machine heats up before the setup, unattended; again where the batch takes longer
            than the machine runs on one warm-up.
        cycle_minutes: minutes a cycle, whatever the number of pieces in it.
        pieces_per_cycle: cavities of the mould, or pieces on the platen; of a product that is not counted in pieces the
            quantity of a cycle.
        units_per_hour: throughput in place of cycle_minutes: the quantity, in the product's unit, that is started in
            an hour of run. Parts of an hour count; nothing is rounded up.
        yield_share: good pieces out for each piece started.
        labour: people at the operation, by grade.
        load_factor: the share of the machine's rated power that this work draws; the machine's own if left out.
        band_shares: the share of its electricity in each band of the tariff; adds up to 1, and may be left out if the
            tariff has one band.
        tool: code of the tool that it wears.
        tooling: charge the tool's wear per shot, or the entire tool to every batch, once for all its operations.
        runs_with_previous: whether it runs, piece by piece, while the operation before it still runs; if not, it begins
            when that has finished the batch.
        processing_temperature_c: degrees Celsius at which the polymer is worked, if it is heated.
    """

    name: Name
    machine: Annotated[Code, Names("machines")] | None = None
    setup_minutes: NotNegative = ZERO
    warm_up_minutes: NotNegative = ZERO
    cycle_minutes: NotNegative = ZERO
    pieces_per_cycle: Annotated[Decimal, Bounds(above=0, at_most=1_000_000), Decimals(QUANTITY_SOLD_DECIMALS)] = ONE
    units_per_hour: Positive | None = None
    yield_share: PositiveShare = ONE
    labour: Annotated[tuple[Attendance, ...], Length(at_most=20), _GRADES_ONCE] = ()
    load_factor: PositiveShare | None = None
    band_shares: Annotated[BandShares, Length(at_most=24)] = field(default_factory=dict)
    tool: Annotated[Code, Names("tools")] | None = None
    tooling: Tooling = Tooling.PER_SHOT
    runs_with_previous: bool = False
    processing_temperature_c: Annotated[Decimal, Bounds(at_least=-50, at_most=500)] | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.machine is None and (self.warm_up_minutes or self.band_shares or self.load_factor):
            yield InvalidValueError(
                ("machine",), "is required where warm_up_minutes, load_factor or band_shares are given"
            )
        if self.units_per_hour is not None:
            if self.cycle_minutes:
                yield InvalidValueError(("units_per_hour",), "time it either by units_per_hour or by cycle_minutes")
            if self.tool is None and self.pieces_per_cycle != ONE:
                reason = "has no meaning with units_per_hour, unless a tool wears by the cycle; leave it out"
                yield InvalidValueError(("pieces_per_cycle",), reason)

    @property
    def takes_time(self) -> bool:
        return bool(self.setup_minutes or self.warm_up_minutes or self.runs)

    @property
    def has_cycles(self) -> bool:
        """Whether it goes by cycles: for its time, or for the wear of its tool."""
        return self.units_per_hour is None or self.tool is not None

    @property
    def runs(self) -> bool:
        """Whether a piece takes time."""
        return bool(self.cycle_minutes or self.units_per_hour)


_NAMES_ONCE = Distinct(by="name", reason="two operations have the same name")
_BODY = {"mass_kg": "mass", "length_mm": "length", "width_mm": "width", "height_mm": "height"}
"""The members that only a thing has, and what each is."""


@declared
class Product:
    """Something the workshop makes.

    Attributes:
        name: what it is called on a quotation.
        unit: what it is made and sold by. Where it is not the piece, "piece" in the name of a field means one unit of
            it: a quantity_per_piece is for a kilogram.
        bill_of_materials: what goes into it.
        operations: how it is made, in order.
        mass_kg: what a finished piece, or one unit, weighs.
        length_mm: its longest side.
        width_mm: its second side.
        height_mm: its third side.
        declared_uses: uses that it is offered for, as far as they need a caution.
        learning_curve: how labour time falls while the product is new; left out when it is well known.
        note: anything worth knowing.
    """

    name: Name
    unit: Unit = Unit.PIECE
    bill_of_materials: Annotated[tuple[BillLine, ...], Length(at_most=1000)] = ()
    operations: Annotated[tuple[Operation, ...], Length(at_most=100), _NAMES_ONCE] = ()
    mass_kg: Positive | None = None
    length_mm: Positive | None = None
    width_mm: Positive | None = None
    height_mm: Positive | None = None
    declared_uses: Annotated[tuple[DeclaredUse, ...], Length(at_most=20), Distinct()] = ()
    learning_curve: LearningCurve | None = None
    note: Line = ""

    def problems(self) -> Iterator[InvalidValueError]:
        names = [operation.name for operation in self.operations]
        for index, line in enumerate(self.bill_of_materials):
            if line.operation is not None and line.operation not in names:
                yield InvalidValueError(
                    ("bill_of_materials", index, "operation"), f"the product has no operation '{line.operation}'"
                )
        if not self.bill_of_materials and not self.operations:
            yield InvalidValueError(("bill_of_materials",), "a product needs a material or an operation")
        for index, operation in enumerate(self.operations):
            if problem := self.unit.problem(operation.pieces_per_cycle):
                yield InvalidValueError(("operations", index, "pieces_per_cycle"), problem)
        if self.unit is Unit.KILOGRAM and self.mass_kg not in (None, ONE):
            yield InvalidValueError(("mass_kg",), "a kilogram weighs 1 kg; leave it out")
        for member, told in _BODY.items() if self.unit is Unit.HOUR else ():
            if getattr(self, member) is not None:
                yield InvalidValueError((member,), f"an hour has no {told}; leave it out")

    @property
    def unit_mass_kg(self) -> Decimal | None:
        """What one unit of it weighs, if known."""
        return ONE if self.unit is Unit.KILOGRAM else self.mass_kg

    def sub_assemblies(self) -> tuple[str, ...]:
        """Codes of the products it contains, each once, in order."""
        return tuple(dict.fromkeys(line.product for line in self.bill_of_materials if line.product is not None))


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """Everything that the explosion of a product looks up, by code."""

    products: Mapping[str, Product] = field(default_factory=dict)
    materials: Mapping[str, Material] = field(default_factory=dict)
    machines: Mapping[str, Machine] = field(default_factory=dict)
    labour_grades: Mapping[str, LabourGrade] = field(default_factory=dict)
    tariffs: Mapping[str, Tariff] = field(default_factory=dict)
    overheads: Mapping[str, Overhead] = field(default_factory=dict)
    tools: Mapping[str, Tool] = field(default_factory=dict)


def becoming(line: BillLine, catalogue: Catalogue) -> Decimal | None:
    """Units of the material that a lost unit of a line becomes, of a product by its mass; None if counted otherwise."""
    if line.reclaimed_as is None:
        return ONE
    gained = catalogue.materials[line.reclaimed_as].unit
    lost: Material | Product
    lost = catalogue.materials[line.material] if line.material else catalogue.products[line.product or ""]
    if lost.unit is gained:
        return ONE
    return lost.unit_mass_kg if isinstance(lost, Product) and gained is Unit.KILOGRAM else None


def _other_units(product: Product, catalogue: Catalogue) -> Iterator[InvalidValueError]:
    """What becomes a material that is counted in another unit."""
    for index, line in enumerate(product.bill_of_materials):
        if line.reclaimed_as is not None and becoming(line, catalogue) is None:
            unit = catalogue.materials[line.reclaimed_as].unit.several
            by_mass = "register its mass_kg, and name a material in kg"
            remedy = "name a material that is counted like it" if line.product is None else by_mass
            reason = f"is counted in {unit}, and what is lost is not; {remedy}"
            yield InvalidValueError(("bill_of_materials", index, "reclaimed_as"), reason)


def inconsistencies(product: Product, catalogue: Catalogue) -> Iterator[InvalidValueError]:
    """Where a product does not match what it names: band shares and tariffs, units of materials."""
    yield from _other_units(product, catalogue)
    for index, operation in enumerate(product.operations):
        if operation.machine is None:
            continue
        machine = catalogue.machines[operation.machine]
        path = ("operations", index, "band_shares")
        if machine.tariff is None:
            if operation.band_shares:
                yield InvalidValueError(path, f"the machine '{operation.machine}' draws no power; leave them out")
        elif problem := band_share_problem(catalogue.tariffs[machine.tariff], operation.band_shares):
            yield InvalidValueError(path, problem)
