"""What looks implausible is told in the answer to the PUT that brings it, and nothing of it is stored."""

from typing import Any

import pytest

from tests.api.outside import leaving_as_it_is
from tests.conftest import Client
from tests.support.builders import (
    channel_rate,
    machine_rate,
    material_rate,
    money,
    operation,
    product,
    register_workshop,
    tariff_rate,
)
from tests.support.furnishing import furnishes

pytestmark = pytest.mark.every_engine

LATER = "2026-02-01"


@pytest.fixture
@furnishes
def workshop(client: Client) -> Client:
    register_workshop(client)
    return client


def told(client: Client, path: str, body: Any) -> list[str]:
    """The codes of the warnings in the answer; the same again answers the same, and a GET has what was registered."""
    first, again = client.put(path, body), client.put(path, body)
    assert (first.status_code, again.status_code) in [(200, 200), (201, 200)], first.json
    assert first.json == again.json
    assert first.headers["ETag"] == again.headers["ETag"] == client.get(path).headers["ETag"]
    assert client.get(path).json == {name: each for name, each in first.json.items() if name != "warnings"}
    assert first.json.get("warnings") != []
    return [each["code"] for each in first.json.get("warnings", ())]


class TestAProduct:
    def test_without_anything_implausible_has_no_member_for_it(self, workshop: Client) -> None:
        assert told(workshop, "products/sheet", product()) == []

    @pytest.mark.parametrize(
        ("changes", "codes"),
        [
            ({"operations": [operation(yield_share="1")]}, ["no-scrap"]),
            ({"operations": [operation(setup_minutes="0", cycle_minutes="0")]}, ["no-time"]),
            ({"mass_kg": "99"}, ["mass-above-materials"]),
            ({"mass_kg": "1"}, ["mass-below-materials"]),
            ({"mass_kg": "9.6", "length_mm": "100", "width_mm": "100", "height_mm": "100"}, ["mass-above-measures"]),
            (
                {"operations": [operation(cycle_minutes="0.01", processing_temperature_c="200")]},
                ["less-energy-than-melting"],
            ),
        ],
    )
    def test_is_told_what_is(self, workshop: Client, changes: dict[str, Any], codes: list[str]) -> None:
        body = product(**changes)

        assert told(workshop, "products/other", body) == codes
        sheet = workshop.get("products/other/cost-sheet?quantity=100&as_of=2026-11-25").json
        assert [each["code"] for each in sheet["warnings"]] == codes

    def test_is_not_told_what_is_wrong_with_its_parts(self, workshop: Client) -> None:
        workshop.put("products/part", product(mass_kg="99"))
        whole = {"name": "Two", "bill_of_materials": [{"product": "part", "quantity_per_piece": "2"}]}

        assert told(workshop, "products/two", whole) == []


class TestARate:
    @pytest.mark.parametrize(
        ("path", "terms", "text"),
        [
            ("materials/hdpe", material_rate("8"), "HDPE flakes is at least ten times the one before: 8 after 0.8"),
            ("materials/hdpe", material_rate("0.08"), "HDPE flakes is at most a tenth of the one before: 0.08 after 0"),
            ("materials/hdpe", material_rate("0"), "HDPE flakes costs nothing, because its rate is 0"),
            ("machines/press", machine_rate(planned_hours_per_year="1"), "is at least ten times the one before"),
            ("tariffs/grid", tariff_rate(price_per_kwh={"day": money("30"), "night": money("0.18")}), ", day is at"),
            (
                "channels/quay-market",
                channel_rate(fees=[]),
                "Lantern Quay market from 2026-02-01 has no commission, payment",
            ),
            ("taxes/vat", {"rate_share": "0.021"}, "The tax 'VAT 21 %' is called by another percentage than its rate"),
        ],
    )
    def test_is_told_what_looks_wrong(self, workshop: Client, path: str, terms: Any, text: str) -> None:
        address = f"{path}/rates/{LATER}"

        assert told(workshop, address, terms)
        assert text in workshop.put(address, terms).json["warnings"][0]["text"]

    def test_of_a_tax_is_told_its_name_and_its_jump(self, workshop: Client) -> None:
        assert told(workshop, f"taxes/vat/rates/{LATER}", {"rate_share": "0.021"}) == ["tax-name", "rate-jump"]

    def test_that_is_the_first_or_hardly_another_is_nothing(self, workshop: Client) -> None:
        assert told(workshop, f"materials/hdpe/rates/{LATER}", material_rate("0.90")) == []
        assert told(workshop, "materials/hdpe/rates/2025-01-01", material_rate("900")) == []

    def test_is_compared_in_the_workshops_currency(self, workshop: Client) -> None:
        yen = {"price": money("150", "JPY")}
        assert told(workshop, f"materials/hdpe/rates/{LATER}", yen) == ["no-exchange-rate"]

        workshop.put(f"exchange-rates/{LATER}", {"base": "EUR", "rates": {"JPY": "160"}})

        assert told(workshop, f"materials/hdpe/rates/{LATER}", yen) == []
        assert told(workshop, f"materials/hdpe/rates/{LATER}", {"price": money("1500", "JPY")}) == ["rate-jump"]

    def test_is_told_on_the_sheets_that_use_it_until_the_next_one(self, workshop: Client) -> None:
        workshop.put(f"materials/hdpe/rates/{LATER}", material_rate("80"))
        workshop.put("materials/hdpe/rates/2026-03-01", material_rate("88"))
        workshop.put(f"taxes/vat/rates/{LATER}", {"rate_share": "0.0021"})

        def codes(sheet: str) -> dict[str, list[str]]:
            days = ("2026-01-31", LATER, "2026-03-01")
            found = {day: workshop.get(f"products/sheet/{sheet}&as_of={day}").json["warnings"] for day in days}
            return {day: [each["code"] for each in warnings] for day, warnings in found.items()}

        assert codes("cost-sheet?quantity=20") == {"2026-01-31": [], LATER: ["rate-jump"], "2026-03-01": []}
        assert codes("price-sheet?quantity=20&target=margin&value=0.2&tax=vat") == {
            "2026-01-31": [],
            LATER: ["rate-jump", "tax-name", "rate-jump"],
            "2026-03-01": ["tax-name", "rate-jump"],
        }

    def test_before_it_in_a_currency_that_cannot_be_converted_or_is_not_needed_stays_off_the_sheet(
        self, workshop: Client
    ) -> None:
        workshop.put("materials/hdpe/rates/2026-01-15", {"price": money("1", "JPY")})
        workshop.put(f"materials/hdpe/rates/{LATER}", material_rate("0.80"))
        address = f"products/sheet/cost-sheet?quantity=20&as_of={LATER}"
        assert workshop.get(address).json["warnings"] == []

        workshop.put(f"exchange-rates/{LATER}", {"base": "EUR", "rates": {"JPY": "160"}})

        sheet = workshop.get(address).json
        assert [each["code"] for each in sheet["warnings"]] == ["rate-jump"]
        assert sheet["exchange_rates"] == []

    def test_that_is_only_supposed_is_not_compared(self, workshop: Client) -> None:
        body = {"quantity": 20, "as_of": "2026-11-25", "rates": {"materials/hdpe": material_rate("800")}}

        assert workshop.post("products/sheet/cost-sheet", body).json["warnings"] == []


def test_a_list_has_what_was_registered(workshop: Client) -> None:
    workshop.put("products/sheet", product(mass_kg="99"))
    workshop.put(f"taxes/vat/rates/{LATER}", {"rate_share": "0.021"})

    for path in ("products", "taxes/vat/rates"):
        assert all("warnings" not in each for each in workshop.get(path).json["items"])


class TestATax:
    def test_is_told_a_name_that_holds_another_percentage_than_todays_rate(self, workshop: Client) -> None:
        assert told(workshop, "taxes/vat", {"name": "VAT 19 %"}) == ["tax-name"]
        assert told(workshop, "taxes/new", {"name": "VAT 19 %"}) == []  # it has no rate yet
        assert told(workshop, "taxes/vat", {"category": "S"}) == []


def test_warnings_that_are_sent_back_are_not_read(workshop: Client) -> None:
    nonsense = [{"code": "x", "product": None, "text": "Everything is wrong.", "source": "nowhere"}]

    assert "warnings" not in workshop.put("taxes/vat", {"name": "VAT", "warnings": nonsense}).json
    with leaving_as_it_is(workshop):
        assert "warnings" not in workshop.put("taxes/vat", {"name": "VAT"}).json


def test_exchange_rates_entered_by_hand_are_told_that_they_jump(workshop: Client) -> None:
    assert told(workshop, "exchange-rates/2026-11-20", {"base": "EUR", "rates": {"GBP": "0.8640"}}) == []
    assert told(workshop, "exchange-rates/2026-11-21", {"base": "EUR", "rates": {"GBP": "86.4"}}) == [
        "exchange-rate-jump"
    ]
