"""Cautions: each danger is named once, with a source, and defers to local codes and licensed practice."""

from collections.abc import Iterable
from dataclasses import replace
from decimal import Decimal
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.safety.cautions import Caution, Concern, DeclaredUse
from service.domain.safety.hazards import ONE_PERSON_LIMIT_KG, WORST_FIRST, HeatedPolymer, cautions, shipping_cautions
from service.domain.safety.machines import MachineKind, WorkingMachine
from service.domain.safety.polymers import THERMAL_DATA, Polymer


def a_heated(
    polymer: Polymer = Polymer.HDPE, temperature_c: str | None = "200", where: str = "pressing"
) -> HeatedPolymer:
    return HeatedPolymer(
        polymer=polymer,
        processing_temperature_c=None if temperature_c is None else Decimal(temperature_c),
        materials=("flakes",),
        where=where,
    )


def at_a_machine(kind: MachineKind | None, machine: str = "Machine", where: str = "working") -> WorkingMachine:
    return WorkingMachine(kind=kind, machine=machine, where=where)


def cautions_of(
    *heated: HeatedPolymer,
    uses: Iterable[DeclaredUse] = (),
    mass_kg: str | None = None,
    at: Iterable[WorkingMachine] = (),
    plastics: Iterable[str] = (),
) -> dict[str, Caution]:
    """All cautions by code."""
    found = cautions(heated, uses, None if mass_kg is None else Decimal(mass_kg), at, plastics)
    by_code = {caution.code: caution for caution in found}
    assert len(by_code) == len(found)
    return by_code


GENERAL = {"lone-work", "instruction", "electrical-supply", "sorting", "no-promise-of-fitness"}
"""Cautions that come with any machine, with any shredder, or always."""


def specific(found: dict[str, Caution]) -> list[str]:
    """The codes of the cautions that are not general."""
    return [code for code in found if code not in GENERAL]


heated_polymers = st.builds(
    HeatedPolymer,
    polymer=st.sampled_from(Polymer),
    processing_temperature_c=st.none() | st.decimals(min_value=20, max_value=400, places=0),
    materials=st.sampled_from([("flakes",), ("flakes", "pigment")]),
    where=st.sampled_from(["extruding", "pressing", "welding"]),
)
everything = (
    st.lists(heated_polymers, max_size=8),
    st.lists(st.sampled_from(DeclaredUse), max_size=8),
    st.none() | st.decimals(min_value=0, max_value=100, places=3),
    st.lists(
        st.builds(at_a_machine, st.none() | st.sampled_from(MachineKind), st.sampled_from(["Old", "New"])), max_size=8
    ),
)


class TestNothingToSay:
    def test_cold_work_on_a_light_piece_without_a_declared_use_still_promises_no_fitness(self) -> None:
        (found,) = cautions([], [], Decimal("2.5"))

        assert found.code == "no-promise-of-fitness"
        assert found.concerns is Concern.PRODUCT
        assert "fit for a use (nobody has declared one). " in found.text

    def test_a_piece_of_unknown_mass_brings_no_more(self) -> None:
        assert cautions([], [], None) == cautions([], [], Decimal("2.5"))


class TestHotWork:
    def test_any_heated_polymer_brings_a_caution_of_burns_and_fumes(self) -> None:
        found = cautions_of(a_heated(Polymer.HDPE, "200", "pressing"))

        assert specific(found) == ["hot-work"]
        assert found["hot-work"].text.startswith("HDPE (from flakes) at 200 °C in 'pressing': hot plastic and hot")

    def test_the_usual_temperature_is_stated_where_none_is_declared(self) -> None:
        text = cautions_of(a_heated(Polymer.HDPE, None))["hot-work"].text

        assert text.startswith("HDPE (from flakes) in 'pressing' at a temperature not declared, usually 190 to 260 °C:")

    @pytest.mark.parametrize(
        ("polymer", "name"), [(Polymer.OTHER, "another polymer"), (Polymer.UNIDENTIFIED, "an unidentified polymer")]
    )
    def test_no_temperature_is_invented_for_a_polymer_without_data(self, polymer: Polymer, name: str) -> None:
        assert cautions_of(a_heated(polymer, None))["hot-work"].text.startswith(f"{name} (from flakes) in 'pressing': ")

    def test_one_caution_lists_all_hot_work_in_order(self) -> None:
        work = [a_heated(Polymer.PP, "220"), a_heated(Polymer.HDPE, "210"), a_heated(Polymer.HDPE, None, "extruding")]

        assert cautions_of(*work)["hot-work"].text.startswith(
            "HDPE (from flakes) in 'extruding' at a temperature not declared, usually 190 to 260 °C, HDPE (from "
            "flakes) at 210 °C in 'pressing', PP (from flakes) at 220 °C in 'pressing': "
        )

    def test_the_same_work_twice_is_listed_once(self) -> None:
        assert cautions_of(a_heated(temperature_c="200"), a_heated(temperature_c="200.0")) == cautions_of(a_heated())

    def test_a_temperature_is_written_plainly(self) -> None:
        assert "at 200 °C" in cautions_of(a_heated(temperature_c="2E+2"))["hot-work"].text


class TestPolymersThatCallForACaution:
    @pytest.mark.parametrize(
        ("polymer", "code", "word"),
        [
            (Polymer.PVC, "hydrogen-chloride", "hydrogen chloride"),
            (Polymer.UNIDENTIFIED, "unidentified-polymer", "hydrogen chloride"),
            (Polymer.OTHER, "polymer-without-data", "safety data sheet"),
            (Polymer.PS, "styrene-fume", "styrene"),
            (Polymer.ABS, "styrene-fume", "styrene"),
        ],
    )
    @pytest.mark.parametrize("temperature_c", [None, "100"], ids=["undeclared", "cool"])
    def test_it_is_given_at_any_temperature_and_before_the_burns(
        self, polymer: Polymer, code: str, word: str, temperature_c: str | None
    ) -> None:
        found = cautions_of(a_heated(polymer, temperature_c, "welding"))

        assert specific(found) == [code, "hot-work"]
        assert word in found[code].text
        assert "in 'welding'" in found[code].text

    def test_two_styrene_polymers_share_one_caution(self) -> None:
        found = cautions_of(a_heated(Polymer.PS, "210"), a_heated(Polymer.ABS, "230", "extruding"))

        assert found["styrene-fume"].text.startswith(
            "ABS (from flakes) at 230 °C in 'extruding', PS (from flakes) at 210 °C in 'pressing': the fume"
        )

    def test_a_caution_names_only_the_polymers_it_is_about(self) -> None:
        found = cautions_of(a_heated(Polymer.PVC, "150"), a_heated(Polymer.HDPE, "200"))

        assert "HDPE" not in found["hydrogen-chloride"].text

    @pytest.mark.parametrize("polymer", [Polymer.HDPE, Polymer.LDPE, Polymer.PP, Polymer.PET, Polymer.PA, Polymer.PLA])
    def test_the_other_polymers_bring_no_caution_of_their_own(self, polymer: Polymer) -> None:
        assert specific(cautions_of(a_heated(polymer, "100"))) == ["hot-work"]


class TestDecomposition:
    @pytest.mark.parametrize("polymer", sorted(THERMAL_DATA))
    def test_it_is_given_above_the_decomposition_temperature_and_not_at_it(self, polymer: Polymer) -> None:
        limit_c = THERMAL_DATA[polymer].decomposition_temperature_c.value

        at_it = cautions_of(a_heated(polymer, str(limit_c)))
        above_it = cautions_of(a_heated(polymer, str(limit_c + Decimal("0.1"))))

        assert "above-decomposition-temperature" not in at_it
        assert f"({polymer} above {limit_c} °C)" in above_it["above-decomposition-temperature"].text

    def test_its_source_names_that_of_each_limit_once(self) -> None:
        work = [a_heated(Polymer.HDPE, "350"), a_heated(Polymer.LDPE, "350"), a_heated(Polymer.ABS, "270")]

        found = cautions_of(*work)["above-decomposition-temperature"]

        of_abs = THERMAL_DATA[Polymer.ABS].decomposition_temperature_c.source
        of_polyethylene = THERMAL_DATA[Polymer.HDPE].decomposition_temperature_c.source
        assert found.source == f"{of_abs}; {of_polyethylene}"
        assert "(ABS above 260 °C, HDPE above 335 °C, LDPE above 335 °C)" in found.text

    def test_work_below_its_limit_is_left_out(self) -> None:
        found = cautions_of(a_heated(Polymer.HDPE, "200"), a_heated(Polymer.ABS, "270"))

        assert found["above-decomposition-temperature"].text.startswith(
            "ABS (from flakes) at 270 °C in 'pressing': decomposition"
        )

    @pytest.mark.parametrize(
        "heated", [a_heated(Polymer.HDPE, None), a_heated(Polymer.OTHER, "900")], ids=["undeclared", "no data"]
    )
    def test_it_is_not_guessed(self, heated: HeatedPolymer) -> None:
        assert "above-decomposition-temperature" not in cautions_of(heated)


class TestDegradation:
    def test_hdpe_at_330_degrees_degrades_though_it_does_not_decompose_yet(self) -> None:
        found = cautions_of(a_heated(Polymer.HDPE, "330"))

        assert specific(found) == ["above-processing-temperature", "hot-work"]
        caution = found["above-processing-temperature"]
        assert caution.text.startswith(
            "HDPE (from flakes) at 330 °C in 'pressing': hotter than it is usually worked (HDPE above 260 °C). The "
        )
        assert caution.source.startswith(THERMAL_DATA[Polymer.HDPE].processing_temperature_c.source)

    @pytest.mark.parametrize("polymer", sorted(THERMAL_DATA))
    def test_it_is_given_between_the_usual_temperatures_and_decomposition(self, polymer: Polymer) -> None:
        usual_c = THERMAL_DATA[polymer].processing_temperature_c.high
        limit_c = THERMAL_DATA[polymer].decomposition_temperature_c.value

        hotter = cautions_of(a_heated(polymer, str(usual_c + Decimal("0.1"))))

        assert ("above-processing-temperature" in hotter) == (usual_c < limit_c)
        assert "above-processing-temperature" not in cautions_of(a_heated(polymer, str(usual_c)))
        assert "above-processing-temperature" not in cautions_of(a_heated(polymer, str(limit_c + 1)))

    @pytest.mark.parametrize("heated", [a_heated(Polymer.HDPE, None), a_heated(Polymer.UNIDENTIFIED, "330")])
    def test_it_is_not_guessed(self, heated: HeatedPolymer) -> None:
        assert "above-processing-temperature" not in cautions_of(heated)

    def test_each_polymer_is_in_its_own_caution(self) -> None:
        found = cautions_of(a_heated(Polymer.HDPE, "330"), a_heated(Polymer.PP, "330"), a_heated(Polymer.LDPE, "330"))

        assert "(HDPE above 260 °C, LDPE above 250 °C)" in found["above-processing-temperature"].text
        assert "(PP above 328 °C)" in found["above-decomposition-temperature"].text


class TestMachines:
    @pytest.mark.parametrize(
        ("kind", "codes"),
        [
            (MachineKind.SHREDDER, ["drawn-in", "dust", "thrown-out", "noise"]),
            (MachineKind.EXTRUDER, ["drawn-in", "thrown-out", "noise"]),
            (MachineKind.PRESS, ["crushing"]),
            (MachineKind.INJECTION, ["crushing", "thrown-out"]),
            (MachineKind.SAW, ["saw-blade", "dust", "thrown-out", "noise"]),
            (MachineKind.OVEN, []),  # burns and fume come with what it heats
            (MachineKind.MIXER, ["drawn-in", "dust"]),
            (MachineKind.OTHER, ["machine-without-data"]),
        ],
    )
    def test_each_kind_brings_its_own_cautions(self, kind: MachineKind, codes: list[str]) -> None:
        found = cautions_of(at=[at_a_machine(kind)])

        assert specific(found) == codes
        assert {each.concerns for each in found.values()} == {Concern.WORK, Concern.PRODUCT}
        assert [code for code, each in found.items() if each.concerns is Concern.PRODUCT] == ["no-promise-of-fitness"]

    def test_a_machine_whose_kind_nobody_registered_is_not_silent(self) -> None:
        found = cautions_of(at=[at_a_machine(None, "Old press", "pressing")])

        assert specific(found) == ["machine-without-kind"]
        assert found["machine-without-kind"].text.startswith("Old press in 'pressing': nobody registered what kind")

    def test_a_shredder_is_locked_out_before_somebody_reaches_in(self) -> None:
        caution = cautions_of(at=[at_a_machine(MachineKind.SHREDDER, "Granulator", "Flake, grinding")])["drawn-in"]

        assert caution.text.startswith("Granulator in 'Flake, grinding': knives, screws and paddles draw in hands")
        assert "lock the supply off" in caution.text
        assert "29 CFR 1910.147" in caution.source

    def test_one_caution_names_all_machines_with_a_danger(self) -> None:
        machines = [
            at_a_machine(MachineKind.SHREDDER, "Granulator", "grinding"),
            at_a_machine(MachineKind.EXTRUDER, "Extruder", "extruding"),
            at_a_machine(MachineKind.SHREDDER, "Granulator", "grinding"),
        ]

        found = cautions_of(at=machines)

        assert found["drawn-in"].text.startswith("Extruder in 'extruding', Granulator in 'grinding': knives")
        assert "Extruder" not in found["dust"].text


class TestThePlaceOfWork:
    def test_every_machine_needs_a_second_person_and_instruction(self) -> None:
        machines = [at_a_machine(kind, f"Machine {kind}") for kind in (None, *MachineKind)]

        found = cautions_of(at=[*machines, at_a_machine(MachineKind.OTHER, "Machine None", "elsewhere")])

        names = ", ".join(sorted(each.machine for each in machines))
        assert found["lone-work"].text.startswith(f"{names}: whoever is caught")
        assert "volunteers" in found["instruction"].text
        assert found["instruction"].text.startswith(f"{names}: only people who have been instructed")

    def test_machines_that_draw_power_need_a_licensed_electrician(self) -> None:
        by_hand = replace(at_a_machine(MachineKind.PRESS, "Hand press"), draws_power=False)

        assert "electrical-supply" not in cautions_of(at=[by_hand])
        found = cautions_of(at=[by_hand, at_a_machine(MachineKind.PRESS, "Sheet press")])["electrical-supply"]
        assert found.text.startswith("Sheet press: a supply ")
        assert "licensed electrician" in found.text

    def test_what_a_shredder_takes_is_sorted_first(self) -> None:
        at = [at_a_machine(MachineKind.SHREDDER, "Granulator"), at_a_machine(MachineKind.SAW, "Saw")]

        text = cautions_of(at=at)["sorting"].text

        assert text.startswith("Granulator: what goes in")
        assert all(word in text for word in ("needles", "residues", "batteries"))

    def test_stored_plastic_is_a_fire_load(self) -> None:
        found = cautions_of(plastics=["PP caps", "HDPE flakes"])

        assert list(found) == ["storage", "no-promise-of-fitness"]
        assert found["storage"].text.startswith("HDPE flakes, PP caps: stored plastic is a heavy fire load")
        assert "local fire code" in found["storage"].text


class TestShipping:
    def test_a_loaded_pallet_is_handled_by_people_who_can(self) -> None:
        (found,) = shipping_cautions([], [Decimal("480.5"), Decimal("612.25")])

        assert found.code == "loaded-pallet"
        assert found.concerns is Concern.PRODUCT
        assert found.text.startswith("A loaded pallet weighs up to 612.25 kg: it crushes feet")

    def test_parcels_that_one_person_can_lift_need_no_caution(self) -> None:
        assert shipping_cautions([Decimal(25)]) == ()
        assert [each.code for each in shipping_cautions([Decimal(26)])] == ["parcel-too-heavy-for-one-person"]


class TestHeavyPieces:
    """HSE, Manual handling at work, INDG143 (rev4), 2020: guideline masses up to 25 kg for men, 16 kg for women."""

    def test_25_kilograms_is_the_most_for_one_person(self) -> None:
        assert Decimal(25) == ONE_PERSON_LIMIT_KG
        assert specific(cautions_of(mass_kg="25")) == []

    def test_a_gram_more_is_too_heavy_and_the_mass_is_stated(self) -> None:
        found = cautions_of(mass_kg="25.0010")

        assert specific(found) == ["too-heavy-for-one-person"]
        assert found["too-heavy-for-one-person"].text.startswith("One piece weighs 25.001 kg, ")
        assert "25 kg for men and 16 kg for women" in found["too-heavy-for-one-person"].text


class TestDeclaredUses:
    @pytest.mark.parametrize("use", DeclaredUse)
    def test_every_use_has_a_caution_and_no_price_promises_fitness_for_it(self, use: DeclaredUse) -> None:
        found = cautions_of(uses=[use])

        assert list(found) == [f"use-{use.replace('_', '-')}", "no-promise-of-fitness"]
        assert f"fit for a use ({use.replace(chr(95), chr(32))}, any other)" in found["no-promise-of-fitness"].text

    def test_uses_are_listed_once_and_the_worst_first(self) -> None:
        uses = [DeclaredUse.OUTDOOR, DeclaredUse.TOY, DeclaredUse.FOOD_CONTACT, DeclaredUse.TOY]

        found = cautions_of(uses=uses)

        assert list(found) == ["use-toy", "use-food-contact", "use-outdoor", "no-promise-of-fitness"]
        assert "(food contact, toy, outdoor, any other)" in found["no-promise-of-fitness"].text

    @pytest.mark.parametrize(
        ("use", "law"),
        [
            (DeclaredUse.FOOD_CONTACT, "Regulation (EU) No 10/2011; Regulation (EU) 2022/1616"),
            (DeclaredUse.DRINKING_WATER, "Directive (EU) 2020/2184, Article 11"),
            (DeclaredUse.TOY, "Directive 2009/48/EC; from 1 August 2030 Regulation (EU) 2025/2509"),
            (DeclaredUse.PLAYGROUND, "EN 1176-1"),
            (DeclaredUse.LOAD_BEARING, "Regulation (EU) 2024/3110"),
            (DeclaredUse.BUILDING, "Regulation (EU) 2024/3110"),
            (DeclaredUse.WALL_OR_CEILING_LINING, "EN 13501-1"),
            (DeclaredUse.ELECTRICAL_ACCESSORY, "Directive 2014/35/EU"),
            (DeclaredUse.LIFTING, "Directive 2006/42/EC on machinery; from 20 January 2027 Regulation (EU) 2023/1230"),
            (DeclaredUse.CLIMBING, "EN 12572-3"),
            (DeclaredUse.PROTECTIVE_EQUIPMENT, "Regulation (EU) 2016/425"),
            (DeclaredUse.MEDICAL, "Regulation (EU) 2017/745"),
            (DeclaredUse.OUTDOOR, "UV-B"),
        ],
    )
    def test_the_rules_of_the_trade_are_named(self, use: DeclaredUse, law: str) -> None:
        assert law in cautions_of(uses=[use])[f"use-{use.replace('_', '-')}"].source


class TestEverything:
    def test_all_cautions_are_sorted_by_severity(self) -> None:
        machines = [at_a_machine(kind) for kind in (None, *MachineKind)]
        work = [a_heated(polymer, temperature_c) for polymer in Polymer for temperature_c in ("270", "900")]

        found = cautions_of(*work, uses=DeclaredUse, mass_kg="30", at=machines, plastics=["flakes"])

        assert tuple(found) == WORST_FIRST

    def test_the_work_comes_first_then_the_piece_then_its_uses(self) -> None:
        work = [
            a_heated(Polymer.UNIDENTIFIED, None),
            a_heated(Polymer.OTHER, None),
            a_heated(Polymer.ABS, "300"),
            a_heated(Polymer.PVC, "180"),
        ]

        assert list(cautions_of(*work, uses=[DeclaredUse.TOY], mass_kg="30")) == [
            "hydrogen-chloride",
            "unidentified-polymer",
            "above-decomposition-temperature",
            "polymer-without-data",
            "styrene-fume",
            "hot-work",
            "too-heavy-for-one-person",
            "use-toy",
            "no-promise-of-fitness",
        ]

    @given(*everything)
    def test_every_caution_has_a_source_and_defers_to_local_rules(
        self, heated: list[HeatedPolymer], uses: list[DeclaredUse], mass_kg: Decimal | None, at: list[WorkingMachine]
    ) -> None:
        for caution in cautions(heated, uses, mass_kg, at):
            assert caution.source
            assert " local " in caution.text
            assert caution.text.endswith(".")
            assert "  " not in caution.text

    @given(*everything)
    def test_no_caution_comes_twice(
        self, heated: list[HeatedPolymer], uses: list[DeclaredUse], mass_kg: Decimal | None, at: list[WorkingMachine]
    ) -> None:
        codes = [caution.code for caution in cautions(heated * 2, uses * 2, mass_kg, at * 2)]

        assert len(codes) == len(set(codes))

    @given(*everything, st.randoms(use_true_random=False))
    def test_the_order_of_the_input_does_not_matter(
        self,
        heated: list[HeatedPolymer],
        uses: list[DeclaredUse],
        mass_kg: Decimal | None,
        at: list[WorkingMachine],
        chance: Random,
    ) -> None:
        before = cautions(heated, uses, mass_kg, at)

        chance.shuffle(heated)
        chance.shuffle(uses)
        chance.shuffle(at)

        assert cautions(iter(heated), iter(uses), mass_kg, iter(at)) == before
