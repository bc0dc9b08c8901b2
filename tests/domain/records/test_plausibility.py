"""Counts that cannot be: less material issued than the good units contain."""

from dataclasses import replace
from typing import Any

from service.domain.making.resources import MaterialUse
from service.domain.records.plausibility import record_warnings
from service.domain.records.record_basis import record_basis
from service.domain.values.units import Unit
from tests.domain.examples import Shop, a_line, a_material, a_product, a_shop, an_operation
from tests.domain.records.recorded import a_record

REMEDY = "What was not counted is no saving. Count all that was issued, or check good_units and quantity_per_piece."


def shop_of(*lines: Any, part: Any = None, **materials: Any) -> Shop:
    """Nothing is lost of the sheet, and a tenth of the parts that are begun."""
    sheet = a_product(bill_of_materials=lines, operations=[an_operation(yield_share="0.8")])
    made = a_product(bill_of_materials=[part], operations=[an_operation(yield_share="0.9")]) if part else None
    products = (sheet,) if made is None else (sheet, made)
    return a_shop(*products, materials={"hdpe": a_material(), **materials})


def told(shop: Shop, *counts: Any, supplied: tuple[str, ...] = (), **changes: Any) -> list[str]:
    """The warnings of a batch of twenty, of which so much of each material was issued, and came back."""
    materials = []
    for material, issued, *returned in counts:
        entry = {"material": material, "issued": issued, "returned": returned[0] if returned else None}
        materials.append({name: each for name, each in entry.items() if each is not None})
    record = a_record(materials=materials, **changes)
    basis = record_basis(record, shop.catalogue)
    return [f"{each.text}" for each in record_warnings(record, basis, shop.catalogue, supplied)]


class TestIssuedBelowContained:
    def test_is_told_with_both_figures_and_what_to_check(self) -> None:
        shop = shop_of(a_line(quantity_per_piece="1.5"))

        assert told(shop, ("hdpe", "4")) == [f"4 kg were issued, but 20 pieces contain 30 kg: HDPE flakes. {REMEDY}"]
        assert told(shop, ("hdpe", "29.39")) == [
            f"29.39 kg were issued, but 20 pieces contain 30 kg: HDPE flakes. {REMEDY}"
        ]
        assert told(shop, ("hdpe", "29.4")) == told(shop, ("hdpe", None, "2")) == told(shop) == []

    def test_is_less_what_came_back(self) -> None:
        shop = shop_of(a_line(quantity_per_piece="1.5"))

        assert told(shop, ("hdpe", "40", "15")) == [
            f"40 kg were issued and 15 kg came back, but 20 pieces contain 30 kg: HDPE flakes. {REMEDY}"
        ]
        assert told(shop, ("hdpe", "40", "10")) == []

    def test_is_of_all_lines_and_of_the_parts_in_good_units_alone(self) -> None:
        lines = a_line(quantity_per_piece="1"), a_line(quantity_per_piece="0.5"), a_line(product="part-1")
        shop = shop_of(*lines, a_line(quantity_per_piece="0", quantity_per_batch="3"), part=a_line())

        assert told(shop, ("hdpe", "49.5")) == []  # 20 × (1 + 0.5 + 1), whatever scrap was expected
        assert "20 pieces contain 50 kg" in told(shop, ("hdpe", "40"))[0]

    def test_is_not_told_where_another_material_may_have_stood_in(self) -> None:
        lines = a_line(quantity_per_piece="1"), a_line(material="pure", quantity_per_piece="1")
        shop = shop_of(*lines, pure=a_material(name="Pure"))

        assert told(shop, ("hdpe", "10"), ("pure", "30")) == told(shop, ("hdpe", "16")) == []
        (estimated,) = told(shop, ("hdpe", "10"))
        names = "HDPE flakes, Pure, as estimated where nobody counted"
        assert estimated == f"35 kg were issued, but 20 pieces contain 40 kg: {names}. {REMEDY}"
        assert told(shop, ("hdpe", "10"), ("pure", "20"), supplied=("pure",)) == []

    def test_is_of_each_unit_in_whole_ones_and_not_of_packaging(self) -> None:
        lines = [a_line(material=each, quantity_per_piece=of) for each, of in (("screw", "0.99"), ("wrap", "2"))]
        screw, wrap = (
            replace(a_material(name=each), unit=unit) for each, unit in (("S", Unit.PIECE), ("W", Unit.METRE))
        )
        shop = shop_of(*lines, screw=screw, wrap=replace(wrap, use=MaterialUse.PACKAGING))

        assert told(shop, ("screw", "19"), ("wrap", "1")) == []
        assert told(shop, ("screw", "18")) == [f"18 pieces were issued, but 20 pieces contain 19.8 pieces: S. {REMEDY}"]

    def test_is_nothing_of_a_batch_that_was_lost(self) -> None:
        shop = shop_of(a_line(quantity_per_piece="1.5"))

        assert told(shop, ("hdpe", "4"), good_units="0", units_started="20") == []
