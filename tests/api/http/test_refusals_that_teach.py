"""Refusals name the nearest name that there is and the form that is expected; what a list returns can be sent back."""

from typing import Any

import pytest

from tests.api.outside import leaving_as_it_is, refused
from tests.api.places import COLLECTIONS, DAY, PLACES, Place, register_everything
from tests.conftest import Client
from tests.support.builders import listing, material, product, quotation

BRICK, GRID = "PUT products/brick", "PUT tariffs/grid/rates/2026-01-01"
MONEY = '{"amount": "0.38", "currency": "EUR"}'
COSTS = "products/brick/cost-sheet"
RESOURCE = "/rates/material~1hdpe: is not a resource with rates; did you mean 'materials/hdpe'?"
ASKED: list[tuple[str, str, Any, str]] = [
    (
        "a member",
        BRICK,
        {"name": "Brick", "materials": []},
        "is not a member that this object has; did you mean 'bill_of_materials' (what goes into it, such as [{",
    ),
    (
        "a member that is like none",
        "PUT tools/mould",
        {"name": "Mould", "xyz": 1},
        "/xyz: is not a member that this object has; it takes name, note",
    ),
    (
        "a member of an entry of a list",
        BRICK,
        product(bill_of_materials=[{"material": "hdpe", "quantity": "1"}]),
        "did you mean 'quantity_per_piece' (what one good piece contains, in the material's unit or in pieces, such as",
    ),
    (
        "a list",
        BRICK,
        {"name": "Brick", "operations": {}},
        "/operations: must be a list: how it is made, in order, such as",
    ),
    ("an object by band", GRID, {"price_per_kwh": 0.3}, 'energy with grid fees and levies, such as {"day": {"amount":'),
    ("an amount", "PUT materials/hdpe/rates/2026-01-01", {"price": "1"}, f"for one unit, delivered, such as {MONEY}"),
    (
        "a member that is left out",
        BRICK,
        {},
        '/name: is required: what it is called on a quotation, such as "HDPE regrind"',
    ),
    ("nothing for something", BRICK, {"name": None}, "/name: must not be null: what it is called on a quotation, such"),
    ("a body", "PUT tools/mould", [], 'the body: must be an object, such as {"name": "Brick moulds, a set of'),
    ("an entry", BRICK, product(operations=[1]), '/operations/0: must be an object, such as {"name": "granulating",'),
    ("a member without an example", "POST quotations", quotation(note=None), "/note: must not be null: anything else"),
    ("what another member needs", "PUT machines/press", {"name": "Press", "rated_power_kw": 12}, 'such as "grid"'),
    ("what one of two needs", BRICK, {"name": "Brick"}, "a material or an operation: what goes into it, such as [{"),
    ("a choice", "PUT materials/hdpe", material(unit="KG"), "piece, kg, l, m, m2, m3, hour; did you mean 'kg'?"),
    ("a count in quotes", "PUT listings/one", listing(base_quantity="12"), "/base_quantity: must be a whole number, w"),
    ("a resource", f"POST {COSTS}", {"quantity": 5, "rates": {"material/hdpe": {}}}, RESOURCE),
    ("a parameter", f"GET {COSTS}?quantiti=5", None, "quantiti: is not a parameter of this operation; did you mean"),
    (
        "one that is like none",
        f"GET {COSTS}?n=5",
        None,
        "n: is not a parameter of this operation; it takes quantity, as_of",
    ),
    ("one where there are none", "GET tools/mould?n=5", None, "n: is not a parameter of this operation; it takes none"),
]


@pytest.mark.parametrize(("asked", "body", "told"), [each[1:] for each in ASKED], ids=[each[0] for each in ASKED])
def test_names_what_was_meant_and_what_is_expected(client: Client, asked: str, body: Any, told: str) -> None:
    method, _, path = asked.partition(" ")

    assert told in refused(client, method, path, body, status=422).json["detail"]


def test_an_address_is_told_the_nearest_part_that_there_is(client: Client) -> None:
    for address, meant in (("material", "materials"), ("products/brick/costsheet", "cost-sheet")):
        assert f"; did you mean '{meant}'?" in refused(client, "GET", address, status=404).json["detail"]
    assert "/openapi.json lists all" in refused(client, "GET", "x/y/z", status=404).json["detail"]


class TestCodes:
    def test_are_told_the_nearest_of_their_collection(self, client: Client) -> None:
        client.put("materials/hdpe-flakes", material())
        client.put("products/brick", product(operations=[], bill_of_materials=[line("hdpe-flakes")]))

        unknown = refused(client, "PUT", "products/tile", product(bill_of_materials=[line("hdpe-flake")]), status=422)

        assert "there is no material 'hdpe-flake'; did you mean 'hdpe-flakes'?" in unknown.json["detail"]
        missing = refused(client, "GET", "products/brik/cost-sheet?quantity=5", status=404)
        assert missing.json["detail"] == "there is no product 'brik'; did you mean 'brick'?"
        assert refused(client, "GET", "products/brik", status=404).json["detail"] == missing.json["detail"]

    def test_another_workshops_are_never_suggested(self, client: Client, stranger: Client) -> None:
        stranger.put("materials/hdpe-flakes", material())

        for refusal in (
            refused(client, "GET", "materials/hdpe-flake", status=404),
            refused(client, "PUT", "products/tile", product(bill_of_materials=[line("hdpe-flake")]), status=422),
        ):
            assert "hdpe-flakes" not in refusal.text

    def test_retired_ones_are_not_suggested(self, client: Client) -> None:
        client.put("materials/hdpe-flakes", material())
        client.delete("materials/hdpe-flakes")

        assert "hdpe-flakes" not in refused(client, "GET", "materials/hdpe-flake", status=404).text


def line(code: str) -> dict[str, Any]:
    return {"material": code, "quantity_per_piece": "1"}


LISTS = [
    place
    for place in PLACES
    if place.method == "GET"
    and any(other.method == "PUT" and other.template.rpartition("/")[0] == place.template for other in PLACES)
]


class TestWhatAListReturns:
    def test_can_be_sent_back_to_where_it_is_from_and_changes_nothing(self, client: Client) -> None:
        register_everything(client)
        others = 2  # exchange rates and batch records
        rated = sum(terms is not None for _, _, terms in COLLECTIONS.values())
        assert len(LISTS) == len(COLLECTIONS) + rated + others

        for place in LISTS:
            for item in self.items(client, place):
                with leaving_as_it_is(client):
                    answer = client.put(f"{place.path}/{self.key(item)}", item)
                assert answer.status_code == 200, (place.path, answer.text)

    def test_is_refused_elsewhere(self, client: Client) -> None:
        register_everything(client)

        for place in LISTS:
            item = self.items(client, place)[0]
            day = "2026-02-03"
            elsewhere = day if self.key(item) == DAY else "elsewhere"
            refusal = refused(client, "PUT", f"{place.path}/{elsewhere}", item, status=422)
            assert f"must be '{elsewhere}' at this address, or be left out" in refusal.json["detail"]

    def test_rates_of_another_source_are_not_made_the_workshops_own(self, client: Client) -> None:
        body = {"base": "EUR", "rates": {"USD": "1.1"}, "published_on": DAY, "source": "ECB"}

        refusal = refused(client, "PUT", f"exchange-rates/{DAY}", body, status=422)

        assert refusal.json["detail"] == "/source: must be 'manual' at this address, or be left out"

    def test_so_can_the_answer_to_a_put_with_its_warnings(self, client: Client) -> None:
        client.register("materials/hdpe", material())
        answered = client.put(
            "products/block", product(operations=[], bill_of_materials=[line("hdpe")], mass_kg="9")
        ).json
        assert answered["warnings"]

        assert client.put("products/block", answered).json == answered

    def items(self, client: Client, place: Place) -> list[dict[str, Any]]:
        found: list[dict[str, Any]] = client.get(place.path).json["items"]
        assert found, place.path
        return found

    def key(self, item: dict[str, Any]) -> str:
        return str(item.get("code") or item.get("valid_from") or item["published_on"])
