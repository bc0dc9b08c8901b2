"""Published figures of volumetric weight, postal limits and a pallet."""

from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import pytest

from tests.conftest import Client
from tests.support.builders import a_pallet, register_shipping, shipping_question, shipping_rate, weight_class

CM3_PER_IN3 = Decimal("16.387064")
"""An inch is 25.4 mm exactly (International yard and pound agreement, 1959)."""
KG_PER_LB = Decimal("0.45359237")
AS_IT_IS: dict[str, Any] = {"name": "Air freight", "boxes": []}


def estimate(client: Client, sides_mm: str, mass_kg: str, rate: dict[str, Any], **question: Any) -> Any:
    """The shipping estimate of one piece, shipped without a container."""
    length, width, height = sides_mm.split()
    measures = {"length_mm": length, "width_mm": width, "height_mm": height, "mass_kg": mass_kg}
    register_shipping(client, AS_IT_IS, rate, **measures)
    return client.post("shipping-estimates", shipping_question(**question))


class TestVolumetricWeight:
    def air_freight(self, divisor: str, step: str | None = "0.5") -> dict[str, Any]:
        home = [weight_class("0", "1000", "10")]
        return shipping_rate(zones={"home": home}, divisor_cm3_per_kg=divisor, weight_step_kg=step)

    def test_of_a_carton_of_14_kg_is_charged_as_15_kg(self, client: Client) -> None:
        """Pengellys, Air freight chargeable weight fact sheet, quoting the IATA factor of 6000 cm³/kg."""
        (parcel,) = estimate(client, "650 450 300", "14", self.air_freight("6000")).json["parcels"]

        assert Decimal(parcel["volumetric_kg"]) == Decimal("14.625")
        assert Decimal(parcel["billable_kg"]) == 15
        assert "volumetric" in parcel["reason"]

    def test_of_a_crate_of_130_kg_is_275_kg(self, client: Client) -> None:
        """m-spedition, Calculation of volume weight (carrier's information page), single piece."""
        (parcel,) = estimate(client, "1500 1000 1100", "130", self.air_freight("6000")).json["parcels"]

        assert Decimal(parcel["volumetric_kg"]) == 275
        assert Decimal(parcel["billable_kg"]) == 275

    @pytest.mark.parametrize(
        ("printed", "kg_per_unit"),
        [("366", Decimal(1)), ("166", KG_PER_LB)],
        ids=["366 cubic inches a kilogram", "166 cubic inches a pound"],
    )
    def test_by_iata_is_the_same_in_three_units(self, client: Client, printed: str, kg_per_unit: Decimal) -> None:
        """HL Cargo, Chargeable weight and volume rules, quoting the IATA rule: 6000 cm³/kg, 366 in³/kg, 166 in³/lb."""
        cubic_inches = 6000 * kg_per_unit / CM3_PER_IN3
        assert cubic_inches.quantize(Decimal(1), ROUND_HALF_UP) == Decimal(printed)

        side_mm = 254  # ten inches: a thousand cubic inches
        rate = self.air_freight("6000", None)
        (parcel,) = estimate(client, f"{side_mm} {side_mm} {side_mm}", "0.1", rate).json["parcels"]

        printed_units = 1000 / Decimal(parcel["volumetric_kg"]) * kg_per_unit
        assert printed_units.quantize(Decimal(1), ROUND_HALF_UP) == Decimal(printed)


def post_up_to(limit_kg: str) -> dict[str, Any]:
    home = [weight_class("0", "1000", "10")]
    return shipping_rate(
        zones={"home": home}, divisor_cm3_per_kg=None, weight_step_kg=None, limits={"max_mass_kg": limit_kg}
    )


UPU = "Universal Postal Convention (Geneva 2008), article on basic services, 2.1 to 2.4 and 5, Universal Postal Union"
EU = "Directive 97/67/EC as applied: Universal postal service, parcels, page of the Belgian regulator BIPT"


class TestPostalLimits:
    """Published weight limits, entered as a service's limit: the limit itself is accepted, a gram more is refused."""

    @pytest.mark.parametrize(
        ("source", "what", "limit_kg"),
        [
            (UPU, "letters and small packets", "2"),
            (UPU, "literature for the blind", "7"),
            (UPU, "M bags", "30"),
            (UPU, "parcels", "20"),
            (EU, "domestic parcels", "10"),
            (EU, "parcels from other member states", "20"),
        ],
        ids=lambda each: each[:24],
    )
    def test_are_kept_to_the_gram(self, client: Client, source: str, what: str, limit_kg: str) -> None:
        assert source
        assert what
        heavier_kg = str(Decimal(limit_kg) + Decimal("0.001"))

        taken = estimate(client, "240 120 60", limit_kg, post_up_to(limit_kg))
        refused = estimate(client, "240 120 60", heavier_kg, post_up_to(limit_kg))

        (parcel,) = taken.json["parcels"]
        assert Decimal(parcel["mass_kg"]) == Decimal(limit_kg) == Decimal(parcel["limits"]["max_mass_kg"])
        assert refused.status_code == 422
        assert refused.json["reasons"] == [f"as it is: its mass of {heavier_kg} kg is above {limit_kg} kg"]


class TestTheEuroPallet:
    """European Pallet Association, EPAL Euro pallet product sheet (EN 13698-1, UIC 435-2): 1200 × 800 × 144 mm, about
    25 kg, safe working load 1500 kg.
    """

    PALLET = a_pallet(
        length_mm="1200", width_mm="800", height_mm="144", mass_kg="25", max_load_kg="1500", max_height_mm="2000"
    )

    def load(self, client: Client, quantity: int, **piece: str) -> Any:
        rate = shipping_rate(zones={"home": [weight_class("0", "2000", "90")]}, divisor_cm3_per_kg=None)
        register_shipping(client, {"name": "Freight", "pallets": [self.PALLET]}, rate, **piece)
        found = client.post("shipping-estimates", shipping_question(quantity=quantity))
        assert found.status_code == 200, found.json
        return found.json["parcels"]

    def test_carries_its_safe_working_load_and_nothing_more(self, client: Client) -> None:
        blocks = {"length_mm": "400", "width_mm": "400", "height_mm": "100", "mass_kg": "50"}

        full, rest = self.load(client, 31, **blocks)

        assert (full["pieces"], Decimal(full["mass_kg"])) == (30, 1525)
        assert (rest["pieces"], Decimal(rest["mass_kg"])) == (1, 75)

    def test_has_a_base_of_0_96_square_metres_which_six_blocks_of_400_by_400_cover(self, client: Client) -> None:
        blocks = {"length_mm": "400", "width_mm": "400", "height_mm": "100", "mass_kg": "5"}

        (layer,) = self.load(client, 6, **blocks)

        assert Decimal(layer["length_mm"]) * Decimal(layer["width_mm"]) / 10**6 == Decimal("0.96")
        assert Decimal(layer["height_mm"]) == 144 + 100
        assert [(block["columns"], block["rows"], block["layers"]) for block in layer["blocks"]] == [(3, 2, 1)]
