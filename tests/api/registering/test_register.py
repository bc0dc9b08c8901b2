"""The register as one document over HTTP: read whole, taken in any part, all of it or nothing."""

import json
from datetime import UTC, datetime
from typing import Any

import flask
import pytest

from service.workflows import register_document
from tests.api.outside import leaving_as_it_is, pointers, refused
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.demo import loaded_demo, new_demo

DAY = "2026-01-01"
HDPE = {"facts": builders.material(), "rates": {DAY: builders.material_rate()}}
EUR = {"base": "EUR", "rates": {"GBP": "0.86"}}


def test_what_is_read_changes_nothing_at_home_and_makes_the_same_elsewhere(
    app: flask.Flask, contract: Contract
) -> None:
    home, elsewhere = loaded_demo(app, contract), new_demo(app, contract)
    found = home.get("register")

    at_home = home.post("register?prune=true", found.data)
    there = elsewhere.post("register", found.data)

    assert {each["outcome"] for each in at_home.json["entries"]} == {"unchanged"}
    assert at_home.headers["ETag"] == found.headers["ETag"]
    assert {each["outcome"] for each in there.json["entries"]} == {"created"}
    assert elsewhere.get("register").data == found.data
    one, other = (each.get("products/brick/cost-sheet?quantity=500").json for each in (home, elsewhere))
    assert one == other


class TestConditions:
    def test_what_is_unchanged_is_not_sent_again(self, client: Client) -> None:
        tag = client.get("register").headers["ETag"]

        assert client.get("register", headers={"If-None-Match": tag}).status_code == 304
        client.post("register", {"materials": {"hdpe": HDPE}})
        assert client.get("register", headers={"If-None-Match": tag}).status_code == 200

    def test_just_what_a_dry_run_has_shown_is_done_or_nothing(self, client: Client) -> None:
        with leaving_as_it_is(client):
            shown = client.post("register?dry_run=true", {"materials": {"hdpe": HDPE}})
        seen = {"If-Match": shown.headers["ETag"]}

        done = client.post("register", {"materials": {"hdpe": HDPE}}, headers=seen)

        assert (shown.json["dry_run"], done.json["dry_run"]) == (True, False)
        assert shown.json["entries"] == done.json["entries"]
        refused(client, "POST", "register", {"materials": {"hdpe": HDPE}}, status=412, headers=seen)


def test_exchange_rates_are_entered_for_a_day_or_for_today(client: Client) -> None:
    done = client.post("register", {"exchange-rates": {"today": EUR, DAY: EUR}})

    today = datetime.now(UTC).date()
    subjects = [each["subject"] for each in done.json["entries"]]
    assert subjects == [f"exchange-rates/{today}/manual", f"exchange-rates/{DAY}/manual"]
    twice = refused(client, "POST", "register", {"exchange-rates": {"today": EUR, str(today): EUR}}, status=422)
    assert pointers(twice) == [f"/exchange-rates/{today}"]


def test_a_retry_is_answered_alike(client: Client) -> None:
    key = {"Idempotency-Key": '"once"'}
    first, again = (client.post("register", {"materials": {"hdpe": HDPE}}, headers=key) for _ in range(2))

    assert first.json["counts"]["created"] == 2
    assert again.data == first.data
    refused(client, "POST", "register?dry_run=true", {}, status=400, headers={"Idempotency-Key": "bare"})


@pytest.mark.parametrize(
    ("body", "wrong"),
    [
        ([], [""]),
        ({"gadgets": {}}, ["/gadgets"]),
        ({"materials": []}, ["/materials"]),
        (
            {"materials": {"hdpe": None, "pp": {}, "ps": [], "x": {"facts": None}, "y": {"price": 1}}},
            ["/materials/hdpe", "/materials/pp", "/materials/ps", "/materials/x/facts", "/materials/y/price"],
        ),
        ({"materials": {"a b": {"facts": {"name": "A"}}}}, ["/materials/a b", "/materials/a b/facts/unit"]),
        (
            {"materials": {"hdpe": {**HDPE, "rates": {"2026-13-01": {"price": 1}, DAY: []}}}},
            [
                "/materials/hdpe/rates/2026-01-01",
                "/materials/hdpe/rates/2026-13-01",
                "/materials/hdpe/rates/2026-13-01/price",
            ],
        ),
        (
            {"closures": {"xmas": {"facts": {"name": "X"}, "rates": {}}}},
            ["/closures/xmas/facts/first_day", "/closures/xmas/facts/last_day", "/closures/xmas/rates"],
        ),
        (
            {"exchange-rates": {"tomorrow": EUR, DAY: {"base": "EUR", "rates": {"DEM": "2"}}, "today": {}}},
            ["/exchange-rates/today/base", "/exchange-rates/today/rates"],
        ),
        (
            {"exchange-rates": {"tomorrow": EUR, DAY: {"base": "EUR", "rates": {"DEM": "2"}}}},
            [f"/exchange-rates/{DAY}/rates/DEM", "/exchange-rates/tomorrow"],
        ),
    ],
    ids=json.dumps,
)
def test_every_problem_is_named_by_its_place(client: Client, body: Any, wrong: list[str]) -> None:
    assert pointers(refused(client, "POST", "register", body, status=422)) == wrong


def test_a_document_of_too_many_entries_is_told_to_come_in_parts(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(register_document, "MAX_ENTRIES", 1)

    response = refused(client, "POST", "register", {"materials": {"hdpe": HDPE}}, status=422)

    assert response.json["detail"].endswith("send its collections one after another, in documents of their own")
