"""Plausibility checks of a product's physical facts: warnings, never errors."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from math import prod

from service.domain.making.bill_of_resources import BillOfResources, Step
from service.domain.making.products import BillLine, Catalogue, Operation, Product
from service.domain.making.resources import Material, MaterialUse
from service.domain.safety.cautions import Caution
from service.domain.safety.hazards import HeatedPolymer, cautions
from service.domain.safety.machines import WorkingMachine
from service.domain.safety.polymers import HIGHEST_DENSITY_G_PER_CM3, Polymer, heating_energy_kwh_per_kg
from service.domain.values.exact import ZERO, exactly, readable
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning
from service.domain.values.references import Thing

_SHOWN_DECIMALS = 3
_MM3_TO_KG = Decimal(10**6)
"""mm³ × g/cm³ ÷ this = kg."""
_MUCH_MORE = Decimal("1.25")
"""Bill of materials ÷ mass above which a loss is taken to stand in the wrong member; common practice, no source."""
_ROUNDED_MEASURES = Decimal("1.05")
"""Tolerance for measures in whole millimetres and for pigment."""
_LESS_THAN_HANDBOOKS = Decimal("0.8")
"""A published average of a whole process, 0.55 BTU/(lb °F) for HDPE, is 15 % below the sum of handbook figures."""
_HARDLY_ANYTHING = Decimal("0.01")
"""Below this share of a solid block, kilograms were probably taken for grams, or millimetres for centimetres."""
_NOBODY = (
    "'{operation}' names {grade}, but the labour costs nothing, because nobody attends it. Give attendance (1 is one "
    "person all the time that it runs), or setup_crew with setup_minutes."
)
_NO_CYCLE = (
    "'{operation}' names {grade}, but the labour costs nothing, because a piece takes no time. Give cycle_minutes, or "
    "setup_crew for who sets it up."
)


@exactly
def warnings(bill: BillOfResources, catalogue: Catalogue) -> tuple[PlausibilityWarning, ...]:
    """Every warning about the product and its sub-assemblies."""
    return tuple(
        warning
        for code in bill.pieces_made
        for check in (
            _yield_of_one,
            _mass_against_materials,
            _mass_against_measures,
            _less_than_heating,
            _no_time,
            _no_labour_time,
            _nobody_and_nothing,
        )
        for warning in check(code, bill, catalogue)
    )


def _yield_of_one(code: str, bill: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    product, operations = catalogue.products[code], catalogue.products[code].operations
    if product.bill_of_materials and operations and all(operation.yield_share == 1 for operation in operations):
        text = Message("Every step has a yield of 1: no piece is ever scrapped. Count the scrap of a few batches.")
        yield PlausibilityWarning(code="no-scrap", product=code, text=text, source=COMMON_PRACTICE)


def _no_time(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    for operation in catalogue.products[code].operations:
        if not operation.takes_time:
            text = Message(
                "'{operation}' takes no time, so neither labour nor a machine is costed for it. Give its "
                "cycle_minutes, or setup_minutes for what is done once a batch.",
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
                "does it, with attendance, unless the pieces only wait there.",
                operation=operation.name,
            )
            yield PlausibilityWarning(code="nobody-works", product=code, text=text, source=COMMON_PRACTICE)


def _mass_against_materials(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    product = catalogue.products[code]
    contained = _contained_mass_kg(product, catalogue)
    if product.mass_kg is None or contained is None:
        return
    masses = {"mass": readable(product.mass_kg, _SHOWN_DECIMALS), "contained": readable(contained, _SHOWN_DECIMALS)}
    if product.mass_kg > contained:
        text = Message(
            "A piece weighs {mass} kg, but its bill of materials adds up to {contained} kg. Something is missing from "
            "the bill, or a mass is wrong.",
            **masses,
        )
        yield PlausibilityWarning(code="mass-above-materials", product=code, text=text, source="conservation of mass")
    elif contained > product.mass_kg * _MUCH_MORE:
        text = Message(
            "A piece weighs {mass} kg, but its bill of materials puts {contained} kg into it. Enter what is lost as "
            "process_loss_share or yield_share, or correct a quantity or a mass.",
            **masses,
        )
        yield PlausibilityWarning(code="mass-below-materials", product=code, text=text, source="conservation of mass")


def _mass_against_measures(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    """Against a solid block of the product's measures, if the polymer of every material in it is known."""
    product = catalogue.products[code]
    sides = (product.length_mm, product.width_mm, product.height_mm)
    density = _highest_density(product, catalogue)
    if product.mass_kg is None or density is None or None in sides:
        return
    solid_kg = prod((side for side in sides if side is not None), start=density) / _MM3_TO_KG
    masses = {"mass": readable(product.mass_kg, _SHOWN_DECIMALS), "solid": readable(solid_kg, _SHOWN_DECIMALS)}
    source = f"highest published densities of the polymers; tolerances: {COMMON_PRACTICE}"
    if product.mass_kg > solid_kg * _ROUNDED_MEASURES:
        text = Message(
            "A piece weighs {mass} kg, but a solid block of its measures would weigh {solid} kg at most. Check the "
            "mass (kg) and the measures (mm).",
            **masses,
        )
        yield PlausibilityWarning(code="mass-above-measures", product=code, text=text, source=source)
    elif product.mass_kg < solid_kg * _HARDLY_ANYTHING:
        text = Message(
            "A piece weighs {mass} kg, where a solid block of its measures would weigh {solid} kg. Unless it is almost "
            "all air, check the mass (kg) and the measures (mm).",
            **masses,
        )
        yield PlausibilityWarning(code="mass-below-measures", product=code, text=text, source=source)


def _highest_density(product: Product, catalogue: Catalogue) -> Decimal | None:
    """In g/cm³, of the densest polymer in a piece; None if any of its materials is without a known polymer."""
    lines = [line for line in product.bill_of_materials if line.quantity_per_piece]
    materials = [each for each in _materials_in(lines, catalogue) if each.use is MaterialUse.DIRECT_MATERIAL]
    found = [HIGHEST_DENSITY_G_PER_CM3.get(each.polymer) if each.polymer else None for each in materials]
    known = [each.value for each in found if each is not None]
    return max(known) if known and len(known) == len(found) else None


def _contained_mass_kg(product: Product, catalogue: Catalogue) -> Decimal | None:
    """Mass of everything in a good piece; None if any of it is unknown."""
    total = ZERO
    for line in product.bill_of_materials:
        if line.product is not None:
            mass = catalogue.products[line.product].mass_kg
        else:
            material = catalogue.materials[line.material or ""]
            mass = ZERO if material.use is MaterialUse.PACKAGING else material.mass_kg
        if mass is None:
            return None
        total += line.quantity_per_piece * mass
    return total


def _less_than_heating(code: str, bill: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    product = catalogue.products[code]
    heated = {
        operation.name: operation.processing_temperature_c
        for operation in product.operations
        if operation.processing_temperature_c is not None and operation.machine is not None
    }
    for step in bill.steps:
        if step.product == code and step.operation in heated:
            least = _heating_kwh(code, step, heated[step.operation], bill, catalogue)
            if step.electricity_kwh < least * _LESS_THAN_HANDBOOKS:
                text = Message(
                    "'{operation}' draws {drawn} kWh for the batch, but heating its polymer to {temperature} °C takes "
                    "about {least} kWh without any loss. Check the machine's power, load factor and cycle time.",
                    operation=step.operation,
                    temperature=heated[step.operation],
                    drawn=readable(step.electricity_kwh, _SHOWN_DECIMALS),
                    least=readable(least, _SHOWN_DECIMALS),
                )
                source = "specific heat and enthalpy of fusion of the polymers, handbook values"
                yield PlausibilityWarning(code="less-energy-than-melting", product=code, text=text, source=source)


def _heating_kwh(code: str, step: Step, temperature_c: Decimal, bill: BillOfResources, catalogue: Catalogue) -> Decimal:
    """Heat to bring the material issued up to this operation to its temperature; only known polymers count."""
    names = [operation.name for operation in catalogue.products[code].operations]
    entered = set(names[: names.index(step.operation) + 1])
    total = ZERO
    for issue in bill.issues:
        collection, item = Thing.of(issue.item)
        if issue.product == code and collection == "materials" and issue.operation in entered:
            material = catalogue.materials[item]
            per_kg = heating_energy_kwh_per_kg(material.polymer, temperature_c) if material.polymer else None
            if per_kg is not None and material.mass_kg is not None:
                total += issue.issued * material.mass_kg * per_kg
    return total


def cautions_of(bills: Iterable[BillOfResources], catalogue: Catalogue) -> tuple[Caution, ...]:
    """The cautions for making and using the products of all bills, each once; of heavy pieces the heaviest counts."""
    wanted = list(bills)
    made = list(dict.fromkeys(code for bill in wanted for code in bill.pieces_made))
    products = [catalogue.products[code] for code in dict.fromkeys(bill.product for bill in wanted)]
    heated = [each for code in made for each in _heated_polymers(code, catalogue)]
    return cautions(
        heated,
        [use for product in products for use in product.declared_uses],
        max((product.mass_kg for product in products if product.mass_kg is not None), default=None),
        [each for code in made for each in _working_machines(code, catalogue)],
        {name for code in made for name in _plastics(code, catalogue)}.union(*(each.materials for each in heated)),
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
    materials = _materials_in((line for line in product.bill_of_materials if line.operation in entered), catalogue)
    direct = [each for each in materials if each.use is MaterialUse.DIRECT_MATERIAL] or materials
    found: dict[Polymer, dict[str, None]] = {}
    for material in direct:
        if material.polymer is not None:
            found.setdefault(material.polymer, {})[material.name] = None
    if not found:
        found[Polymer.UNIDENTIFIED] = dict.fromkeys(material.name for material in direct)
    return {polymer: tuple(holders) for polymer, holders in found.items()}


def _materials_in(lines: Iterable[BillLine], catalogue: Catalogue) -> list[Material]:
    """The materials of the lines and of all sub-assemblies in them, each sub-assembly once."""
    waiting, found, seen = list(lines), list[Material](), set[str]()
    while waiting:
        line = waiting.pop(0)
        if line.material is not None:
            found.append(catalogue.materials[line.material])
        elif line.product is not None and line.product not in seen:
            seen.add(line.product)
            waiting += catalogue.products[line.product].bill_of_materials
    return found
