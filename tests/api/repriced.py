"""A workshop for tests of repricing, and helpers for requests."""

from collections.abc import Mapping
from typing import Any

from tests.conftest import Client
from tests.support import builders
from tests.support.furnishing import furnishes

DAY = "2026-01-01"
FIRST = "2026-11-25"
"""The day of the rates for the first prices."""
MONDAY = "2026-11-30"
"""The day on which rates change."""

LATER = "2100-01-01"
"""A day on which all prices of a test are in force, whichever day it is today."""

PLAIN = {"currency": "EUR", "fees": []}


def made_of(code: str, quantity: str = "1", **changes: Any) -> dict[str, Any]:
    """A product that consists only of another one."""
    return {
        "name": f"Made of {code}",
        "bill_of_materials": [{"product": code, "quantity_per_piece": quantity}],
        **changes,
    }


@furnishes
def register_shop(client: Any) -> None:
    """Register five listings: four depend on electricity, one of these through sub-assemblies; one is sent by post."""
    builders.register_shipping(client)
    client.register("materials/resin", builders.material(name="Resin"), **{DAY: builders.material_rate("4")})
    client.register("channels/fair", builders.channel(name="Fair", display="tax_exclusive"), **{DAY: PLAIN})
    client.register("taxes/reduced", {"name": "VAT 9 %"}, **{DAY: {"rate_share": "0.09"}})
    peg = {"name": "Peg", "bill_of_materials": [{"material": "resin", "quantity_per_piece": "0.5"}]}
    client.register("products/peg", peg)
    for code, part in (("board", "sheet"), ("bench", "board"), ("set", "bench")):
        client.register(f"products/{code}", made_of(part, "2"))
    sent = {"shipping_service": "post", "shipping_zone": "home"}
    listings = {
        "brick-post": builders.listing(product="brick", tags=["garden", "small"], **sent),
        "peg-fair": builders.listing(product="peg", channel="fair", tax="reduced", tags=["small"]),
        "set-fair": builders.listing(product="set", channel="fair", tags=["garden"], standard_batch=3),
        "sheet-fair": builders.listing(channel="fair", tax=None),
        "sheet-online": builders.listing(tags=["garden"]),
    }
    for code, facts in listings.items():
        client.register(f"listings/{code}", facts)


def raise_electricity(client: Client, day: str = "0.39", night: str = "0.18", on: str = MONDAY) -> None:
    assert client.put(f"tariffs/grid/rates/{on}", builders.tariff_rate(day, night)).status_code in (200, 201)


def previewed(client: Client, as_of: str = MONDAY, path: str = "repricings", **body: Any) -> Any:
    """Preview a repricing."""
    response = client.post(path, {"as_of": as_of, **body})
    assert response.status_code == 200, response.text
    return response.json


def applied(client: Client, as_of: str = FIRST, **body: Any) -> Any:
    """Apply a repricing; fails if there is nothing to change."""
    response = client.post("repricings", {"as_of": as_of, "apply": True, **body})
    assert response.status_code == 201, response.text
    return response.json


def changes(answer: Mapping[str, Any]) -> dict[str, Any]:
    """The changes by listing; all of them must be on the page."""
    assert answer["changes"]["next"] is None
    return {change["listing"]: change for change in answer["changes"]["items"]}


def decisions(answer: Mapping[str, Any]) -> dict[str, str]:
    return {code: change["decision"] for code, change in changes(answer).items()}


def looked_at(client: Client, **body: Any) -> list[str]:
    """The listings in a repricing's scope."""
    return sorted(changes(previewed(client, include_unchanged=True, **body)))


def effects(change: Mapping[str, Any]) -> dict[str, str]:
    """The effects of a change, by resource and cause."""
    return {f"{each['resource']} {each['cause']}": each["amount"]["amount"] for each in change["effects"]}


def prices(client: Client) -> dict[str, str | None]:
    """The price in force of every listing: the newest in its history that was not rolled back."""
    found = {}
    for listing in client.get("listings").json["items"]:
        history = client.get(f"listings/{listing['code']}/price-history?as_of={LATER}").json["items"]
        standing = [each["price"]["amount"] for each in history if each["rolled_back_at"] is None]
        found[listing["code"]] = standing[0] if standing else None
    return found


def price_sheet(client: Client, listing: str, as_of: str = MONDAY, **query: Any) -> Any:
    response = client.get(f"listings/{listing}/price-sheet", query_string={"as_of": as_of, **query})
    assert response.status_code == 200, response.text
    return response.json["price_per_piece"]


def unit_cost(client: Client, product: str, quantity: int, as_of: str = MONDAY) -> Any:
    """The full cost of a piece on the cost sheet."""
    sheet = client.get(f"products/{product}/cost-sheet?quantity={quantity}&as_of={as_of}").json
    return sheet["subtotals"]["full_cost"]["per_piece"]
