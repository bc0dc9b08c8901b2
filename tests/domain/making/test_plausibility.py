"""When warnings appear and when they do not, and the cautions that follow from heated materials."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from service.domain.making.explosion import bill_of_resources
from service.domain.making.plausibility import cautions_of, warnings
from service.domain.making.products import Catalogue, Operation, Product
from service.domain.safety.cautions import Caution
from service.domain.values.message import PlausibilityWarning
from service.encoding import trusted
from tests.domain.examples import (
    a_bare_machine,
    a_catalogue,
    a_line,
    a_machine,
    a_material,
    a_product,
    an_operation,
    an_overhead,
    bench_work,
)

SCRAP = {"yield_share": "0.95"}
SIDES = ("length_mm", "width_mm", "height_mm")


def warned(*products: Product, quantity: int = 10, **changes: Any) -> dict[str, PlausibilityWarning]:
    catalogue = a_catalogue(*products, **changes)
    found = warnings(bill_of_resources("sheet", quantity, catalogue), catalogue)
    return {warning.code: warning for warning in found}


def timed(**changes: Any) -> Operation:
    """Work of one person at a bench that takes a minute a piece."""
    labour = [{"labour_grade": "operator", "attendance": "1"}]
    return bench_work(**{"cycle_minutes": "1", "labour": labour, **changes})


def stored(**changes: Any) -> Operation:
    """The same as it was stored before attendance was required."""
    return trusted({"name": "trimming", "cycle_minutes": "1", **SCRAP, **changes}, Operation)


def a_plate(*lines: Any, mass: str | None = "1", **changes: Any) -> Product:
    return a_product(bill_of_materials=list(lines) or [a_line()], operations=[timed(**SCRAP)], mass_kg=mass, **changes)


def a_pressing(**changes: Any) -> Any:
    return an_operation(**{"setup_minutes": "0", "labour": [], "processing_temperature_c": "200", **SCRAP, **changes})


class TestAYieldOf1:
    def test_on_every_step_is_implausible(self) -> None:
        warning = warned(a_product(operations=[timed(), timed(name="again")]))["no-scrap"]

        assert "Every step of Sheet has a yield of 1" in warning.text
        assert warning.source == "common practice, no source"

    def test_on_some_steps_or_without_any_step_brings_no_warning(self) -> None:
        assert warned(a_product(operations=[timed(), timed(name="again", **SCRAP)])) == {}
        assert warned(a_product(operations=[])) == {}

    def test_of_a_sub_assembly_is_reported_under_its_code(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1")], operations=[])

        assert warned(whole, a_product(operations=[timed()]))["no-scrap"].product == "part-1"


class TestUnits:
    """Products by the kilogram, the metre and the hour are judged by one unit, and sentences name it."""

    @staticmethod
    def by(unit: str, line: Any = None, **changes: Any) -> Product:
        return a_product(
            **{"unit": unit, "bill_of_materials": [line or a_line()], "operations": [timed(**SCRAP)], **changes}
        )

    def test_a_kilogram_of_a_kilogram_brings_no_warning(self) -> None:
        assert warned(self.by("kg")) == {}

    @pytest.mark.parametrize(
        ("quantity", "code", "told"),
        [
            ("0.9", "mass-above-materials", "Its bill of materials puts 0.9 kg into a kilogram. Something"),
            ("1.3", "mass-below-materials", "Its bill of materials puts 1.3 kg into a kilogram. Enter"),
        ],
    )
    def test_of_more_or_less_is_told_as_such(self, quantity: str, code: str, told: str) -> None:
        assert warned(self.by("kg", a_line(quantity_per_piece=quantity)))[code].text.startswith(told)

    def test_of_the_customer_s_own_plastic_needs_no_bill_of_materials(self) -> None:
        assert warned(self.by("kg", bill_of_materials=[])) == {}
        assert set(warned(self.by("m", mass_kg="2", bill_of_materials=[]))) == {"mass-above-materials"}

    def test_by_weight_counts_as_a_part(self) -> None:
        plate = a_plate(a_line(product="part-1", quantity_per_piece="2"), mass="2.1")

        assert "adds up to 2 kg" in warned(plate, self.by("kg"))["mass-above-materials"].text

    def test_without_measures_of_their_own_are_not_judged_by_those_of_a_sack(self) -> None:
        sides = dict.fromkeys(SIDES, "600")

        assert warned(self.by("kg", **sides)) == {}
        assert warned(self.by("m", mass_kg="1", **sides))["mass-below-measures"].text.startswith("One m weighs 1 kg, ")
        heavy = self.by("m2", a_line(quantity_per_piece="999"), mass_kg="999", **sides)
        assert warned(heavy)["mass-above-measures"].text.startswith("One m² weighs 999 kg, but a solid block")

    def test_that_lose_nothing_at_all_are_implausible(self) -> None:
        steps = [timed()]

        found = warned(self.by("kg", name="Mix", operations=steps))

        assert found["no-scrap"].text.startswith(
            "Every step of Mix has a yield of 1 and no material has a process_loss_share"
        )
        assert warned(self.by("kg", a_line(process_loss_share="0.02"), operations=steps)) == {}
        assert warned(self.by("hour", operations=steps)) == {}

    @pytest.mark.parametrize(("unit", "named"), [("kg", "kg"), ("hour", "h"), ("m3", "m³")])
    def test_bear_a_pool_on_pieces_as_a_piece_does(self, unit: str, named: str) -> None:
        pools = {"care": an_overhead("piece", name="Care"), "rent": an_overhead()}

        found = warned(self.by(unit, name="Mix"), overheads=pools)

        assert set(found) == {"pool-on-units"}
        assert found["pool-on-units"].text == (
            f"'Care' is spread over pieces, and each {named} of Mix bears as much of it as a piece of anything else. "
            "Spread it over hours or orders, or name the products that it bears on."
        )

    def test_do_not_bear_a_pool_of_other_products(self) -> None:
        brick, pools = a_plate(), {"care": an_overhead("piece", products=["part-1"])}

        assert warned(self.by("kg"), brick, overheads=pools) == {}
        assert warned(brick, overheads={"care": an_overhead("piece")}) == {}

    def test_as_a_caution_name_the_unit_that_is_heavy(self) -> None:
        catalogue = a_catalogue(self.by("m", mass_kg="30"), self.by("kg"))
        bills = [bill_of_resources(code, 1, catalogue) for code in ("sheet", "part-1")]

        (heavy,) = [each for each in cautions_of(bills, catalogue) if each.code == "too-heavy-for-one-person"]

        assert heavy.text.startswith("One m weighs 30 kg, ")


class TestTime:
    def test_of_0_for_an_operation_is_implausible(self) -> None:
        warning = warned(a_product(operations=[timed(cycle_minutes="0", **SCRAP)]))["no-time"]

        assert warning.text == (
            "'trimming' takes no time, so neither labour nor a machine is costed for it. Give its cycle_minutes "
            "or units_per_hour, or setup_minutes for what is done once a batch."
        )
        assert warning.product == "sheet"

    @pytest.mark.parametrize("time", ["setup_minutes", "warm_up_minutes", "cycle_minutes", "units_per_hour"])
    def test_of_any_kind_is_enough(self, time: str) -> None:
        pressed = a_pressing(**{"cycle_minutes": "0", "processing_temperature_c": None, time: "1"})

        assert warned(a_product(operations=[pressed])) == {}


class TestLabour:
    @pytest.mark.parametrize(
        "times",
        [
            {"cycle_minutes": "35"},
            {"setup_minutes": "20", "cycle_minutes": "35"},
            {"setup_minutes": "20", "cycle_minutes": "0"},
        ],
    )
    def test_without_attendance_or_a_crew_is_warned_of_since_it_costs_nothing(self, times: dict[str, str]) -> None:
        bench = stored(labour=[{"labour_grade": "operator"}], **times)

        found = warned(a_product(operations=[bench]))

        assert set(found) == {"no-labour-time"}
        assert found["no-labour-time"].text == (
            "'trimming' names Operator, but the labour costs nothing, because nobody attends it. Give attendance "
            "(1 is one person all the time that it runs), or setup_crew with setup_minutes."
        )

    def test_that_attends_a_cycle_of_0_is_told_so_and_not_that_nobody_attends(self) -> None:
        labour = [{"labour_grade": "operator", "attendance": "0.5"}]
        bench = timed(setup_minutes="20", cycle_minutes="0", labour=labour, **SCRAP)

        found = warned(a_product(operations=[bench]))

        assert set(found) == {"no-labour-time"}
        assert found["no-labour-time"].text == (
            "'trimming' names Operator, but the labour costs nothing, because its run takes no time. Give "
            "cycle_minutes or units_per_hour, or setup_crew for who sets it up."
        )

    def test_that_nobody_names_where_no_machine_works_is_warned_of(self) -> None:
        found = warned(a_product(operations=[timed(cycle_minutes="35", labour=[], **SCRAP)]))

        assert set(found) == {"nobody-works"}
        assert found["nobody-works"].product == "sheet"
        assert found["nobody-works"].text == (
            "'trimming' takes time, but costs nothing, because it names neither labour nor a machine. Name who does "
            "it, with attendance, unless the work only waits there."
        )

    def test_that_nobody_names_is_not_missed_where_a_machine_works(self) -> None:
        assert warned(a_product(operations=[a_pressing(processing_temperature_c=None)])) == {}

    def test_of_a_crew_without_a_setup_is_warned_of_too(self) -> None:
        bench = timed(labour=[{"labour_grade": "operator", "setup_crew": "1"}], **SCRAP)

        assert set(warned(a_product(operations=[bench]))) == {"no-labour-time"}

    @pytest.mark.parametrize(
        "people", [{"attendance": "0.25"}, {"setup_crew": "1"}, {"attendance": "1", "setup_crew": "2"}]
    )
    def test_that_attends_or_sets_up_brings_no_warning(self, people: dict[str, str]) -> None:
        bench = timed(setup_minutes="10", labour=[{"labour_grade": "operator", **people}], **SCRAP)

        assert warned(a_product(operations=[bench])) == {}

    def test_of_an_operation_without_time_brings_no_second_warning(self) -> None:
        bench = stored(cycle_minutes="0", labour=[{"labour_grade": "operator"}])

        assert set(warned(a_product(operations=[bench]))) == {"no-time"}

    def test_of_a_sub_assembly_is_reported_under_its_code(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1")], operations=[])
        part = a_product(operations=[stored(labour=[{"labour_grade": "operator"}])])

        assert warned(whole, part)["no-labour-time"].product == "part-1"


class TestMass:
    def test_above_that_of_the_materials_is_implausible(self) -> None:
        warning = warned(a_plate(a_line(quantity_per_piece="0.9995"), mass="1.001"))["mass-above-materials"]

        assert "A piece weighs 1.001 kg, but its bill of materials adds up to 1 kg." in warning.text
        assert warning.source == "conservation of mass"

    def test_of_next_to_nothing_is_never_told_as_0(self) -> None:
        found = warned(a_plate(a_line(quantity_per_piece="0.00004"), mass="0.0361"))

        assert "A piece weighs 0.036 kg, but its bill of materials adds up to 0.00004 kg." in (
            found["mass-above-materials"].text
        )

    def test_up_to_that_of_the_materials_brings_no_warning(self) -> None:
        assert warned(a_plate(mass="1")) == {}
        assert warned(a_plate(mass=None)) == {}

    def test_includes_the_mass_of_a_sub_assembly(self) -> None:
        part = a_plate(a_line(quantity_per_piece="0.25"), mass="0.25")
        lines = [a_line(product="part-1", quantity_per_piece="2"), a_line(quantity_per_piece="0.5")]

        assert warned(a_plate(*lines, mass="1"), part) == {}
        assert set(warned(a_plate(*lines, mass="1.1"), part)) == {"mass-above-materials"}

    def test_counts_a_unit_by_its_mass_and_leaves_out_packaging(self) -> None:
        bolt = a_material(unit="piece", polymer=None, mass_kg_per_unit="0.5")
        carton = a_material(unit="piece", polymer=None, use="packaging")
        lines = [a_line(material="bolt"), a_line(material="carton")]

        assert warned(a_plate(*lines, mass="0.5"), materials={"bolt": bolt, "carton": carton}) == {}
        assert set(warned(a_plate(*lines, mass="0.6"), materials={"bolt": bolt, "carton": carton})) == {
            "mass-above-materials"
        }

    @pytest.mark.parametrize("unknown", ["material", "product"])
    def test_is_not_judged_where_the_mass_of_anything_in_it_is_unknown(self, unknown: str) -> None:
        cord = a_material(unit="m", polymer=None)
        line = a_line(material="cord") if unknown == "material" else a_line(product="part-1")

        plate = a_plate(a_line(), line, mass="99")

        assert warned(plate, a_plate(mass=None), materials={"hdpe": a_material(), "cord": cord}) == {}

    @pytest.mark.parametrize(("mass", "is_told"), [("0.8", False), ("0.79", True), ("1", False)])
    def test_far_below_that_of_the_materials_is_a_loss_in_the_wrong_place(self, mass: str, *, is_told: bool) -> None:
        found = warned(a_plate(a_line(quantity_per_piece="1"), mass=mass))

        assert set(found) == {"mass-below-materials"} if is_told else found == {}
        if is_told:
            assert found["mass-below-materials"].text == (
                "A piece weighs 0.79 kg, but its bill of materials puts 1 kg into it. Enter what is lost as "
                "process_loss_share or yield_share, or correct a quantity or a mass."
            )


class TestMeasures:
    """A block of 100 × 100 × 100 mm is a litre: 0.97 kg of HDPE at most."""

    @staticmethod
    def warned_of(mass: str, line: Any = None, **changes: Any) -> dict[str, PlausibilityWarning]:
        lines = [line] if line else [a_line(quantity_per_piece=mass)]
        litre = {"length_mm": "100", "width_mm": "100", "height_mm": "100", "mass_kg": mass}
        product = a_product(bill_of_materials=lines, operations=[timed(**SCRAP)], **{**litre, **changes})
        return warned(product)

    @pytest.mark.parametrize(
        ("mass", "told"),
        [
            ("1.0185", []),  # 5 % above 0.97
            ("1.0186", ["mass-above-measures"]),
            ("0.97", []),
            ("0.0097", []),
            ("0.0096", ["mass-below-measures"]),
        ],
    )
    def test_that_cannot_have_the_mass_are_told(self, mass: str, told: list[str]) -> None:
        assert [*self.warned_of(mass)] == told

    def test_are_told_with_the_block_and_the_remedy(self) -> None:
        above, below = self.warned_of("1500")["mass-above-measures"], self.warned_of("0.0015")["mass-below-measures"]

        assert above.text == (
            "A piece weighs 1500 kg, but a solid block of its measures would weigh 0.97 kg at most. Check the mass "
            "(kg) and the measures (mm)."
        )
        assert "Unless it is almost all air" in below.text
        assert below.source.startswith("highest published densities")

    @pytest.mark.parametrize("unknown", ["length_mm", "width_mm", "height_mm", "mass_kg"])
    def test_are_not_judged_where_one_is_unknown(self, unknown: str) -> None:
        assert self.warned_of("99", **{unknown: None}) == {}

    @pytest.mark.parametrize("material", [{"polymer": None}, {"polymer": "other"}, {"polymer": "unidentified"}])
    def test_are_not_judged_where_a_polymer_is_unknown(self, material: dict[str, Any]) -> None:
        lines = [a_line(quantity_per_piece="1"), a_line(material="what", quantity_per_piece="8")]
        plate = a_plate(*lines, mass="9", length_mm="100", width_mm="100", height_mm="100")

        assert warned(plate, materials={"hdpe": a_material(), "what": a_material(**material)}) == {}
        assert set(warned(plate, materials={"hdpe": a_material(), "what": a_material()})) == {"mass-above-measures"}

    def test_are_of_the_densest_polymer_in_it_and_of_no_packaging_or_purge(self) -> None:
        carton = a_material(unit="kg", polymer=None, use="packaging")
        purge = a_line(material="purge", quantity_per_piece="0", quantity_per_batch="2")
        lines = [a_line(quantity_per_piece="0.5"), a_line(material="pet", quantity_per_piece="0.9"), purge]
        plate = a_plate(*lines, a_line(material="carton"), mass="1.4", **dict.fromkeys(SIDES, "100"))
        known = {"hdpe": a_material(), "pet": a_material(polymer="PET"), "purge": a_material(polymer=None)}

        assert warned(plate, materials={**known, "carton": carton}) == {}

    def test_of_a_sub_assembly_count_its_materials(self) -> None:
        part = a_plate(a_line(quantity_per_piece="9"), mass="9")
        whole = a_plate(a_line(product="part-1"), mass="9", **dict.fromkeys(SIDES, "100"))

        assert set(warned(whole, part)) == {"mass-above-measures"}


class TestElectricity:
    def test_that_could_not_even_melt_the_polymer_is_implausible(self) -> None:
        pressed = a_product(operations=[a_pressing(cycle_minutes="0.01")])

        warning = warned(pressed)["less-energy-than-melting"]

        per_kg = (Decimal("1.8") * 180 + Decimal("161.15")) / 3600  # to 200 °C from 20 °C, and melting it
        least = (Decimal(96) / Decimal("0.95") * per_kg).quantize(Decimal("0.001"))
        assert "'pressing' draws 0.013 kWh for the batch" in warning.text  # 10 cycles ÷ 0.95 of 0.01 minutes at 7.2 kW
        assert f"heating its polymer to 200 °C takes about {least} kWh without any loss" in warning.text

    @pytest.mark.parametrize(("minutes", "is_told"), [("85", True), ("86.5", False)])
    def test_of_four_fifths_of_that_is_enough(self, minutes: str, *, is_told: bool) -> None:
        """96 ÷ 0.95 kg × 0.13476 kWh × 0.8 = 10.9 kWh are 86.2 minutes at 7.2 kW and 10 cycles ÷ 0.95."""
        pressed = a_product(operations=[a_pressing(cycle_minutes=str(Decimal(minutes) / 10))])

        assert ("less-energy-than-melting" in warned(pressed)) is is_told

    def test_that_could_brings_no_warning(self) -> None:
        assert warned(a_product(operations=[a_pressing(cycle_minutes="90")])) == {}

    @pytest.mark.parametrize(
        ("operation", "material"),
        [
            ({"processing_temperature_c": None}, {}),
            ({}, {"polymer": None}),
            ({}, {"polymer": "other"}),
            ({}, {"unit": "m"}),
            ({"processing_temperature_c": "20"}, {}),
        ],
    )
    def test_is_not_judged_where_nothing_is_heated_or_the_polymer_is_unknown(
        self, operation: dict[str, Any], material: dict[str, Any]
    ) -> None:
        pressed = a_product(operations=[a_pressing(cycle_minutes="0.01", **operation)])

        assert warned(pressed, materials={"hdpe": a_material(**material)}) == {}

    def test_is_not_judged_at_a_bench(self) -> None:
        welding = timed(processing_temperature_c="200", **SCRAP)

        assert warned(a_product(operations=[welding])) == {}

    def test_of_an_operation_has_only_to_melt_what_has_entered_by_then(self) -> None:
        steps = [a_pressing(cycle_minutes="0.01"), timed(name="trimming")]
        late = a_product(bill_of_materials=[a_line(operation="trimming")], operations=steps)
        early = a_product(bill_of_materials=[a_line(operation="pressing")], operations=steps)

        assert warned(late) == {}
        assert set(warned(early)) == {"less-energy-than-melting"}

    def test_of_a_product_need_not_melt_the_material_of_its_parts(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1")], operations=[a_pressing(cycle_minutes="0.01")])

        assert warned(whole, a_plate(mass=None)) == {}

    def test_of_a_product_has_to_melt_the_flakes_that_the_workshop_makes_itself(self) -> None:
        """0.8 kg of HDPE in a kilogram of mix, of which half is flakes, and none of its bag or its metal foot."""
        bag = a_material(unit="kg", use="packaging")
        lines = [a_line(quantity_per_piece="0.3"), a_line(product="part-2", quantity_per_piece="0.5")]
        mix = a_product(unit="kg", bill_of_materials=[*lines, a_line(material="bag")], operations=[])
        flakes, foot = a_product(unit="kg", bill_of_materials=[a_line()], operations=[]), a_plate(mass=None)
        parts = [a_line(product=code) for code in ("part-1", "part-3", "part-2")]
        pressing = a_pressing(cycle_minutes="0.01", yield_share="1")
        pressed = a_product(bill_of_materials=parts, operations=[pressing, timed(**SCRAP)])

        found = warned(pressed, mix, flakes, foot, materials={"hdpe": a_material(), "bag": bag})

        per_kg = (Decimal("1.8") * 180 + Decimal("161.15")) / 3600
        least = (Decimal(18) / Decimal("0.95") * per_kg).quantize(Decimal("0.001"))
        assert f"takes about {least} kWh" in found["less-energy-than-melting"].text

    @pytest.mark.parametrize(("an_hour", "is_told"), [("66", False), ("67", True)])
    def test_of_a_throughput_is_judged_by_the_hour(self, an_hour: str, *, is_told: bool) -> None:
        """7.2 kWh an hour heat 7.2 ÷ (0.13476 × 0.8) = 66.8 kg of HDPE to 200 °C."""
        extruding = a_pressing(cycle_minutes="0", units_per_hour=an_hour, yield_share="0.95")
        flakes = a_product(unit="kg", bill_of_materials=[a_line(quantity_per_piece="1")], operations=[extruding])

        found = warned(flakes)

        assert ("less-energy-than-melting" in found) is is_told
        if is_told:
            assert found["less-energy-than-melting"].text.endswith("power, load factor and throughput.")

    def test_of_a_machine_without_power_melts_nothing(self) -> None:
        pressed = a_product(operations=[a_pressing(band_shares={})])

        assert set(warned(pressed, machines={"press": a_bare_machine()})) == {"less-energy-than-melting"}
        assert warned(pressed, machines={"press": a_machine(rated_power_kw="90")}, tariffs=ONE_BAND) == {}

    def test_of_a_machine_without_power_is_enough_where_no_known_polymer_is_melted(self) -> None:
        pressed = a_product(operations=[a_pressing(band_shares={})])

        assert warned(pressed, machines={"press": a_bare_machine()}, materials={"hdpe": a_material(polymer=None)}) == {}


ONE_BAND = {"grid": a_catalogue().tariffs["grid"].__class__(name="Grid", bands=("flat",))}


GENERAL = {"storage", "machine-without-kind", "electrical-supply", "lone-work", "instruction", "sorting"} | {
    "no-promise-of-fitness"
}


def of_the_work(catalogue: Catalogue) -> list[Caution]:
    """The cautions for one sheet, without those that come with any machine, any plastic, or always."""
    found = cautions_of([bill_of_resources("sheet", 1, catalogue)], catalogue)
    return [each for each in found if each.code not in GENERAL]


class TestCautions:
    def codes(self, *products: Product, **changes: Any) -> list[str]:
        return [each.code for each in of_the_work(a_catalogue(*products, **changes))]

    def test_come_from_what_is_heated_anywhere_in_the_product(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1")], operations=[])

        assert self.codes(whole, a_product(operations=[a_pressing()])) == ["hot-work"]

    def test_are_none_where_nothing_is_heated(self) -> None:
        assert self.codes(a_product(operations=[a_pressing(processing_temperature_c=None)])) == []
        assert self.codes(a_product(operations=[bench_work()])) == []

    def test_treat_a_material_without_a_polymer_as_unidentified(self) -> None:
        materials = {"hdpe": a_material(name="Mixed flakes", polymer=None)}
        catalogue = a_catalogue(a_product(operations=[a_pressing(processing_temperature_c="240")]), materials=materials)

        found = of_the_work(catalogue)

        assert [each.code for each in found] == ["unidentified-polymer", "hot-work"]
        assert found[0].text.startswith("an unidentified polymer (from Mixed flakes) at 240 °C in 'Sheet, pressing': ")

    def test_treat_an_unidentified_material_as_a_fire_load_in_store(self) -> None:
        materials = {"hdpe": a_material(name="Mixed flakes", polymer=None)}
        catalogue = a_catalogue(a_product(operations=[a_pressing()]), materials=materials)

        found = cautions_of([bill_of_resources("sheet", 10, catalogue)], catalogue)

        (storage,) = [each.text for each in found if each.code == "storage"]
        assert storage.startswith("Mixed flakes: stored plastic is a heavy fire load")

    @pytest.mark.parametrize(
        ("operation", "machine"),
        [({"warm_up_minutes": "30"}, {}), ({}, {"warm_up_power_kw": "9"}), ({}, {"kind": "oven"})],
        ids=["warm-up time", "warm-up power", "kind"],
    )
    def test_do_not_need_a_temperature_where_the_machine_heats(
        self, operation: dict[str, Any], machine: dict[str, Any]
    ) -> None:
        pressed = a_product(operations=[a_pressing(processing_temperature_c=None, **operation)])
        catalogue = a_catalogue(
            pressed, materials={"hdpe": a_material(polymer="PVC")}, machines={"press": a_machine(**machine)}
        )

        found = of_the_work(catalogue)

        assert [each.code for each in found] == ["hydrogen-chloride", "hot-work"]
        assert "in 'Sheet, pressing' at a temperature not declared, usually 150 to 200 °C: hot PVC" in found[0].text

    def test_do_not_need_a_bill_of_materials_to_warn_of_heat(self) -> None:
        catalogue = a_catalogue(a_product(bill_of_materials=[], operations=[a_pressing()]))

        found = of_the_work(catalogue)

        assert [each.code for each in found] == ["unidentified-polymer", "hot-work"]
        assert "(from a material that is not on the bill) at 200 °C" in found[0].text

    def test_do_not_treat_steel_as_a_polymer_where_another_material_names_one(self) -> None:
        cast_in = a_product(bill_of_materials=[a_line(), a_line(material="rod")], operations=[a_pressing()])
        materials = {"hdpe": a_material(), "rod": a_material(polymer=None)}

        assert self.codes(cast_in, materials=materials) == ["hot-work"]

    def test_treat_packaging_as_heated_only_where_there_is_nothing_else(self) -> None:
        lines = [a_line(), a_line(material="film")]
        packed = a_product(bill_of_materials=lines, operations=[a_pressing()])
        film = a_material(polymer="ABS", use="packaging")

        assert self.codes(packed, materials={"hdpe": a_material(), "film": film}) == ["hot-work"]
        assert self.codes(packed, materials={"hdpe": film, "film": film}) == ["styrene-fume", "hot-work"]
        assert "unidentified-polymer" in self.codes(packed, materials={"hdpe": a_material(polymer=None), "film": film})

    def test_name_the_material_the_product_and_the_operation(self) -> None:
        catalogue = a_catalogue(a_product(name="Blue sheet", operations=[a_pressing()]))

        (caution,) = of_the_work(catalogue)

        assert "HDPE (from HDPE flakes) at 200 °C in 'Blue sheet, pressing': " in caution.text

    def test_include_the_polymer_of_flakes_that_the_workshop_makes_itself(self) -> None:
        sheet = a_product(name="PS sheet", operations=[a_pressing(processing_temperature_c="240")])
        sheet = replace(sheet, bill_of_materials=(a_line(product="part-1"), a_line(product="part-2")))
        flake = a_product(bill_of_materials=[a_line(material="scrap")], operations=[bench_work(name="sorting")])
        bag = a_product(bill_of_materials=[a_line(product="part-1")], operations=[])
        catalogue = a_catalogue(
            sheet, flake, bag, materials={"scrap": a_material(name="Yoghurt cups", polymer="PS", unit="kg")}
        )

        found = of_the_work(catalogue)

        assert [each.code for each in found] == ["styrene-fume", "hot-work"]
        assert found[0].text.startswith("PS (from Yoghurt cups) at 240 °C in 'PS sheet, pressing': the fume can hold")

    def test_leave_out_what_enters_after_the_heating(self) -> None:
        whole = a_product(
            bill_of_materials=[a_line(), a_line(product="part-1", operation="fitting")],
            operations=[a_pressing(), bench_work(name="fitting")],
        )
        fitting = a_product(bill_of_materials=[a_line(material="pipe")], operations=[])
        materials = {"hdpe": a_material(), "pipe": a_material(polymer="PVC")}

        assert self.codes(whole, fitting, materials=materials) == ["hot-work"]

    def test_follow_from_the_kind_of_a_machine_at_any_level(self) -> None:
        whole = a_product(bill_of_materials=[a_line(product="part-1")], operations=[bench_work()])
        flake = a_product(name="Flake", operations=[a_pressing(name="shredding", processing_temperature_c=None)])
        catalogue = a_catalogue(whole, flake, machines={"press": a_machine(name="Granulator", kind="shredder")})

        found = of_the_work(catalogue)

        assert [each.code for each in found] == ["drawn-in", "dust", "thrown-out", "noise"]
        assert all(each.text.startswith("Granulator in 'Flake, shredding': ") for each in found)

    def test_of_several_products_are_stated_once_with_everything_they_concern(self) -> None:
        sheet = a_product(name="Sheet", operations=[a_pressing()], declared_uses=["toy"], mass_kg="26")
        slab = a_product(name="Slab", operations=[a_pressing()], declared_uses=["toy", "outdoor"], mass_kg="30")
        catalogue = a_catalogue(sheet, slab, a_plate(mass=None))
        bills = [bill_of_resources(code, 1, catalogue) for code in ("sheet", "part-1", "part-2", "sheet")]

        found = [each for each in cautions_of(bills, catalogue) if each.code not in GENERAL]

        assert [each.code for each in found] == ["hot-work", "too-heavy-for-one-person", "use-toy", "use-outdoor"]
        assert "'Sheet, pressing', HDPE (from HDPE flakes) at 200 °C in 'Slab, pressing': hot" in found[0].text
        assert found[1].text.startswith("One piece weighs 30 kg, ")

    def test_name_every_machine_and_all_plastic_in_store_wherever_they_are(self) -> None:
        whole = a_product(
            bill_of_materials=[a_line(product="part-1"), a_line(material="rod")], operations=[a_pressing()]
        )
        flake = a_product(bill_of_materials=[a_line(material="caps")], operations=[bench_work()])
        materials = {"rod": a_material(name="Rod", polymer=None), "caps": a_material(name="PP caps", polymer="PP")}
        catalogue = a_catalogue(whole, flake, materials=materials, machines={"press": a_machine(name="Press")})

        found = {each.code: each for each in cautions_of([bill_of_resources("sheet", 1, catalogue)], catalogue)}

        assert found["storage"].text.startswith("PP caps: ")
        assert found["machine-without-kind"].text.startswith("Press in 'Sheet, pressing': nobody registered")
        assert found["electrical-supply"].text.startswith("Press: ")
        assert found["lone-work"].text.startswith("Press: ")

    def test_ask_for_no_electrician_where_a_machine_draws_no_power(self) -> None:
        by_hand = a_machine(rated_power_kw="0", idle_power_kw="0", warm_up_power_kw="0")
        catalogue = a_catalogue(a_product(operations=[a_pressing()]), machines={"press": by_hand})

        found = [each.code for each in cautions_of([bill_of_resources("sheet", 1, catalogue)], catalogue)]

        assert "lone-work" in found
        assert "electrical-supply" not in found
