"""Whether the mass of a product can be true: against its bill of materials, and against its measures."""

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from math import prod

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.products import BillLine, Catalogue, Product
from service.domain.making.resources import Material, MaterialUse
from service.domain.safety.polymers import HIGHEST_DENSITY_G_PER_CM3
from service.domain.values.exact import ZERO, readable
from service.domain.values.message import COMMON_PRACTICE, Message, PlausibilityWarning
from service.domain.values.units import Unit

_SHOWN_DECIMALS = 3
_MM3_TO_KG = Decimal(10**6)
"""mm³ × g/cm³ ÷ this = kg."""
_MUCH_MORE = Decimal("1.25")
"""Bill of materials ÷ mass above which a loss is taken to stand in the wrong member; common practice, no source."""
_ROUNDED_MEASURES = Decimal("1.05")
"""Tolerance for measures in whole millimetres and for pigment."""
_HARDLY_ANYTHING = Decimal("0.01")
"""Below this share of a solid block, kilograms were probably taken for grams, or millimetres for centimetres."""


def mass_against_materials(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    """A warning if one piece, or unit, weighs more than what goes into it, or much less."""
    product = catalogue.products[code]
    mass_kg, contained = product.unit_mass_kg, _contained_mass_kg(product, catalogue)
    if mass_kg is None or contained is None:
        return
    masses = {"mass": mass_kg, "contained": contained}
    if mass_kg > contained and (contained or product.mass_kg is not None):  # a kilogram may be the customer's own
        text = _of_one(
            product,
            masses,
            "A piece weighs {mass} kg, but its bill of materials adds up to {contained} kg. Something is missing from "
            "the bill, or a mass is wrong.",
            "One {unit} weighs {mass} kg, but its bill of materials adds up to {contained} kg. Something is missing "
            "from the bill, or a mass is wrong.",
            "Its bill of materials puts {contained} kg into a kilogram. Something is missing from the bill, or a mass "
            "is wrong.",
        )
        yield PlausibilityWarning(code="mass-above-materials", product=code, text=text, source="conservation of mass")
    elif contained > mass_kg * _MUCH_MORE:
        text = _of_one(
            product,
            masses,
            "A piece weighs {mass} kg, but its bill of materials puts {contained} kg into it. Enter what is lost as "
            "process_loss_share or yield_share, or correct a quantity or a mass.",
            "One {unit} weighs {mass} kg, but its bill of materials puts {contained} kg into it. Enter what is lost as "
            "process_loss_share or yield_share, or correct a quantity or a mass.",
            "Its bill of materials puts {contained} kg into a kilogram. Enter what is lost as process_loss_share or "
            "yield_share, or correct a quantity or a mass.",
        )
        yield PlausibilityWarning(code="mass-below-materials", product=code, text=text, source="conservation of mass")


def mass_against_measures(code: str, _: BillOfResources, catalogue: Catalogue) -> Iterator[PlausibilityWarning]:
    """Against a solid block of the product's measures, if the polymer of every material in it is known."""
    product = catalogue.products[code]
    sides = (product.length_mm, product.width_mm, product.height_mm)
    density = _highest_density(product, catalogue)
    if product.mass_kg is None or density is None or None in sides or product.unit is Unit.KILOGRAM:
        return  # a kilogram's sides are those of what it is packed in
    solid_kg = prod((side for side in sides if side is not None), start=density) / _MM3_TO_KG
    masses = {"mass": product.mass_kg, "solid": solid_kg}
    source = f"highest published densities of the polymers; tolerances: {COMMON_PRACTICE}"
    if product.mass_kg > solid_kg * _ROUNDED_MEASURES:
        text = _of_one(
            product,
            masses,
            "A piece weighs {mass} kg, but a solid block of its measures would weigh {solid} kg at most. Check the "
            "mass (kg) and the measures (mm).",
            "One {unit} weighs {mass} kg, but a solid block of its measures would weigh {solid} kg at most. Check the "
            "mass (kg) and the measures (mm).",
        )
        yield PlausibilityWarning(code="mass-above-measures", product=code, text=text, source=source)
    elif product.mass_kg < solid_kg * _HARDLY_ANYTHING:
        text = _of_one(
            product,
            masses,
            "A piece weighs {mass} kg, where a solid block of its measures would weigh {solid} kg. Unless it is almost "
            "all air, check the mass (kg) and the measures (mm).",
            "One {unit} weighs {mass} kg, where a solid block of its measures would weigh {solid} kg. Unless it is "
            "almost all air, check the mass (kg) and the measures (mm).",
        )
        yield PlausibilityWarning(code="mass-below-measures", product=code, text=text, source=source)


def _of_one(
    product: Product, masses: Mapping[str, Decimal], of_a_piece: str, of_a_unit: str, of_a_kilogram: str = ""
) -> Message:
    """The sentence of a product by the piece, by the kilogram, whose mass needs no word, or in another unit."""
    told = {name: readable(mass_kg, _SHOWN_DECIMALS) for name, mass_kg in masses.items()}
    if product.unit is Unit.PIECE:
        return Message(of_a_piece, **told)
    if product.unit is Unit.KILOGRAM:
        return Message(of_a_kilogram, contained=told["contained"])
    return Message(of_a_unit, unit=product.unit.sign, **told)


def _highest_density(product: Product, catalogue: Catalogue) -> Decimal | None:
    """In g/cm³, of the densest polymer in a piece; None if any of its materials is without a known polymer."""
    lines = [line for line in product.bill_of_materials if line.quantity_per_piece]
    materials = [each for each in materials_in(lines, catalogue) if each.use is MaterialUse.DIRECT_MATERIAL]
    found = [HIGHEST_DENSITY_G_PER_CM3.get(each.polymer) if each.polymer else None for each in materials]
    known = [each.value for each in found if each is not None]
    return max(known) if known and len(known) == len(found) else None


def _contained_mass_kg(product: Product, catalogue: Catalogue) -> Decimal | None:
    """Mass of everything in a good piece; None if any of it is unknown."""
    total = ZERO
    for line in product.bill_of_materials:
        if line.product is not None:
            mass = catalogue.products[line.product].unit_mass_kg
        else:
            material = catalogue.materials[line.material or ""]
            mass = ZERO if material.use is MaterialUse.PACKAGING else material.mass_kg
        if mass is None:
            return None
        total += line.quantity_per_piece * mass
    return total


def materials_in(lines: Iterable[BillLine], catalogue: Catalogue) -> list[Material]:
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
