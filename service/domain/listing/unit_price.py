"""The unit price of a product, by kilogram, litre, metre, square metre or cubic metre."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from math import prod
from typing import Any

from service.domain.making.errors import MissingMeasuresError
from service.domain.making.products import Product
from service.domain.values.exact import ONE, exactly, snapped
from service.domain.values.money import Money, rounded
from service.domain.values.units import Unit


class Measure(StrEnum):
    """The unit of quantity that a unit price is for."""

    KILOGRAM = "kg"
    LITRE = "l"
    METRE = "m"
    SQUARE_METRE = "m2"
    CUBIC_METRE = "m3"


_CONTENTS: Mapping[Measure, tuple[tuple[str, ...], Decimal]] = {
    Measure.KILOGRAM: (("mass_kg",), ONE),
    Measure.METRE: (("length_mm",), Decimal("0.001")),
    Measure.SQUARE_METRE: (("length_mm", "width_mm"), Decimal("0.000001")),
    Measure.CUBIC_METRE: (("length_mm", "width_mm", "height_mm"), Decimal("0.000000001")),
}
"""The members of a product to multiply, and the factor to the unit of the measure."""
_HELD = {
    **{(Unit(each), each): ONE for each in Measure},
    (Unit.LITRE, Measure.CUBIC_METRE): Decimal("0.001"),
    (Unit.CUBIC_METRE, Measure.LITRE): Decimal(1000),
}
"""How much one unit of a product contains, whatever it measures."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPrice:
    """What one unit of quantity of a product costs the consumer.

    Attributes:
        measure: the unit of quantity.
        content: how much of it is sold together: in the listing's base quantity, a piece or unit if that is 1.
        price: for one unit, with tax, at the minor unit.
        formula: how it follows from the price.
    """

    measure: Measure
    content: Decimal
    price: Money
    formula: str


def measures_of(unit: Unit) -> tuple[Measure, ...]:
    """What a product that is sold by the unit may have a unit price for: of an hour nothing.

    A piece has a mass and sides, but what it holds is not what its sides multiply to. Anything else is counted by its
    own unit or by its mass; its sides are those of what it is packed in.
    """
    if unit is Unit.PIECE:
        return tuple(_CONTENTS)
    if unit is Unit.HOUR:
        return ()
    return tuple(each for each in Measure if (unit, each) in _HELD or each is Measure.KILOGRAM)


def _factors(product: Product, measure: Measure) -> tuple[tuple[str, ...], Decimal]:
    """The members of the product to multiply, and the factor to the unit of the measure."""
    held = _HELD.get((product.unit, measure))
    return _CONTENTS[measure] if held is None else ((), held)


@exactly
def content(product: Product, measure: Measure) -> Decimal:
    """How much a piece, or unit, contains: its mass, length, length × width, or length × width × height.

    What is sold by the measure itself contains one of it, a litre a thousandth of a cubic metre, whatever its sides.

    Raises:
        MissingMeasuresError: the product lacks one of these.
    """
    members, unit = _factors(product, measure)
    figures: dict[str, Any] = {member: getattr(product, member) for member in members}
    missing = [member for member, figure in figures.items() if figure is None]
    if missing:
        raise MissingMeasuresError(product.name, f"a price per {measure}", missing)
    return snapped(prod(figures.values(), start=unit)).normalize()


@exactly
def unit_price(gross_price: Money, product: Product, measure: Measure, pieces: int = 1) -> UnitPrice:
    """The unit price:  final price of the pieces with tax ÷ their content, half up at the minor unit.

    The final price is rounded to the minor unit first, so that the label's own price ÷ content gives its unit price.

    Raises:
        MissingMeasuresError: the product lacks a measure.
        FigureTooLargeError: the content is so small that the unit price needs more than 28 digits.

    Source: Directive 98/6/EC of the European Parliament and of the Council on consumer protection in the indication
        of the prices of products offered to consumers, Article 2 (a) and (b), 1998.
    """
    contained = (content(product, measure) * pieces).normalize()
    final_price = rounded(gross_price.amount, gross_price.currency)
    return UnitPrice(
        measure=measure,
        content=contained,
        price=rounded(final_price.amount / contained, gross_price.currency),
        formula=f"final price with tax{_formula_of_content(product, measure, pieces)}",
    )


def _formula_of_content(product: Product, measure: Measure, pieces: int) -> str:
    members, unit = _factors(product, measure)
    factors = [*members, *(f"{each:f}" for each in (unit, Decimal(pieces)) if each != ONE)]
    if not factors:
        return ""
    told = " × ".join(factors)
    return f" ÷ {told}" if len(factors) == 1 else f" ÷ ({told})"
