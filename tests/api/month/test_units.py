"""One plan over HTTP of sheets by the piece, flakes by the kilogram and press work by the hour."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.documents.pictures import Picture
from tests.support.builders import (
    machine,
    material,
    material_rate,
    money,
    month_plan,
    operation,
    planned,
    register_workshop,
)
from tests.support.furnishing import furnishes

DAY = "2026-01-01"


@pytest.fixture
@furnishes
def workshop(client: Client) -> Client:
    register_workshop(client)
    client.put("machines/press", machine(hours_per_week="15"))
    crates = material_rate("-0.05", disposal_cost=money("0.20"))
    client.register("materials/crates", material(name="Crates"), **{DAY: crates})
    taken = {"material": "crates", "quantity_per_piece": "1", "process_loss_share": "0.2"}
    people = [{"labour_grade": "operator", "attendance": "1"}]
    sorting = {"name": "sorting", "units_per_hour": "40", "labour": people}
    flakes = {"name": "Flakes", "unit": "kg", "bill_of_materials": [taken], "operations": [sorting]}
    client.register("products/flakes", flakes)
    pressing = operation(cycle_minutes="0", units_per_hour="1", yield_share="1", setup_minutes="0")
    client.register("products/pressing", {"name": "Press hour", "unit": "hour", "operations": [pressing]})
    return client


def plan() -> dict[str, Any]:
    return month_plan(
        lines=[
            planned(policy=None, price="60", pieces=40),
            planned(product="flakes", policy=None, price="1.20", pieces=137.5, standard_batch="12.5"),
            planned(product="pressing", policy=None, price="45", pieces="2.25", standard_batch="0.5"),
        ]
    )


def test_a_mixed_plan_is_answered_in_the_units_of_its_products(workshop: Client) -> None:
    response = workshop.post("break-even", plan())

    assert response.status_code == 200, response.json
    month = response.json
    told = [(line["unit"], line["pieces"], line["pieces_per_composite_unit"]) for line in month["lines"]]
    assert told == [("piece", "40", 160), ("kg", "137.5", 550), ("hour", "2.25", 9)]
    assert (month["unit"], month["contribution_per_piece"]) == (None, None)
    assert (month["break_even"]["pieces"], month["break_even"]["whole_pieces"]) == (None, None)
    assert len(month["break_even"]["pieces_of_each"]) == 3
    assert [each["plan_share"] for each in month["profit_by_volume"] if each["milestone"] == "plan"] == ["1"]
    mix = month["best_mix"]
    assert (mix["outcome"], mix["limited_by"]) == ("unlimited", ["flakes"])
    crates = month["resources_used"]["materials"][1]
    assert (crates["disposed"], crates["gate_fee"], crates["disposal_cost"]) == ("34.375", money("8.59"), money("6.88"))


def test_its_page_and_its_picture_have_the_units(workshop: Client) -> None:
    page = workshop.post("break-even.html", plan()).text

    for words in ("40 pieces<", "137.5 kg<", "2.25 hrs<", "€1.20 per kg<", "€45.00 an hour<", "% of the plan<"):
        assert words in page, words
    assert "of the plan" in Picture(workshop.post("break-even.svg", plan()).data).words
