"""Laws of repricing: figures equal the sheets', applying does what the preview shows, rollback restores prices."""

import json
from decimal import Decimal
from typing import Any

import flask
import pytest

from tests.api.repriced import (
    DAY,
    FIRST,
    MONDAY,
    applied,
    changes,
    decisions,
    effects,
    previewed,
    price_sheet,
    prices,
    raise_electricity,
    register_shop,
    unit_cost,
)
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.builders import money
from tests.support.contract import Contract


@pytest.fixture
def shop(client: Client) -> Client:
    register_shop(client)
    return client


def everything_moves(client: Client) -> None:
    """Change one rate of each kind from Monday on."""
    rates = {
        "tariffs/grid": builders.tariff_rate(
            "0.41", "0.17", standing_charge_per_month=money("40"), expected_kwh_per_month="900"
        ),
        "materials/hdpe": builders.material_rate("0.93", reclaim_value=money("0.10")),
        "materials/resin": builders.material_rate("3.333"),
        "machines/press": builders.machine_rate(interest_share="0.07"),
        "labour-grades/operator": builders.labour_rate("16.40"),
        "overheads/rent": builders.overhead_rate("777", "190"),
        "taxes/vat": {"rate_share": "0.23"},
        "channels/quay-market": builders.channel_rate(fees=[builders.fee(share="0.08", fixed="0.20")]),
        "shipping-services/post": builders.shipping_rate(fuel_surcharge_share="0.11"),
    }
    for resource, terms in rates.items():
        assert client.put(f"{resource}/rates/{MONDAY}", terms).status_code == 201


def check_figures(client: Client, found: dict[str, Any], as_of: str = MONDAY) -> None:
    """Every figure of every change equals that of the listing's price sheet or the product's cost sheet."""
    listings = {each["code"]: each for each in client.get("listings").json["items"]}
    for code, change in found.items():
        new, old, sheet = change["new"], change["old"], price_sheet(client, code, as_of)
        facts = listings[code]
        assert new["price"] == sheet["price"]
        assert new["margin_share"] == sheet["margin_share"]
        assert new["unit_cost"] == unit_cost(client, facts["product"], facts["standard_batch"], as_of)
        if old is not None and old["price"]["currency"] == new["price"]["currency"]:
            kept = price_sheet(client, code, as_of, kept_at=old["price"]["amount"])
            assert change["kept_margin_share"] == kept["margin_share"]
            move = Decimal(new["price"]["amount"]) / Decimal(old["price"]["amount"]) - 1
            assert abs(Decimal(change["move_share"]) - move) <= Decimal("0.0000005")


def check_effects(found: dict[str, Any]) -> None:
    """The effects shown add up to the difference of the costs shown."""
    for change in found.values():
        difference = Decimal(change["new"]["unit_cost"]["amount"]) - Decimal(change["old"]["unit_cost"]["amount"])
        assert sum((Decimal(amount) for amount in effects(change).values()), Decimal(0)) == difference


class TestFigures:
    def test_are_those_of_price_sheet_and_cost_sheet(self, shop: Client) -> None:
        first = applied(shop)
        check_figures(shop, changes(first), FIRST)
        everything_moves(shop)

        found = changes(applied(shop, MONDAY))

        assert len(found) == 5
        check_figures(shop, found)
        check_effects(found)

    def test_are_shown_with_the_digits_of_the_minor_unit_whatever_the_step(self, shop: Client) -> None:
        for code, step in (("sheet-online", "5"), ("peg-fair", "0.5")):
            facts = {name: each for name, each in shop.get(f"listings/{code}").json.items() if name != "code"}
            shop.register(f"listings/{code}", {**facts, "policy": builders.policy(price_step=step)})

        found = changes(previewed(shop, FIRST))

        assert all(len(each["new"]["price"]["amount"].partition(".")[2]) == 2 for each in found.values())
        check_figures(shop, found, FIRST)

    @pytest.mark.parametrize(
        "policy",
        [
            builders.policy(cost_basis="variable_cost"),
            builders.policy("markup", "0.5", never_below_cost="full_cost", price_endings=["0.90", "0.49"]),
            builders.policy("profit_per_piece", "1.5", never_below_cost="variable_cost", rounding="nearest"),
            builders.policy("fixed_price", "3.5", never_below_amount="4"),
            builders.policy("margin", "-0.1", cost_basis="variable_cost", never_below_cost="full_cost"),
        ],
    )
    def test_are_those_of_the_sheets_under_any_policy(self, shop: Client, policy: Any) -> None:
        for code in ("sheet-online", "peg-fair", "brick-post"):
            facts = {name: each for name, each in shop.get(f"listings/{code}").json.items() if name != "code"}
            shop.register(f"listings/{code}", {**facts, "policy": policy})
        applied(shop)
        everything_moves(shop)

        found = changes(previewed(shop, include_unchanged=True))

        assert {*found} == {"brick-post", "peg-fair", "set-fair", "sheet-fair", "sheet-online"}
        check_figures(shop, found)
        check_effects(found)

    @pytest.mark.parametrize(("home", "digits"), [("JPY", 4), ("KWD", 7)])
    def test_are_those_of_the_sheets_if_the_workshop_s_currency_is_not_that_of_the_rates(
        self, app: flask.Flask, contract: Contract, home: str, digits: int
    ) -> None:
        """Every rate and two of the listings are in euros."""
        client = make_client(app, contract, currency=home)
        for day, rate in ((FIRST, "163.42"), (MONDAY, "171.05")):
            assert client.put(f"exchange-rates/{day}", {"base": "EUR", "rates": {home: rate}}).status_code == 201
        register_shop(client)
        at_home = {"product": "peg", "channel": "fair", "currency": home}
        client.register("listings/at-home", builders.listing(**at_home))
        applied(client)

        answer = previewed(client, include_unchanged=True)
        found = changes(answer)

        check_figures(client, found)
        check_effects(found)
        assert len(found["at-home"]["new"]["unit_cost"]["amount"].partition(".")[2]) == digits
        assert [*effects(found["at-home"])] == ["materials/resin exchange_rate"]
        assert found["at-home"]["decision"] == "changed"
        assert found["peg-fair"]["decision"] == "same"  # cost and price are both in euros
        assert {change["cause"] for change in answer["rate_changes"]} == {"exchange_rate"}
        assert [each["published_on"] for each in answer["exchange_rates"]] == [MONDAY]


class TestTheWayThereAndBack:
    def test_restoring_a_rate_restores_the_prices_byte_for_byte(self, shop: Client) -> None:
        before = {code: change["new"] for code, change in changes(applied(shop)).items()}
        raise_electricity(shop)
        moved = applied(shop, MONDAY)
        raise_electricity(shop, "0.30", "0.18", "2026-12-01")

        after = {code: change["new"] for code, change in changes(applied(shop, "2026-12-01")).items()}

        assert decisions(moved) == dict.fromkeys(("brick-post", "set-fair", "sheet-fair", "sheet-online"), "changed")
        assert json.dumps(after) == json.dumps({code: before[code] for code in after})
        assert {*after} == {*decisions(moved)}

    def test_a_rollback_restores_them_too(self, shop: Client) -> None:
        applied(shop)
        before = prices(shop)
        raise_electricity(shop)
        moved = applied(shop, MONDAY)
        assert prices(shop) != before

        rolled_back = shop.post(f"repricings/{moved['id']}/rollback", None)

        assert rolled_back.status_code == 200
        assert rolled_back.json["status"] == "rolled_back"
        assert prices(shop) == before
        again = previewed(shop, MONDAY)
        assert changes(again) == changes(moved)


class TestAPreview:
    def test_is_what_is_applied(self, shop: Client) -> None:
        applied(shop)
        everything_moves(shop)

        seen, done = previewed(shop), applied(shop, MONDAY)

        assert done["changes"] == seen["changes"]
        assert {name: done[name] for name in ("summary", "rate_changes", "exchange_rates", "request", "as_of")} == {
            name: seen[name] for name in ("summary", "rate_changes", "exchange_rates", "request", "as_of")
        }
        assert shop.get(f"repricings/{done['id']}/changes").json["items"] == seen["changes"]["items"]

    def test_with_a_supposed_rate_equals_the_preview_with_that_rate_registered(self, shop: Client) -> None:
        applied(shop)
        terms = builders.tariff_rate("0.39", "0.21")

        supposed = previewed(shop, rates={"tariffs/grid": terms})
        assert shop.put(f"tariffs/grid/rates/{MONDAY}", terms).status_code == 201
        registered = previewed(shop, scope={"resources": ["tariffs/grid"]})

        assert supposed["changes"] == registered["changes"]
        assert supposed["summary"] == registered["summary"]
        assert supposed["rate_changes"] == registered["rate_changes"]
        assert supposed["summary"]["listings"] == 4

    @pytest.mark.parametrize(
        ("resource", "terms"),
        [
            ("taxes/vat", {"rate_share": "0.25"}),
            ("channels/quay-market", builders.channel_rate(fees=[builders.fee(share="0.12")])),
            ("shipping-services/post", builders.shipping_rate(fuel_surcharge_share="0.4")),
            ("overheads/rent", builders.overhead_rate("900")),
        ],
    )
    def test_with_a_supposed_rate_of_any_kind_does_too(self, shop: Client, resource: str, terms: Any) -> None:
        applied(shop)

        supposed = previewed(shop, rates={resource: terms})
        assert shop.put(f"{resource}/rates/{MONDAY}", terms).status_code == 201

        registered = previewed(shop, scope={"resources": [resource]})
        assert supposed["changes"] == registered["changes"]
        assert supposed["summary"]["changed"] > 0

    def test_with_a_supposed_rate_may_have_another_scope(self, shop: Client) -> None:
        applied(shop)

        found = previewed(
            shop,
            rates={"tariffs/grid": builders.tariff_rate("0.39")},
            scope={"channel": "fair"},
            include_unchanged=True,
        )

        assert decisions(found) == {"set-fair": "changed", "sheet-fair": "changed"}


class TestApplyingAgain:
    def test_finds_nothing_to_change(self, shop: Client) -> None:
        applied(shop)

        again = shop.post("repricings", {"as_of": FIRST, "apply": True})

        assert again.status_code == 200
        assert "Location" not in again.headers
        assert (again.json["status"], again.json["id"]) == ("nothing_to_change", None)
        assert again.json["summary"] == {
            **dict.fromkeys(("first", "changed", "kept", "held", "unpriced"), 0),
            "listings": 5,
            "same": 5,
        }
        assert len(shop.get("repricings").json["items"]) == 1

    def test_shows_no_effects_of_unchanged_costs(self, shop: Client) -> None:
        applied(shop)

        found = changes(previewed(shop, FIRST, include_unchanged=True))

        assert {change["decision"] for change in found.values()} == {"same"}
        assert all(change["effects"] == [] and change["move_share"] == "0.000000" for change in found.values())
        check_figures(shop, found, FIRST)


def test_the_order_of_registration_does_not_matter(app: flask.Flask, contract: Contract, client: Client) -> None:
    other = make_client(app, contract)
    register_shop(client)
    register_shop(other)
    for code in ("sheet-online", "brick-post", "peg-fair"):  # registered again, after all others
        facts = {name: each for name, each in other.get(f"listings/{code}").json.items() if name != "code"}
        assert other.delete(f"listings/{code}").status_code == 204
        other.register(f"listings/{code}", facts)
    for code in ("resin", "hdpe"):
        terms = other.get(f"materials/{code}/rates/{DAY}").json
        assert other.delete(f"materials/{code}/rates/{DAY}").status_code == 204
        assert other.put(f"materials/{code}/rates/{DAY}", terms).status_code == 201

    found = []
    for each in (client, other):
        first = applied(each)
        everything_moves(each)
        found.append([bare(change) for change in (*changes(first).values(), *changes(previewed(each)).values())])

    assert found[0] == found[1]


def bare(change: dict[str, Any]) -> dict[str, Any]:
    """A change without the id of the previous repricing."""
    old = change["old"]
    return {**change, "old": None if old is None else {**old, "repricing": ""}}
