"""Shipping over HTTP: a refusal names the wrong member, and nothing is stored."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support.builders import (
    a_box,
    a_pallet,
    measured,
    register_shipping,
    shipping_question,
    shipping_rate,
    shipping_service,
    weight_class,
)
from tests.support.furnishing import furnishes

SERVICE, RATE = "shipping-services/post", "shipping-services/post/rates/2026-02-01"


def zones(*classes: tuple[str, str, str]) -> dict[str, Any]:
    return shipping_rate(zones={"home": [weight_class(*each) for each in classes]})


BAD: dict[str, tuple[str, dict[str, Any], str]] = {
    "overlapping classes": (RATE, zones(("0", "2", "5"), ("1.5", "5", "6")), "/zones/home/1/above_kg"),
    "a gap between classes": (RATE, zones(("0", "2", "5"), ("2.5", "5", "6")), "/zones/home/1/above_kg"),
    "a class that ends where it begins": (RATE, zones(("0", "2", "5"), ("2", "2", "6")), "/zones/home/1/up_to_kg"),
    "no zone": (RATE, shipping_rate(zones={}), "/zones"),
    "a zone without a class": (RATE, shipping_rate(zones={"home": []}), "/zones/home"),
    "a divisor of 0": (RATE, shipping_rate(divisor_cm3_per_kg="0"), "/divisor_cm3_per_kg"),
    "a step of 0": (RATE, shipping_rate(weight_step_kg="0"), "/weight_step_kg"),
    "a negative surcharge": (RATE, shipping_rate(fuel_surcharge_share="-0.1"), "/fuel_surcharge_share"),
    "a limit of 0": (RATE, shipping_rate(limits={"max_mass_kg": "0"}), "/limits/max_mass_kg"),
    "a box without a side": (SERVICE, shipping_service(boxes=[a_box(inner="0 1 1")]), "/boxes/0/inner_length_mm"),
    "a box smaller outside": (SERVICE, shipping_service(boxes=[a_box(outer="1 410 420")]), "/boxes/0/length_mm"),
    "a pallet without room": (
        SERVICE,
        shipping_service(pallets=[a_pallet(max_height_mm="100")]),
        "/pallets/0/max_height_mm",
    ),
    "a pallet named as a box": (SERVICE, shipping_service(pallets=[a_pallet("carton")]), "/pallets/0/code"),
}
ASKED: dict[str, tuple[dict[str, Any], str, str]] = {
    "an unknown zone": (shipping_question(zone="moon"), "unknown-zone", "/zone"),
    "an unknown service": (shipping_question(service="owl"), "invalid-request", "/service"),
    "an unknown product": (shipping_question("gold"), "invalid-request", "/lines/0/product"),
    "a product without a mass": (shipping_question("sheet"), "missing-measures", "/lines/0/product"),
    "a product too long": (shipping_question("beam"), "does-not-fit", "/lines/0/product"),
    "no line": (shipping_question(lines=[]), "invalid-request", "/lines"),
    "a quantity of 0": (shipping_question(quantity=0), "invalid-request", "/lines/0/quantity"),
    "too many pieces": (shipping_question(quantity=100_001), "too-complex", "/lines"),
    "a product twice": (
        shipping_question(lines=[{"product": "brick", "quantity": 1}] * 2),
        "invalid-request",
        "/lines/1/product",
    ),
}


@pytest.fixture
@furnishes
def shipper(client: Client) -> Client:
    register_shipping(client)
    client.register("products/beam", measured(length_mm="2400"))
    return client


@pytest.mark.parametrize(("path", "body", "pointer"), BAD.values(), ids=BAD)
def test_an_invalid_service_or_rate_is_refused_by_its_pointer_and_not_stored(
    shipper: Client, path: str, body: dict[str, Any], pointer: str
) -> None:
    before = shipper.get(SERVICE).json, shipper.get(f"{SERVICE}/rates").json

    response = shipper.put(path, body)

    assert response.status_code == 422
    assert pointer in [error["pointer"] for error in response.json["errors"]]
    assert (shipper.get(SERVICE).json, shipper.get(f"{SERVICE}/rates").json) == before


@pytest.mark.parametrize(("question", "kind", "pointer"), ASKED.values(), ids=ASKED)
def test_an_estimate_that_cannot_be_made_is_refused_with_a_kind_and_a_pointer(
    shipper: Client, question: dict[str, Any], kind: str, pointer: str
) -> None:
    response = shipper.post("shipping-estimates", question)

    assert response.status_code == 422
    assert response.json["type"].endswith(f"/{kind}")
    assert [error["pointer"] for error in response.json["errors"]] == [pointer]


def test_a_refusal_has_its_facts_as_members(shipper: Client) -> None:
    zone, measures, size = (
        shipper.post("shipping-estimates", question).json
        for question in (shipping_question(zone="moon"), shipping_question("sheet"), shipping_question("beam"))
    )

    assert (zone["zone"], zone["zones"]) == ("moon", ["home"])
    assert (measures["product"], measures["members"]) == ("sheet", ["mass_kg", "length_mm", "width_mm", "height_mm"])
    assert size["product"] == "beam"
    assert size["reasons"] == ["box 'carton': a side of 2400 mm is longer than the 600 mm there is room for"]


def test_an_estimate_without_a_rate_says_when_the_first_begins(shipper: Client) -> None:
    response = shipper.post("shipping-estimates", shipping_question(as_of="2025-12-31"))

    assert response.status_code == 422
    assert response.json["missing"] == [{"resource": "shipping-services/post", "first_valid_from": "2026-01-01"}]


def test_the_same_request_always_has_the_same_answer(shipper: Client) -> None:
    answers = {shipper.post("shipping-estimates", shipping_question(quantity=500)).data for _ in range(3)}

    assert len(answers) == 1


def test_each_of_ten_thousand_pieces_is_in_exactly_one_parcel(shipper: Client) -> None:
    found = shipper.post("shipping-estimates", shipping_question(quantity=10_000)).json

    assert sum(each["count"] * each["pieces"] for each in found["parcels"]) == 10_000
    assert found["parcel_count"] == sum(each["count"] for each in found["parcels"])


def test_another_workshop_s_service_and_products_are_unknown(shipper: Client, stranger: Client) -> None:
    own = stranger.post("shipping-estimates", shipping_question())
    register_shipping(stranger)
    assert stranger.delete("products/brick").status_code == 204
    with_own_service = stranger.post("shipping-estimates", shipping_question())

    assert [error["pointer"] for error in own.json["errors"]] == ["/service", "/lines/0/product"]
    assert [error["pointer"] for error in with_own_service.json["errors"]] == ["/lines/0/product"]


def test_the_rate_card_shows_a_service_s_terms_without_unit_rates(shipper: Client) -> None:
    card = shipper.get("rate-card?as_of=2026-11-25").json

    entry = next(each for each in card["rates"] if each["resource"] == "shipping-services/post")
    assert (entry["name"], entry["unit_rates"]) == ("Parcel post", [])
    assert entry["terms"]["zones"]["home"][0]["price"] == {"amount": "5", "currency": "EUR"}


def test_a_product_s_cost_does_not_depend_on_shipping_rates(shipper: Client) -> None:
    before = shipper.get("products/sheet/cost-sheet?quantity=20&as_of=2026-11-25").json

    shipper.put(RATE, zones(("0", "50", "99")))

    assert shipper.get("products/sheet/cost-sheet?quantity=20&as_of=2026-11-25").json == before
