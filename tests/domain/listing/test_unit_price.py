"""The content of a product and its price per unit of measure."""

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.listing.unit_price import Measure, content, measures_of, unit_price
from service.domain.making.errors import MissingMeasuresError
from service.domain.making.products import BillLine, Product
from service.domain.values.errors import FigureTooLargeError
from service.domain.values.units import Unit
from tests.domain.examples import euros
from tests.domain.strategies import figures


def beam(**changes: Any) -> Product:
    sides = {"mass_kg": "8.4", "length_mm": "2000", "width_mm": "90", "height_mm": "50"}
    bill = (BillLine(material="hdpe", quantity_per_piece=Decimal(1)),)
    measures = {name: Decimal(side) for name, side in sides.items()}
    return Product(name="beam", bill_of_materials=bill, **(measures | changes))


@pytest.mark.parametrize(
    ("measure", "contained", "formula"),
    [
        (Measure.KILOGRAM, "8.4", "final price with tax ÷ mass_kg"),
        (Measure.METRE, "2", "final price with tax ÷ (length_mm × 0.001)"),
        (Measure.SQUARE_METRE, "0.18", "final price with tax ÷ (length_mm × width_mm × 0.000001)"),
        (Measure.CUBIC_METRE, "0.009", "final price with tax ÷ (length_mm × width_mm × height_mm × 0.000000001)"),
    ],
)
def test_a_beam_contains_its_mass_its_length_its_area_and_its_volume(
    measure: Measure, contained: str, formula: str
) -> None:
    found = unit_price(euros("25.20"), beam(), measure)

    assert found.content == content(beam(), measure) == Decimal(contained)
    assert found.formula == formula
    assert found.measure is measure


def test_the_price_of_several_pieces_is_for_the_content_of_all() -> None:
    found = unit_price(euros("25.20"), beam(), Measure.KILOGRAM, 100)

    assert (found.content, found.price) == (Decimal(840), euros("0.03"))
    assert found.formula == "final price with tax ÷ (mass_kg × 100)"
    of_metres = unit_price(euros("25.20"), beam(), Measure.METRE, 12)
    assert (of_metres.content, of_metres.price) == (Decimal(24), euros("1.05"))
    assert of_metres.formula == "final price with tax ÷ (length_mm × 0.001 × 12)"


def test_the_price_of_a_unit_is_rounded_half_up_and_the_price_of_a_piece_before_it() -> None:
    by_weight = beam(mass_kg=Decimal("0.08"))

    assert unit_price(euros("0.125"), beam(mass_kg=Decimal(1)), Measure.KILOGRAM).price == euros("0.13")
    assert unit_price(euros("0.005"), beam(mass_kg=Decimal(2)), Measure.KILOGRAM).price == euros("0.01")
    assert unit_price(euros("1.4961"), by_weight, Measure.KILOGRAM).price == euros("18.75")


@pytest.mark.parametrize(
    ("measure", "missing"),
    [
        (Measure.KILOGRAM, ("mass_kg",)),
        (Measure.METRE, ("length_mm",)),
        (Measure.SQUARE_METRE, ("length_mm", "width_mm")),
        (Measure.CUBIC_METRE, ("length_mm", "width_mm", "height_mm")),
    ],
)
def test_a_product_without_the_measures_is_refused_naming_those_it_lacks(
    measure: Measure, missing: tuple[str, ...]
) -> None:
    unmeasured = beam(mass_kg=None, length_mm=None, width_mm=None, height_mm=None)

    with pytest.raises(MissingMeasuresError, match=f"a price per {measure} needs {missing[0]}") as error:
        unit_price(euros("1"), unmeasured, measure)

    assert (error.value.product, error.value.members) == ("beam", missing)


def test_only_what_is_missing_is_named() -> None:
    with pytest.raises(MissingMeasuresError) as error:
        content(beam(width_mm=None), Measure.CUBIC_METRE)

    assert error.value.members == ("width_mm",)
    assert str(error.value) == "a price per m3 needs width_mm: register the product 'beam' with it"


def test_a_price_too_large_to_be_computed_is_refused() -> None:
    with pytest.raises(FigureTooLargeError):
        unit_price(euros("1000"), beam(mass_kg=Decimal("1E-27")), Measure.KILOGRAM)


@given(figures("0", "99999", 2), figures("0.001", "999"), st.sampled_from(measures_of(Unit.PIECE)))
def test_the_unit_price_times_the_content_is_the_price_to_within_half_a_minor_unit_each(
    price: Decimal, side: Decimal, measure: Measure
) -> None:
    product = beam(mass_kg=side, length_mm=side * 1000, width_mm=Decimal(1000), height_mm=Decimal(1000))

    found = unit_price(euros(str(price)), product, measure)

    assert found.content == side
    assert abs(found.price.amount * side - price) <= Decimal("0.005") * side


@pytest.mark.parametrize(
    ("unit", "measure", "pieces", "contained", "formula"),
    [
        ("kg", Measure.KILOGRAM, 1, "1", "final price with tax"),
        ("kg", Measure.KILOGRAM, 100, "100", "final price with tax ÷ 100"),
        ("m", Measure.METRE, 12, "12", "final price with tax ÷ 12"),
        ("m2", Measure.SQUARE_METRE, 1, "1", "final price with tax"),
        ("m3", Measure.CUBIC_METRE, 1, "1", "final price with tax"),
        ("l", Measure.CUBIC_METRE, 100, "0.1", "final price with tax ÷ (0.001 × 100)"),
        ("l", Measure.LITRE, 12, "12", "final price with tax ÷ 12"),
        ("m3", Measure.LITRE, 1, "1000", "final price with tax ÷ 1000"),
        ("m", Measure.KILOGRAM, 1, "8.4", "final price with tax ÷ mass_kg"),
    ],
)
def test_what_is_sold_by_the_measure_contains_it_whatever_it_measures(
    unit: str, measure: Measure, pieces: int, contained: str, formula: str
) -> None:
    mass = None if unit == "kg" else Decimal("8.4")
    found = unit_price(euros("25.20"), beam(unit=Unit(unit), mass_kg=mass), measure, pieces)

    assert (found.content, found.formula) == (Decimal(contained), formula)


@pytest.mark.parametrize(
    ("unit", "may"),
    [
        ("piece", "kg m m2 m3"),
        ("kg", "kg"),
        ("l", "kg l m3"),
        ("m", "kg m"),
        ("m2", "kg m2"),
        ("m3", "kg l m3"),
        ("hour", ""),
    ],
)
def test_what_is_not_counted_in_pieces_has_a_price_by_its_unit_or_its_mass_only(unit: str, may: str) -> None:
    assert [*measures_of(Unit(unit))] == may.split()
