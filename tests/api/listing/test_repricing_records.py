"""Stored repricings: applied as a whole, listed, read in every form, rolled back; and a listing's price history."""

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from service.store.engine.database import Database
from service.workflows.workshop import keys
from tests.api.outside import leaving_as_it_is, refused
from tests.api.repriced import (
    FIRST,
    MONDAY,
    applied,
    changes,
    decisions,
    effects,
    looked_at,
    previewed,
    prices,
    raise_electricity,
    register_shop,
)
from tests.conftest import Client
from tests.support import builders
from tests.support.days import on_day
from tests.support.furnishing import furnishes

pytestmark = pytest.mark.every_engine

CSV, NDJSON, SVG = "text/csv", "application/x-ndjson", "image/svg+xml"


@pytest.fixture(autouse=True)
def on_that_monday() -> Iterator[None]:
    """So that what is applied for that day is in force at once, whichever day it is today."""
    with on_day(MONDAY):
        yield


@pytest.fixture
def shop(client: Client) -> Client:
    register_shop(client)
    return client


@pytest.fixture
@furnishes
def moved(client: Client) -> Client:
    """A workshop with first prices in force and a higher price of electricity from Monday on."""
    register_shop(client)
    applied(client)
    raise_electricity(client, "0.39", "0.21")
    return client


def pages(client: Client, path: str, body: Any = None) -> list[Any]:
    """All entries of a list, from all its pages."""
    found: list[Any] = []
    method = "GET" if body is None else "POST"
    while path:
        answer = client.request(method, path, body)
        assert answer.status_code == 200, answer.text
        page = answer.json if body is None else answer.json["changes"]
        found += page["items"]
        path = page["next"]
    return found


def as_records(response: Any) -> list[dict[str, str]]:
    assert response.status_code in (200, 201), response.text
    return list(csv.DictReader(io.StringIO(response.data.decode())))


def as_lines(response: Any) -> list[Any]:
    assert response.status_code in (200, 201), response.text
    return [json.loads(line) for line in response.data.decode().splitlines()]


SIDES = ("old", "new")


def record_of(change: dict[str, Any]) -> dict[str, str]:
    """A change as a record of the CSV."""

    def amount(side: str, name: str, member: str = "amount") -> str:
        return change[side][name][member] if change[side] else ""

    def share(value: str | None) -> str:
        return value or ""

    return {
        "listing": change["listing"],
        "product": change["product"],
        "channel": change["channel"],
        "decision": change["decision"],
        "currency": amount("new", "price", "currency") or amount("old", "price", "currency"),
        "old_price": amount("old", "price"),
        "new_price": amount("new", "price"),
        **{f"{side}_base_quantity": str(change[side]["base_quantity"]) if change[side] else "" for side in SIDES},
        "move_share": share(change["move_share"]),
        "cost_currency": amount("new", "unit_cost", "currency") or amount("old", "unit_cost", "currency"),
        "old_unit_cost": amount("old", "unit_cost"),
        "new_unit_cost": amount("new", "unit_cost"),
        "old_margin_share": share(change["old"] and change["old"]["margin_share"]),
        "kept_margin_share": share(change["kept_margin_share"]),
        "new_margin_share": share(change["new"] and change["new"]["margin_share"]),
        "effects": "; ".join(f"{name} {figure}" for name, figure in effects(change).items()),
        "problem": share(change["problem"]),
        "unit": change["unit"],
    }


class TestForms:
    def test_of_a_preview_have_the_same_content(self, moved: Client) -> None:
        body = {"as_of": MONDAY, "include_unchanged": True}
        whole = moved.post("repricings", body)
        items = whole.json["changes"]["items"]

        lines = moved.post("repricings.ndjson", body)
        records = moved.post("repricings.csv", body)

        assert len(items) == 5
        assert pages(moved, "repricings?limit=2", body) == as_lines(lines) == items
        assert as_records(records) == [record_of(change) for change in items]
        assert lines.headers["ETag"] == records.headers["ETag"] == whole.headers["ETag"]
        for answer in (lines, records):
            assert int(answer.headers["Content-Length"]) == len(answer.data)

    def test_of_an_applied_repricing_have_the_same_content(self, moved: Client) -> None:
        moved.register(
            "listings/stuck", builders.listing(channel="fair", tax=None, policy=builders.policy(value="0.999999"))
        )
        moved.put("channels/fair/rates/2026-11-29", {"currency": "EUR", "fees": [builders.fee(share="0.5")]})
        done = applied(moved, MONDAY)
        path = f"repricings/{done['id']}/changes"
        items = done["changes"]["items"]

        assert decisions(done)["stuck"] == "unpriced"
        assert pages(moved, f"{path}?limit=2") == items
        assert as_lines(moved.get(f"{path}.ndjson")) == items
        assert as_records(moved.get(f"{path}.csv")) == [record_of(change) for change in items]

    @pytest.mark.parametrize(("ending", "read"), [("csv", as_records), ("ndjson", as_lines)])
    def test_of_an_application_report_the_result(self, moved: Client, ending: str, read: Any) -> None:
        seen = moved.post(f"repricings.{ending}", {"as_of": MONDAY})

        done = moved.post(f"repricings.{ending}", {"as_of": MONDAY, "apply": True})
        again = moved.post(f"repricings.{ending}", {"as_of": MONDAY, "apply": True})

        assert done.status_code == 201
        assert read(done) == read(seen) != []
        assert moved.get(f"{done.headers['Location']}/changes.{ending}").data == done.data
        assert again.status_code == 200
        assert read(again) == []

    def test_further_pages_of_a_preview_leave_out_the_totals(self, moved: Client) -> None:
        first = previewed(moved, path="repricings?limit=3")

        second = moved.post(first["changes"]["next"], {"as_of": MONDAY})

        assert [each["listing"] for each in first["changes"]["items"]] == ["brick-post", "set-fair", "sheet-fair"]
        assert [each["listing"] for each in second.json["changes"]["items"]] == ["sheet-online"]
        assert second.json["changes"]["next"] is None
        assert second.json["summary"] is None
        assert first["summary"]["changed"] == 4

    def test_of_an_application_show_the_first_changes_and_link_to_the_rest(self, moved: Client) -> None:
        answer = moved.post("repricings?limit=1", {"as_of": MONDAY, "apply": True})

        assert answer.status_code == 201
        following = answer.json["changes"]["next"]
        assert following.startswith(f"/v1/repricings/{answer.json['id']}/changes?limit=1&cursor=")
        rest = pages(moved, following)
        assert [each["listing"] for each in rest] == ["set-fair", "sheet-fair", "sheet-online"]


class TestWhatIsApplied:
    def test_can_be_read_at_its_location(self, moved: Client) -> None:
        answer = moved.post("repricings", {"as_of": MONDAY, "apply": True, "scope": {"tag": "garden"}})

        found = moved.get(answer.headers["Location"])

        assert found.json == {name: each for name, each in answer.json.items() if name != "changes"}
        assert (found.json["status"], found.json["applied_by"]) == ("applied", "tests")
        assert found.json["request"]["scope"]["tag"] == "garden"
        assert found.json["request"]["as_of"] == MONDAY

    def test_includes_unchanged_listings_only_if_requested(self, moved: Client) -> None:
        done = applied(moved, MONDAY, include_unchanged=True)

        assert decisions(done)["peg-fair"] == "same"
        assert len(changes(done)) == 5
        assert moved.get("listings/peg-fair/price-history").json["items"][0]["as_of"] == FIRST

    def test_records_the_name_of_the_key(self, moved: Client, database: Database) -> None:
        moved.key = keys.create_key(database, moved.workshop.workshop_id, "till", frozenset({"read", "write"}))

        assert applied(moved, MONDAY)["applied_by"] == "till"

    def test_needs_a_key_that_may_write_but_a_preview_one_that_may_read(
        self, moved: Client, database: Database
    ) -> None:
        body = {"as_of": MONDAY}
        reading = replace(moved, key=keys.create_key(database, moved.workshop.workshop_id, "r", frozenset({"read"})))
        writing = replace(moved, key=keys.create_key(database, moved.workshop.workshop_id, "w", frozenset({"write"})))

        for apply in (False, True):  # either would reveal data
            refused(writing, "POST", "repricings", {**body, "apply": apply}, status=403)
        assert reading.post("repricings", body).json == moved.post("repricings", body).json
        refused(reading, "POST", "repricings", {**body, "apply": True}, status=403)
        assert moved.post("repricings", {**body, "apply": True}).status_code == 201

    def test_is_of_today_by_default(self, shop: Client) -> None:
        today = shop.workshop.today().isoformat()

        answer = shop.post("repricings", {"apply": True})

        assert answer.json["as_of"] == answer.json["request"]["as_of"] == today

    def test_is_listed_newest_first(self, moved: Client) -> None:
        second = applied(moved, MONDAY, scope={"channel": "fair"})
        third = applied(moved, MONDAY)

        listed = pages(moved, "repricings?limit=1")

        assert [each["id"] for each in listed[:2]] == [third["id"], second["id"]]
        assert len(listed) == 3
        assert listed[0] == moved.get(f"repricings/{third['id']}").json


class TestApplyingAPreview:
    def apply(self, client: Client, tag: str, status: int, **body: Any) -> Any:
        response = client.post("repricings", {"as_of": MONDAY, "apply": True, **body}, headers={"If-Match": tag})
        assert response.status_code == status, response.text
        return response

    def tag(self, client: Client, **body: Any) -> str:
        found: str = client.post("repricings", {"as_of": MONDAY, **body}).headers["ETag"]
        return found

    def test_succeeds_while_nothing_has_changed(self, moved: Client) -> None:
        self.apply(moved, self.tag(moved), 201)

    def test_may_confirm_listings_that_the_preview_held(self, moved: Client) -> None:
        rules = {"greatest_move_share": "0.0001"}

        done = self.apply(moved, self.tag(moved, rules=rules), 201, rules=rules, confirmed=["sheet-online"])

        assert decisions(done.json)["sheet-online"] == "changed"

    def test_is_refused_the_second_time_with_the_id_of_the_first(self, moved: Client) -> None:
        tag = self.tag(moved)
        first = self.apply(moved, tag, 201).json["id"]

        again = refused(
            moved, "POST", "repricings", {"as_of": MONDAY, "apply": True}, status=412, headers={"If-Match": tag}
        )

        assert again.json["applied_as"] == first
        assert first in again.json["detail"]
        assert "applied already" in again.json["detail"]

    @pytest.mark.parametrize(
        "other", [{"as_of": "2026-12-01"}, {"scope": {"tag": "garden"}}, {"rules": {"least_move_share": "0.1"}}]
    )
    def test_is_refused_if_the_request_differs(self, moved: Client, other: dict[str, Any]) -> None:
        problem = self.apply(moved, self.tag(moved), 412, **other)

        assert problem.json["applied_as"] is None

    @pytest.mark.parametrize("path", ["materials/resin", "listings/peg-fair", "exchange-rates/2026-11-20"])
    def test_is_refused_if_anything_has_changed(self, moved: Client, path: str) -> None:
        tag = self.tag(moved)
        facts = {"base": "EUR", "rates": {"USD": "1.1"}}
        if not path.startswith("exchange"):
            facts = {**{name: each for name, each in moved.get(path).json.items() if name != "code"}, "note": "x"}
        assert moved.put(path, facts).status_code in (200, 201)
        with leaving_as_it_is(moved):
            problem = self.apply(moved, tag, 412)

            assert "preview again" in problem.json["detail"]

    def test_accepts_any_state_for_a_star_and_none_for_a_weak_tag(self, moved: Client) -> None:
        self.apply(moved, f"W/{self.tag(moved)}", 412)
        self.apply(moved, '"something", "else"', 412)
        self.apply(moved, f'"other", {self.tag(moved)}', 201)
        self.apply(moved, "*", 200)

    def test_is_refused_for_a_supposed_rate(self, moved: Client) -> None:
        supposed = self.tag(moved, rates={"tariffs/grid": builders.tariff_rate("0.5")}, scope={"tag": "garden"})

        self.apply(moved, supposed, 412, scope={"tag": "garden"})


class TestRollback:
    def test_removes_first_prices(self, shop: Client) -> None:
        first = applied(shop)

        back = shop.post(f"repricings/{first['id']}/rollback", None)

        assert back.status_code == 200
        assert set(prices(shop).values()) == {None}
        assert decisions(previewed(shop, FIRST)) == decisions(first)
        assert back.json["rolled_back_by"] == "tests"
        assert shop.get(f"repricings/{first['id']}").json == back.json
        assert [*back.json] == [*{name: each for name, each in first.items() if name != "changes"}]

    def test_is_possible_only_from_the_newest_on(self, moved: Client) -> None:
        (first,) = moved.get("repricings").json["items"]
        before = prices(moved)
        second = applied(moved, MONDAY, scope={"channel": "fair"})

        tried = refused(moved, "POST", f"repricings/{first['id']}/rollback?dry_run=true", status=409)
        problem = refused(moved, "POST", f"repricings/{first['id']}/rollback", status=409)
        assert tried.json["detail"] == problem.json["detail"]
        assert moved.post(f"repricings/{second['id']}/rollback?dry_run=true", None).json["status"] == "applied"
        assert "2 " in problem.json["detail"]
        assert "roll back" in problem.json["detail"]
        assert moved.post(f"repricings/{second['id']}/rollback", None).status_code == 200
        assert prices(moved) == before
        assert moved.post(f"repricings/{first['id']}/rollback", None).status_code == 200
        assert set(prices(moved).values()) == {None}

    def test_ignores_a_later_repricing_of_other_listings(self, moved: Client) -> None:
        fair = applied(moved, MONDAY, scope={"channel": "fair"})
        at_the_market = applied(moved, MONDAY, scope={"channel": "quay-market"})

        assert moved.post(f"repricings/{fair['id']}/rollback", None).status_code == 200
        assert decisions(previewed(moved)) == {"set-fair": "changed", "sheet-fair": "changed"}
        assert moved.get(f"repricings/{at_the_market['id']}").json["status"] == "applied"

    def test_is_possible_once(self, moved: Client) -> None:
        second = applied(moved, MONDAY)
        assert moved.post(f"repricings/{second['id']}/rollback", None).status_code == 200

        problem = refused(moved, "POST", f"repricings/{second['id']}/rollback", status=409)

        assert "rolled back" in problem.json["detail"]

    def test_does_not_prevent_the_same_repricing_again(self, moved: Client) -> None:
        second = applied(moved, MONDAY)
        moved.post(f"repricings/{second['id']}/rollback", None)

        third = applied(moved, MONDAY)

        assert third["id"] != second["id"]
        assert changes(third) == changes(second)

    def test_makes_earlier_previews_stale(self, moved: Client) -> None:
        second = applied(moved, MONDAY)
        tag = moved.post("repricings", {"as_of": "2026-12-01"}).headers["ETag"]
        moved.post(f"repricings/{second['id']}/rollback", None)

        response = moved.post("repricings", {"as_of": "2026-12-01", "apply": True}, headers={"If-Match": tag})

        assert response.status_code == 412


class TestThePriceHistory:
    def test_lists_every_price_that_came_into_force_newest_first(self, moved: Client) -> None:
        second = applied(moved, MONDAY)

        items = pages(moved, "listings/sheet-online/price-history?limit=1")

        assert [each["as_of"] for each in items] == [MONDAY, FIRST]
        assert items[0]["repricing"] == second["id"]
        assert items[0]["applied_at"] == second["applied_at"]
        assert {name: items[0][name] for name in ("price", "base_quantity", "unit_cost", "margin_share")} == changes(
            second
        )["sheet-online"]["new"]

    def test_keeps_prices_that_were_rolled_back(self, moved: Client) -> None:
        second = applied(moved, MONDAY)
        back = moved.post(f"repricings/{second['id']}/rollback", None).json

        items = moved.get("listings/sheet-online/price-history").json["items"]

        assert [each["rolled_back_at"] for each in items] == [back["rolled_back_at"], None]

    def test_leaves_out_prices_that_did_not_come_into_force(self, moved: Client) -> None:
        applied(moved, MONDAY, include_unchanged=True, rules={"greatest_move_share": "0.0001"}, confirmed=["set-fair"])

        assert len(moved.get("listings/sheet-online/price-history").json["items"]) == 1
        assert len(moved.get("listings/set-fair/price-history").json["items"]) == 2

    def test_of_a_listing_that_was_never_priced_is_empty(self, shop: Client) -> None:
        assert shop.get("listings/sheet-online/price-history").json == {"items": [], "next": None}


class TestPricesOfADay:
    @pytest.fixture
    def set_for_monday(self, shop: Client) -> Iterator[dict[str, Any]]:
        """Prices in force since Friday, others from Monday on; it is Friday."""
        with on_day("2026-11-27"):
            applied(shop)
            raise_electricity(shop)
            yield applied(shop, MONDAY)

    def test_are_those_in_the_price_list_of_that_day(self, shop: Client, set_for_monday: dict[str, Any]) -> None:
        told = {code: each for code, each in changes(set_for_monday).items() if each["decision"] == "changed"}

        def listed(query: str = "") -> dict[str, str]:
            found = as_records(shop.get(f"price-list?prices=in_force{query}"))
            return {each["listing"]: each["price"] for each in found if each["listing"] in told}

        old, new = ({code: each[side]["price"]["amount"] for code, each in told.items()} for side in ("old", "new"))
        assert told
        assert listed() == listed("&as_of=2026-11-29") == old
        assert listed(f"&as_of={MONDAY}") == new
        assert set(listed("&as_of=2026-11-26").values()) == {""}
        with on_day(MONDAY):
            assert listed() == new

    def test_are_those_in_the_history_and_its_picture(self, shop: Client, set_for_monday: dict[str, Any]) -> None:
        path = "listings/sheet-online/price-history"

        def days(query: str = "") -> list[str]:
            return [each["valid_from"] for each in pages(shop, f"{path}?limit=1{query}")]

        new = changes(set_for_monday)["sheet-online"]["new"]["price"]["amount"]
        pictures = [shop.get(f"{path}.svg?as_of={day}").text for day in ("2026-11-29", MONDAY)]
        assert days() == ["2026-11-27"]
        assert days(f"&as_of={MONDAY}") == [MONDAY, "2026-11-27"]
        assert [new in picture for picture in pictures] == [False, True]
        refused(shop, "GET", f"{path}?as_of=Monday", status=422)

    def test_are_of_the_day_that_their_repricing_tells(self, shop: Client, set_for_monday: dict[str, Any]) -> None:
        first, second = pages(shop, "repricings")[::-1]

        assert (first["as_of"], first["valid_from"]) == (FIRST, "2026-11-27")
        assert (second["as_of"], second["valid_from"]) == (MONDAY, MONDAY)
        assert set_for_monday["valid_from"] == MONDAY
        assert previewed(shop, FIRST)["valid_from"] == "2026-11-27"


def test_two_workshops_with_the_same_codes_do_not_mix(shop: Client, stranger: Client) -> None:
    register_shop(stranger)
    applied(stranger)
    raise_electricity(stranger)

    assert decisions(previewed(shop)) == dict.fromkeys(looked_at(shop), "first")
    assert shop.get("repricings").json["items"] == []
    ours = applied(shop)
    assert {each["id"] for each in stranger.get("repricings").json["items"]}.isdisjoint({ours["id"]})
    for path in ("", "/changes"):
        assert stranger.get(f"repricings/{ours['id']}{path}").status_code == 404
        assert stranger.get(f"repricings/{ours['id']}/changes.csv").status_code == 404
    refused(stranger, "POST", f"repricings/{ours['id']}/rollback", status=404)
    assert len(stranger.get("listings/sheet-online/price-history").json["items"]) == 1
