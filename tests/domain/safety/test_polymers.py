"""The least heat that melts a polymer, against published figures and plausible limits."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.safety.polymers import (
    HIGHEST_DENSITY_G_PER_CM3,
    KJ_PER_KWH,
    THERMAL_DATA,
    Polymer,
    heating_energy_kwh_per_kg,
)
from service.domain.values.errors import FigureTooLargeError

KJ_PER_KG_K_IN_BTU_PER_LB_F = Decimal("4.1868")
"""1 BTU/(lb °F) in kJ/(kg K): the International Table values of the BTU and the calorie (from memory)."""

WITH_DATA = sorted(THERMAL_DATA)
VENDORS = ("netzsch", ".com", "novista", "ta instruments")
WITHOUT_DATA = [Polymer.OTHER, Polymer.UNIDENTIFIED]
finite_temperatures_c = st.decimals(min_value=-100, max_value=400, places=2)


def celsius(fahrenheit: int) -> Decimal:
    return ((Decimal(fahrenheit) - 32) * 5 / 9).quantize(Decimal(1))


class TestSpecificHeatOfTheExtrusionColumn:
    """Extrusion & Thermal Properties: Not Just for the Lab Guys, Plastics Technology (ptonline.com).

    HDPE takes an average of 0.55 BTU/(lb °F) in processing, high impact polystyrene 0.40: almost 40 % more.
    """

    hdpe = Decimal("0.55") * KJ_PER_KG_K_IN_BTU_PER_LB_F
    polystyrene = Decimal("0.40") * KJ_PER_KG_K_IN_BTU_PER_LB_F

    def test_the_averages_are_2_303_and_1_675_kilojoules_per_kilogram_and_kelvin(self) -> None:
        assert round(self.hdpe, 3) == Decimal("2.303")
        assert round(self.polystyrene, 3) == Decimal("1.675")
        assert self.hdpe / self.polystyrene == Decimal("1.375")

    def test_the_solid_never_counts_for_more_than_the_average(self) -> None:
        assert THERMAL_DATA[Polymer.HDPE].specific_heat_kj_per_kg_k.value <= self.hdpe
        assert THERMAL_DATA[Polymer.PS].specific_heat_kj_per_kg_k.value <= self.polystyrene

    def test_the_bound_for_hdpe_stays_below_heating_to_200_degrees_at_the_average(self) -> None:
        heated_kwh = self.hdpe * (200 - 20) / KJ_PER_KWH

        bound = heating_energy_kwh_per_kg(Polymer.HDPE)

        assert round(heated_kwh, 3) == Decimal("0.115")
        assert bound is not None
        assert heated_kwh * Decimal("0.8") < bound < heated_kwh

    def test_the_bound_for_polystyrene_stays_below_heating_to_200_degrees_at_the_average(self) -> None:
        bound = heating_energy_kwh_per_kg(Polymer.PS)

        assert bound is not None
        assert bound < self.polystyrene * (200 - 20) / KJ_PER_KWH


class TestMeltingTemperatures:
    """Encyclopaedia Britannica, Properties and Applications of Commercially Important Plastics, Table 1.

    The table's softening temperature may be lower than the encyclopaedia's, never higher.
    """

    @pytest.mark.parametrize(
        ("polymer", "published_c", "at_most_below_k"),
        [
            (Polymer.HDPE, 137, 12),
            (Polymer.LDPE, 110, 12),
            (Polymer.PP, 176, 16),
            (Polymer.PS, 100, 20),  # glass transition
            (Polymer.PET, 265, 23),
            (Polymer.ABS, 90, 0),  # glass transition, 90 to 120
            (Polymer.PVC, 85, 5),  # glass transition
        ],
    )
    def test_the_table_lies_at_or_a_little_below_the_published_value(
        self, polymer: Polymer, published_c: int, at_most_below_k: int
    ) -> None:
        softening_c = THERMAL_DATA[polymer].softening_temperature_c.value

        assert published_c - at_most_below_k <= softening_c <= published_c


class TestFusionOfIdeallyCrystallinePolyethylene:
    """C. M. L. Atkinson, M. J. Richardson, Trans. Faraday Soc. 65, 1764 (1969), abstract: 307 J/g."""

    @pytest.mark.parametrize("polymer", [Polymer.HDPE, Polymer.LDPE])
    def test_a_polyethylene_takes_less_than_its_perfect_crystal(self, polymer: Polymer) -> None:
        assert 0 < THERMAL_DATA[polymer].enthalpy_of_fusion_kj_per_kg.value < 307


class TestMeasuredFusion:
    """NETZSCH, Thermal Properties of Polymers: PE-HD 201 J/g (2nd heating), PP 94 J/g (1st heating)."""

    @pytest.mark.parametrize(("polymer", "measured_kj_per_kg"), [(Polymer.HDPE, 201), (Polymer.PP, 94)])
    def test_the_table_counts_at_least_half_of_it_and_never_more_than_all(
        self, polymer: Polymer, measured_kj_per_kg: int
    ) -> None:
        fusion = THERMAL_DATA[polymer].enthalpy_of_fusion_kj_per_kg.value

        assert Decimal(measured_kj_per_kg) / 2 < fusion <= measured_kj_per_kg


class TestProcessingTemperatures:
    def test_polypropylene_ends_below_what_its_source_calls_extreme(self) -> None:
        """Development of Emission Factors for Polypropylene Processing, abstract: 400 °F to 510 °F."""
        usual = THERMAL_DATA[Polymer.PP].processing_temperature_c

        assert usual.low == celsius(400)
        assert celsius(510) - 1 == usual.high < (Decimal(510) - 32) * 5 / 9


class TestDecompositionTemperatures:
    """DGUV Rule 113-011, annex 8, table 6: where the range begins in which a thermoplastic decomposes."""

    @pytest.mark.parametrize(
        ("polymer", "published_c"),
        [(Polymer.HDPE, 340), (Polymer.LDPE, 340), (Polymer.PS, 300), (Polymer.PVC, 180), (Polymer.PA, 300)],
    )
    def test_the_table_never_lies_above_the_published_range(self, polymer: Polymer, published_c: int) -> None:
        assert THERMAL_DATA[polymer].decomposition_temperature_c.value <= published_c

    @pytest.mark.parametrize("polymer", WITH_DATA)
    def test_no_source_that_a_caution_prints_is_a_vendor(self, polymer: Polymer) -> None:
        data = THERMAL_DATA[polymer]
        printed = f"{data.decomposition_temperature_c.source} {data.processing_temperature_c.source}".lower()

        assert not [each for each in VENDORS if each in printed]


class TestMeltingEnergy:
    def test_hdpe_by_hand(self) -> None:
        # 1.8 x (125 - 20) + 293 x 0.55 = 189 + 161.15 = 350.15 kJ
        assert heating_energy_kwh_per_kg(Polymer.HDPE) == pytest.approx(Decimal("350.15") / 3600, abs=Decimal("1e-27"))

    def test_an_amorphous_polymer_takes_no_heat_of_fusion(self) -> None:
        # 1.3 x (80 - 20) = 78 kJ
        assert heating_energy_kwh_per_kg(Polymer.PS) == pytest.approx(Decimal(78) / 3600, abs=Decimal("1e-27"))

    def test_it_is_exact_to_34_digits_in_any_context(self) -> None:
        assert heating_energy_kwh_per_kg(Polymer.PET) == Decimal("0.06166666666666666666666666666666667")

    def test_warm_material_takes_less(self) -> None:
        # 1.8 x (125 - 100) + 161.15 = 206.15 kJ
        warm = heating_energy_kwh_per_kg(Polymer.HDPE, from_c=Decimal(100))

        assert warm == pytest.approx(Decimal("206.15") / 3600, abs=Decimal("1e-27"))

    @pytest.mark.parametrize("from_c", ["125", "125.1", "250"])
    def test_a_melt_takes_nothing_more(self, from_c: str) -> None:
        assert heating_energy_kwh_per_kg(Polymer.HDPE, from_c=Decimal(from_c)) == 0

    @pytest.mark.parametrize(
        ("from_c", "to_c", "kilojoules"),
        [
            ("20", "200", "485.15"),  # 1.8 x 180 + 161.15
            ("20", "124", "187.2"),  # 1.8 x 104, not molten yet
            ("20", "125", "350.15"),
            ("125", "200", "135"),  # 1.8 x 75, molten already
            ("200", "200", "0"),
            ("200", "20", "0"),
        ],
    )
    def test_to_a_temperature_is_heating_and_melting_where_that_lies_between(
        self, from_c: str, to_c: str, kilojoules: str
    ) -> None:
        found = heating_energy_kwh_per_kg(Polymer.HDPE, Decimal(to_c), Decimal(from_c))

        assert found == pytest.approx(Decimal(kilojoules) / 3600, abs=Decimal("1e-27"))

    @pytest.mark.parametrize("polymer", WITHOUT_DATA)
    def test_a_polymer_without_data_has_no_bound(self, polymer: Polymer) -> None:
        assert heating_energy_kwh_per_kg(polymer) is None

    def test_a_temperature_that_is_not_a_number_is_refused(self) -> None:
        with pytest.raises(FigureTooLargeError):
            heating_energy_kwh_per_kg(Polymer.HDPE, from_c=Decimal("NaN"))

    @pytest.mark.parametrize("polymer", WITH_DATA)
    def test_every_bound_is_plausible(self, polymer: Polymer) -> None:
        bound = heating_energy_kwh_per_kg(polymer)

        assert bound is not None
        # 0.013 kWh does little more than warm a kilogram of plastic; 0.115 kWh heats HDPE all the way to 200 °C.
        assert Decimal("0.013") < bound < Decimal("0.115")

    @given(st.sampled_from(WITH_DATA), finite_temperatures_c, finite_temperatures_c)
    def test_hotter_material_never_takes_more(self, polymer: Polymer, one_c: Decimal, other_c: Decimal) -> None:
        cooler = heating_energy_kwh_per_kg(polymer, from_c=min(one_c, other_c))
        hotter = heating_energy_kwh_per_kg(polymer, from_c=max(one_c, other_c))

        assert cooler is not None
        assert hotter is not None
        assert 0 <= hotter <= cooler


class TestTheTable:
    def test_every_polymer_but_the_two_unknown_ones_has_data(self) -> None:
        assert set(THERMAL_DATA) == set(HIGHEST_DENSITY_G_PER_CM3) == set(Polymer) - set(WITHOUT_DATA)

    @pytest.mark.parametrize("polymer", WITH_DATA)
    def test_every_figure_is_positive_or_0_and_names_its_source(self, polymer: Polymer) -> None:
        data = THERMAL_DATA[polymer]

        for figure in (data.specific_heat_kj_per_kg_k, data.softening_temperature_c, data.decomposition_temperature_c):
            assert figure.value > 0
            assert figure.source
        assert data.enthalpy_of_fusion_kj_per_kg.value >= 0
        assert data.enthalpy_of_fusion_kj_per_kg.source
        assert data.processing_temperature_c.source

    @pytest.mark.parametrize("polymer", WITH_DATA)
    def test_a_polymer_softens_before_it_is_processed_and_is_processed_before_it_decomposes(
        self, polymer: Polymer
    ) -> None:
        data = THERMAL_DATA[polymer]
        usual = data.processing_temperature_c

        assert data.softening_temperature_c.value < usual.low < usual.high
        assert usual.low <= data.decomposition_temperature_c.value

    @pytest.mark.parametrize("polymer", WITH_DATA)
    def test_specific_heats_are_those_of_plastics(self, polymer: Polymer) -> None:
        # From PVC's 0.8 to the 2.7 kJ/(kg K) of PE-HD: NETZSCH, Thermal Properties of Polymers.
        assert Decimal("0.8") <= THERMAL_DATA[polymer].specific_heat_kj_per_kg_k.value <= Decimal("2.7")

    def test_it_cannot_be_changed(self) -> None:
        with pytest.raises(TypeError):
            del THERMAL_DATA[Polymer.HDPE]  # type: ignore[attr-defined]
