"""Invalid requests for a repricing: the answer names the wrong member, and nothing is stored."""

from typing import Any

import flask
import pytest

from tests.api.outside import parameters, pointers, refused
from tests.api.repriced import DAY, FIRST, MONDAY, applied, previewed, register_shop
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import Contract

TARIFF = builders.tariff_rate()


@pytest.fixture(scope="module")
def shop(app: flask.Flask, contract: Contract) -> Client:
    """A workshop with first prices in force; no test changes it."""
    made = make_client(app, contract)
    register_shop(made)
    applied(made)
    return made


@pytest.mark.parametrize("apply", [False, True])
@pytest.mark.parametrize(
    ("body", "named"),
    [
        ({"scope": {}}, ["/scope"]),
        ({"scope": {"tag": None}}, ["/scope"]),
        ({"scope": []}, ["/scope"]),
        ({"scope": {"resources": []}}, ["/scope/resources"]),
        ({"scope": {"resources": "tariffs/grid"}}, ["/scope/resources"]),
        ({"scope": {"resources": ["tariffs/grid"] * 1001}}, ["/scope/resources"]),
        ({"scope": {"resources": ["tariffs/grid", "grid"]}}, ["/scope/resources/1"]),
        ({"scope": {"resources": ["tariffs/grid#day"]}}, ["/scope/resources/0"]),
        ({"scope": {"resources": ["tariffs/solar", "tariffs/grid", "materials/clay"]}},
         ["/scope/resources/0", "/scope/resources/2"]),
        ({"scope": {"resources": ["customers/harbour"]}}, ["/scope/resources/0"]),
        ({"scope": {"resources": ["tariffs/grid"], "changed_since": FIRST}}, ["/scope/changed_since"]),
        ({"scope": {"changed_since": "yesterday"}}, ["/scope/changed_since"]),
        ({"scope": {"changed_since": "2026-02-30"}}, ["/scope/changed_since"]),
        ({"scope": {"channel": "market", "product": "bowl"}}, ["/scope/channel", "/scope/product"]),
        ({"scope": {"tag": "no such tag"}}, ["/scope/tag"]),
        ({"scope": {"tag": "orchard"}}, ["/scope"]),
        ({"scope": {"tag": "small", "channel": "fair", "product": "sheet"}}, ["/scope"]),
        ({"scope": {"tag": "orchard", "resources": ["tariffs/grid"]}}, ["/scope"]),
        ({"scope": {"tag": "orchard", "changed_since": "2020-01-01"}}, ["/scope"]),
        ({"scope": {"listing": "sheet-online"}}, ["/scope/listing"]),
        ({"rules": {"least_move_share": "-0.01"}}, ["/rules/least_move_share"]),
        ({"rules": {"least_move_share": "1 %"}}, ["/rules/least_move_share"]),
        ({"rules": {"least_move_share": "0.2", "greatest_move_share": "0.1"}}, ["/rules/greatest_move_share"]),
        ({"rules": {"least_move": "0.2"}}, ["/rules/least_move"]),
        ({"rules": None}, ["/rules"]),
        ({"confirmed": "sheet-online"}, ["/confirmed"]),
        ({"confirmed": ["a"] * 1001}, ["/confirmed"]),
        ({"confirmed": ["a", "b c"]}, ["/confirmed/1"]),
        ({"confirm_all": "yes"}, ["/confirm_all"]),
        ({"include_unchanged": 1}, ["/include_unchanged"]),
        ({"as_of": "2026-11-31"}, ["/as_of"]),
        ({"as_of": "3000-01-01"}, ["/as_of"]),
        ({"as_of": 20261125}, ["/as_of"]),
        ({"note": "x", "listing": "y"}, ["/listing", "/note"]),
    ],
)  # fmt: skip
def test_wrong_members_are_named(shop: Client, body: dict[str, Any], named: list[str], apply: bool) -> None:
    response = refused(shop, "POST", "repricings", {"as_of": MONDAY, **body, "apply": apply}, status=422)

    assert sorted(pointers(response)) == named


@pytest.mark.parametrize("apply", ["true", 1, None])
def test_apply_must_be_true_or_false(shop: Client, apply: Any) -> None:
    assert pointers(refused(shop, "POST", "repricings", {"apply": apply}, status=422)) == ["/apply"]


@pytest.mark.parametrize(
    ("rates", "named"),
    [
        ({"tariffs/solar": TARIFF}, ["/rates/tariffs~1solar"]),
        ({"products/sheet": TARIFF}, ["/rates/products~1sheet"]),
        ({"grid": TARIFF}, ["/rates/grid"]),
        ({"tariffs/grid": {}}, ["/rates/tariffs~1grid/price_per_kwh"]),
        ({"tariffs/grid": builders.tariff_rate("-1")}, ["/rates/tariffs~1grid/price_per_kwh/day/amount"]),
        ({"tariffs/grid": {"price_per_kwh": {"day": builders.money("1")}}}, ["/rates/tariffs~1grid/price_per_kwh"]),
        ({"materials/hdpe": TARIFF}, ["/rates/materials~1hdpe/price", "/rates/materials~1hdpe/price_per_kwh"]),
        ([], ["/rates"]),
    ],
)
def test_an_invalid_supposed_rate_is_named(shop: Client, rates: Any, named: list[str]) -> None:
    response = refused(shop, "POST", "repricings", {"as_of": MONDAY, "rates": rates}, status=422)

    assert sorted(pointers(response)) == named


def test_a_repricing_with_supposed_rates_cannot_be_applied(shop: Client) -> None:
    body = {"as_of": MONDAY, "rates": {"tariffs/grid": TARIFF}, "apply": True}

    response = refused(shop, "POST", "repricings", body, status=422)

    assert pointers(response) == ["/rates"]
    assert "PUT" in response.json["detail"]


@pytest.mark.parametrize(
    "body", ["", "[]", "null", '"x"', "{", '{"as_of": "2026-11-30", "as_of": "2026-12-01"}', "NaN"]
)
def test_a_body_that_is_not_an_object_is_refused(shop: Client, body: str) -> None:
    response = shop.post("repricings", body)

    assert response.status_code in (400, 422)
    assert response.content_type == "application/problem+json"


def test_a_resource_without_a_rate_on_the_day_is_named_with_the_first_day_of_its_first_rate(shop: Client) -> None:
    body = {"as_of": "2025-12-31", "scope": {"resources": ["tariffs/grid", "products/sheet", "taxes/vat"]}}

    response = refused(shop, "POST", "repricings", body, status=422)

    assert response.json["type"].endswith("missing-rate")
    assert response.json["missing"] == [
        {"resource": resource, "first_valid_from": DAY} for resource in ("tariffs/grid", "taxes/vat")
    ]


@pytest.mark.parametrize(
    ("query", "name"),
    [("limit=0", "limit"), ("limit=501", "limit"), ("limit=x", "limit"), ("cursor=x", "cursor"), ("cursor=", "cursor")],
)
def test_an_invalid_page_is_refused(shop: Client, query: str, name: str) -> None:
    newest = shop.get("repricings").json["items"][0]["id"]

    for method, path in (
        ("POST", "repricings"),
        ("GET", "repricings"),
        ("GET", f"repricings/{newest}/changes"),
        ("GET", "listings/sheet-online/price-history"),
    ):
        body = {"as_of": MONDAY} if method == "POST" else None
        assert parameters(refused(shop, method, f"{path}?{query}", body, status=422)) == [name], path


def test_a_cursor_is_valid_for_its_own_list_only(shop: Client, client: Client) -> None:
    register_shop(client)
    first = applied(client)
    path = f"repricings/{first['id']}/changes"
    cursors = {
        "repricings": previewed(client, FIRST, "repricings?limit=2", include_unchanged=True)["changes"]["next"],
        path: client.get(f"{path}?limit=2").json["next"],
    }

    for whose, following in cursors.items():
        cursor = following.partition("cursor=")[2]
        for other in {*cursors, "listings/sheet-online/price-history", "listings"} - {whose}:
            method, body = ("POST", {"as_of": MONDAY}) if other == "repricings" else ("GET", None)
            response = client.request(method, f"{other}?cursor={cursor}", body)
            assert parameters(response) == ["cursor"], (whose, other)
        stranger = shop.request("GET", f"{whose}?cursor={cursor}")
        assert stranger.status_code in (404, 422)
        assert parameters(shop.post(f"repricings?cursor={cursor}", {"as_of": MONDAY})) == ["cursor"]


@pytest.mark.parametrize("text", ["x", "1", "00000000-0000-0000-0000", "{}", "0" * 32, "%00"])
def test_an_invalid_id_is_refused_by_name(shop: Client, text: str) -> None:
    for method, path in (("GET", ""), ("GET", "/changes"), ("POST", "/rollback")):
        assert parameters(refused(shop, method, f"repricings/{text}{path}", status=422)) == ["repricing_id"]


def test_an_unknown_repricing_is_not_found(shop: Client) -> None:
    unknown = "00000000-0000-7000-8000-000000000000"

    for method, path in (("GET", ""), ("GET", "/changes"), ("POST", "/rollback")):
        problem = refused(shop, method, f"repricings/{unknown}{path}", status=404)
        assert unknown in problem.json["detail"]
    for ending in ("csv", "ndjson"):
        refused(shop, "GET", f"repricings/{unknown}/changes.{ending}", status=404)


def test_the_history_of_an_unknown_listing_is_not_found(shop: Client) -> None:
    refused(shop, "GET", "listings/no-such/price-history", status=404)
    assert parameters(refused(shop, "GET", "listings/no%20such/price-history", status=422)) == ["code"]


@pytest.mark.parametrize("accept", ["text/html", "image/png", "application/xml", "text/csv;q=0"])
def test_a_form_that_is_not_offered_is_refused(shop: Client, accept: str) -> None:
    for apply in (False, True):
        refused(shop, "POST", "repricings", {"as_of": MONDAY, "apply": apply}, status=406, headers={"Accept": accept})


def test_a_day_far_ahead_has_no_exchange_rate(client: Client) -> None:
    """Rates stay in force until replaced; exchange rates expire."""
    register_shop(client)
    client.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.1"}})
    client.register("listings/peg-fair", builders.listing(product="peg", channel="fair", tax=None, currency="USD"))

    response = client.post("repricings", {"as_of": "2030-01-01", "scope": {"product": "peg"}})

    assert response.status_code == 422
    assert response.json["type"].endswith("nothing-priced")
    assert "2026-11-20" in response.json["detail"]
    assert "USD" in response.json["detail"]
    assert previewed(client, "2030-01-01")["summary"]["unpriced"] == 1
