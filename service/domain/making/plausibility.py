"""Plausibility checks of a product's physical facts: warnings, never errors."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from service.domain.making.bill_of_resources import BillOfResources, Step
from service.domain.making.masses import mass_against_materials, mass_against_measures, materials_in
from service.domain.making.overheads import OverheadBase
from service.domain.making.products import BillLine, Catalogue, Operation, Product
from service.domain.making.resources import MaterialUse
from service.domain.safety.cautions import Caution
from service.domain.safety.hazards import HeatedPolymer, cautions
from service.domain.safety.machines import WorkingMachine
from service.domain.safety.polymers import Polymer, heating_energy_kwh_per_kg
from service.domain.values.exact import ZERO, exactly, readable
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning
from service.domain.values.references import Thing
from service.domain.values.units import Unit

_SHOWN_DECIMALS = 3
_LESS_THAN_HANDBOOKS = Decimal("0.8")
"""A published average of a whole process, 0.55 BTU/(lb °F) for HDPE, is 15 % below the sum of handbook figures."""
_NOBODY = (
    "'{operation}' names {grade}, but the labour costs nothing, because nobody attends it. Give attendance (1 is one "
    "person all the time that it runs), or setup_crew with setup_minutes."
)
_NO_CYCLE = (
    "'{operation}' names {grade}, but the labour costs nothing, because its run takes no time. Give cycle_minutes or "
    "units_per_hour, or setup_crew for who sets it up."
)
_TOO_LITTLE_FOR_CYCLES = (
    "'{operation}' draws {drawn} kWh for the batch, but heating its polymer to {temperature} °C takes about {least} "
    "kWh without any loss. Check the machine's power, load factor and cycle time."
)
_TOO_LITTLE_FOR_THROUGHPUT = (
    "'{operation}' draws {drawn} kWh for the batch, but heating its polymer to {temperature} °C takes about {least} "
    "kWh without any loss. Check the machine's power, load factor and throughput."
)


@exactly
def warnings(bill: BillOfResources, catalogue: Catalogue) -> tuple[PlausibilityWarning, ...]:
    """Every warning about the product and its sub-assemblies."""
    return tuple(
        warning
        for code in bill.pieces_made
        for check in (
            _yield_of_one,
            mass_against_materials,
            mass_against_measures,
            _less_than_heating,
            _no_time,
            _no_labour_time,
            _nobody_and_nothing,
            _pools_on_units,
        )
        for warning in check(code, bill, catalogue)
    )


def _yield_of_one(code: str, bill: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    product = catalogue.products[code]
    if not (product.bill_of_materials and product.operations):
        return
    if any(operation.yield_share != 1 for operation in product.operations):
        return
    if product.unit is Unit.PIECE:
        text = Message(
            "Every step of {name} has a yield of 1: no piece is ever scrapped. Count the scrap of a few batches.",
            name=product.name,
        )
    elif product.unit is Unit.HOUR or any(line.process_loss_share for line in product.bill_of_materials):
        return
    else:
        text = Message(
            "Every step of {name} has a yield of 1 and no material has a process_loss_share: nothing is ever lost. "
            "Weigh what a few batches lose.",
            name=product.name,
        )
    yield PlausibilityWarning(code="no-scrap", product=code, text=text, source=COMMON_PRACTICE)


def _no_time(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    for operation in catalogue.products[code].operations:
        if not operation.takes_time:
            text = Message(
                "'{operation}' takes no time, so neither labour nor a machine is costed for it. Give its "
                "cycle_minutes or units_per_hour, or setup_minutes for what is done once a batch.",
                operation=operation.name,
            )
            yield PlausibilityWarning(code="no-time", product=code, text=text, source=COMMON_PRACTICE)


def _no_labour_time(code: str, bill: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    timed = {operation.name: operation for operation in catalogue.products[code].operations if operation.takes_time}
    for step in bill.steps:
        if step.product == code and step.operation in timed:
            attended = {each.labour_grade for each in timed[step.operation].labour if each.attendance}
            for grade in (grade for grade, minutes in step.labour_minutes.items() if not minutes):
                name = catalogue.labour_grades[grade].name
                text = Message(_NO_CYCLE if grade in attended else _NOBODY, operation=step.operation, grade=name)
                yield PlausibilityWarning(code="no-labour-time", product=code, text=text, source=COMMON_PRACTICE)


def _nobody_and_nothing(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    for operation in catalogue.products[code].operations:
        if operation.takes_time and operation.machine is None and not operation.labour:
            text = Message(
                "'{operation}' takes time, but costs nothing, because it names neither labour nor a machine. Name who "
                "does it, with attendance, unless the work only waits there.",
                operation=operation.name,
            )
            yield PlausibilityWarning(code="nobody-works", product=code, text=text, source=COMMON_PRACTICE)


def _pools_on_units(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    """A pool spread over pieces bears on each unit as on a piece: on each gram sold as a thousandth of a brick.

    One that names its products does so because somebody has thought of that.
    """
    product = catalogue.products[code]
    if product.unit is Unit.PIECE:
        return
    for pool in catalogue.overheads.values():
        if pool.base is OverheadBase.PIECE and not pool.products:
            text = Message(
                "'{pool}' is spread over pieces, and each {unit} of {name} bears as much of it as a piece of anything "
                "else. Spread it over hours or orders, or name the products that it bears on.",
                pool=pool.name,
                unit=product.unit.sign,
                name=product.name,
            )
            yield PlausibilityWarning(code="pool-on-units", product=code, text=text, source=COMMON_PRACTICE)


def _less_than_heating(code: str, bill: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    heated = {
        operation.name: (operation, operation.processing_temperature_c)
        for operation in catalogue.products[code].operations
        if operation.processing_temperature_c is not None and operation.machine is not None
    }
    for step in bill.steps:
        if step.product == code and step.operation in heated:
            operation, temperature_c = heated[step.operation]
            least = _heating_kwh(code, step, temperature_c, bill, catalogue)
            if step.electricity_kwh < least * _LESS_THAN_HANDBOOKS:
                text = Message(
                    _TOO_LITTLE_FOR_CYCLES if operation.units_per_hour is None else _TOO_LITTLE_FOR_THROUGHPUT,
                    operation=step.operation,
                    temperature=temperature_c,
                    drawn=readable(step.electricity_kwh, _SHOWN_DECIMALS),
                    least=readable(least, _SHOWN_DECIMALS),
                )
                source = "specific heat and enthalpy of fusion of the polymers, handbook values"
                yield PlausibilityWarning(code="less-energy-than-melting", product=code, text=text, source=source)


def _heating_kwh(code: str, step: Step, temperature_c: Decimal, bill: BillOfResources, catalogue: Catalogue) -> Decimal:
    """Heat to bring what is issued up to this operation to its temperature; only known polymers count."""
    names = [operation.name for operation in catalogue.products[code].operations]
    entered = set(names[: names.index(step.operation) + 1])
    issued = [each for each in bill.issues if each.product == code and each.operation in entered]
    heat = _Heat(temperature_c, catalogue)
    return sum((each.issued * heat.of_one(Thing.of(each.item)) for each in issued), ZERO)


class _Heat:
    """Heat to bring one unit of a material, or of a product by the kilogram, to a temperature."""

    def __init__(self, temperature_c: Decimal, catalogue: Catalogue) -> None:
        self.temperature_c, self.catalogue = temperature_c, catalogue
        self._of_products: dict[str, Decimal] = {}

    def of_one(self, item: Thing) -> Decimal:
        """In kWh; 0 for a part that is fitted whole."""
        if item.collection == "materials":
            return self._of_material(item.code)
        product = self.catalogue.products[item.code]
        if product.unit is not Unit.KILOGRAM:
            return ZERO
        if item.code not in self._of_products:
            self._of_products[item.code] = sum(map(self._of_line, product.bill_of_materials), ZERO)
        return self._of_products[item.code]

    def _of_line(self, line: BillLine) -> Decimal:
        """What one unit of a product has of a line; what it is packed in is not heated with it."""
        if line.product is not None:
            return line.quantity_per_piece * self.of_one(Thing("products", line.product))
        assert line.material is not None  # a line names one or the other
        is_packed = self.catalogue.materials[line.material].use is MaterialUse.PACKAGING
        return ZERO if is_packed else line.quantity_per_piece * self._of_material(line.material)

    def _of_material(self, code: str) -> Decimal:
        material = self.catalogue.materials[code]
        per_kg = heating_energy_kwh_per_kg(material.polymer, self.temperature_c) if material.polymer else None
        return ZERO if per_kg is None or material.mass_kg is None else material.mass_kg * per_kg


def cautions_of(bills: Iterable[BillOfResources], catalogue: Catalogue) -> tuple[Caution, ...]:
    """The cautions for making and using the products of all bills, each once; of heavy pieces the heaviest counts."""
    wanted = list(bills)
    made = list(dict.fromkeys(code for bill in wanted for code in bill.pieces_made))
    products = [catalogue.products[code] for code in dict.fromkeys(bill.product for bill in wanted)]
    heated = [each for code in made for each in _heated_polymers(code, catalogue)]
    masses = [(product.mass_kg, product.unit) for product in products if product.mass_kg is not None]
    heaviest_kg, unit = max(masses, key=lambda each: each[0], default=(None, Unit.PIECE))
    return cautions(
        heated,
        [use for product in products for use in product.declared_uses],
        heaviest_kg,
        [each for code in made for each in _working_machines(code, catalogue)],
        {name for code in made for name in _plastics(code, catalogue)}.union(*(each.materials for each in heated)),
        unit,
    )


def _plastics(code: str, catalogue: Catalogue) -> Iterator[str]:
    """The names of the materials in a product itself that hold a polymer."""
    for line in catalogue.products[code].bill_of_materials:
        if line.material is not None and catalogue.materials[line.material].polymer is not None:
            yield catalogue.materials[line.material].name


def _working_machines(code: str, catalogue: Catalogue) -> Iterator[WorkingMachine]:
    product = catalogue.products[code]
    for operation in product.operations:
        machine = None if operation.machine is None else catalogue.machines[operation.machine]
        if machine is not None:
            where, power = _where(product, operation), machine.draws_power
            yield WorkingMachine(kind=machine.kind, machine=machine.name, where=where, draws_power=power)


def _where(product: Product, operation: Operation) -> str:
    """The product and its operation; work that is sold as such has one name for both."""
    return product.name if operation.name == product.name else f"{product.name}, {operation.name}"


def _heated_polymers(code: str, catalogue: Catalogue) -> Iterator[HeatedPolymer]:
    product = catalogue.products[code]
    for operation in product.operations:
        if _is_heated(operation, catalogue):
            for polymer, materials in _polymers_at(operation.name, product, catalogue).items():
                yield HeatedPolymer(
                    polymer=polymer,
                    processing_temperature_c=operation.processing_temperature_c,
                    materials=materials,
                    where=_where(product, operation),
                )


def _is_heated(operation: Operation, catalogue: Catalogue) -> bool:
    """Whether its polymer is worked hot: at a temperature that is declared, or on a machine that heats."""
    if operation.processing_temperature_c is not None or operation.warm_up_minutes:
        return True
    return operation.machine is not None and catalogue.machines[operation.machine].is_heated


def _polymers_at(operation: str, product: Product, catalogue: Catalogue) -> dict[Polymer, tuple[str, ...]]:
    """The polymers that have entered up to an operation, and the names of the materials that hold them.

    Packaging counts where there is nothing else. A polymer that no material names is unidentified.
    """
    names = [each.name for each in product.operations]
    entered = {None, *names[: names.index(operation) + 1]}
    materials = materials_in((line for line in product.bill_of_materials if line.operation in entered), catalogue)
    direct = [each for each in materials if each.use is MaterialUse.DIRECT_MATERIAL] or materials
    found: dict[Polymer, dict[str, None]] = {}
    for material in direct:
        if material.polymer is not None:
            found.setdefault(material.polymer, {})[material.name] = None
    if not found:
        found[Polymer.UNIDENTIFIED] = dict.fromkeys(material.name for material in direct)
    return {polymer: tuple(holders) for polymer, holders in found.items()}
