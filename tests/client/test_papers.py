"""pugmill export-prices and job-sheet: what the workshop reads and hangs up, and listings without a price."""

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import flask
import pytest
import requests

from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import Ended, end_of, items, loaded_demo, new_demo, run_command
from tests.support.readable import percentage

COMMAND = "export-prices"


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop with its prices in force."""
    client = loaded_demo(app, contract)
    run_command(client, "reprice")
    return client


@pytest.fixture(autouse=True)
def columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


def price_list(client: Client, prices: str, ending: str = "") -> bytes:
    data: bytes = client.get(f"price-list{ending}?prices={prices}").data
    return data


def rows(ended: Ended) -> list[list[str]]:
    return [re.split(r" {2,}", row) for row in ended.out.splitlines()[2:]]


class TestTheTable:
    def test_shows_every_listing_with_the_price_in_force(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = end_of(demo, capsys, COMMAND)

        sheets = [demo.get(f"listings/{each['code']}/price-sheet").json for each in items(demo, "listings")]
        assert ended.status == 0
        assert [row[:3] for row in rows(ended)] == [
            [sheet["listing"], sheet["channel"], sheet["formatted_price"]] for sheet in sheets
        ]

    def test_shows_what_the_policies_ask_where_requested(
        self, demo: Client, capsys: pytest.CaptureFixture[str]
    ) -> None:
        facts: dict[str, Any] = demo.get("listings/brick-stall").json
        demo.put("listings/brick-stall", {**facts, "policy": {"target": "fixed_price", "value": "99"}})

        asked = end_of(demo, capsys, COMMAND, "--asked")
        in_force = end_of(demo, capsys, COMMAND)

        demo.put("listings/brick-stall", facts)
        (dear,) = (row for row in rows(asked) if row[0] == "brick-stall")
        (cheap,) = (row for row in rows(in_force) if row[0] == "brick-stall")
        assert "99" in dear[2]
        assert "99" not in cheap[2]
        sheets = [demo.get(f"listings/{each['code']}/price-sheet").json for each in items(demo, "listings")]
        assert [row[3:] for row in rows(asked) if row[0] != "brick-stall"] == [
            [sheet["formatted_unit_price"] or "-", percentage(sheet["price_per_piece"]["margin_share"])]
            for sheet in sheets
            if sheet["listing"] != "brick-stall"
        ]

    def test_says_how_many_pieces_a_price_is_for(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        facts: dict[str, Any] = demo.get("listings/brick-stall").json
        demo.put("listings/brick-stall", {**facts, "base_quantity": 12})

        asked = end_of(demo, capsys, COMMAND, "--asked")

        price = demo.get("listings/brick-stall/price-sheet").json["formatted_price"]
        demo.put("listings/brick-stall", facts)
        (row,) = (row for row in rows(asked) if row[0] == "brick-stall")
        assert row[2] == f"{price} per 12"

    def test_can_be_of_one_channel(self, demo: Client, capsys: pytest.CaptureFixture[str]) -> None:
        ended = end_of(demo, capsys, COMMAND, "--channel", "quay-market")

        assert [row[0] for row in rows(ended)] == ["beam-market-ch", "coasters-market"]

    def test_of_a_workshop_without_listings_says_so(
        self, app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str]
    ) -> None:
        ended = end_of(new_demo(app, contract), capsys, COMMAND)

        assert (ended.status, ended.out) == (0, "No listing is registered.\n")


class TestTheFiles:
    @pytest.mark.parametrize(("option", "prices"), [((), "in_force"), (("--asked",), "asked")])
    def test_are_as_the_service_writes_them(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, option: tuple[str, ...], prices: str
    ) -> None:
        table, linked = tmp_path / "prices.csv", tmp_path / "prices.jsonld"
        table.write_text("what stood there before")

        ended = end_of(demo, capsys, COMMAND, "--csv", str(table), "--json-ld", str(linked), *option)

        assert ended.status == 0
        assert ended.out == f"{table}: 6 listings\n{linked}: 6 listings\n"
        assert table.read_bytes() == price_list(demo, prices)
        assert linked.read_bytes() == price_list(demo, prices, ".jsonld")
        assert sorted(each.name for each in tmp_path.iterdir()) == ["prices.csv", "prices.jsonld"]
        listed = csv.DictReader(io.StringIO(table.read_text(), newline=""))
        _, *products = json.loads(linked.read_text())["@graph"]  # the first is the seller
        assert [each["price"] for each in listed] == [each["offers"]["price"] for each in products]

    def test_hang_on_the_wall_and_the_shelf(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        papers = {name: tmp_path / name for name in ("pdf", "html", "labels")}
        options = [word for name, path in papers.items() for word in (f"--{name}", str(path))]

        ended = end_of(demo, capsys, COMMAND, *options, "--grid", "2x7", "--locale", "de")

        query = "prices=in_force&locale=de"
        expected = {
            "pdf": f"price-list.pdf?{query}",
            "html": f"price-list.html?{query}",
            "labels": f"shelf-labels.pdf?{query}&columns=2&rows=7",
        }
        assert (ended.status, ended.out.count(": 2 listings")) == (0, 3)
        for name, address in expected.items():
            assert papers[name].read_bytes() == demo.get(address).data

    def test_are_not_written_in_a_dry_run(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path = tmp_path / "prices.csv"

        ended = end_of(demo, capsys, COMMAND, "--csv", str(path), "--dry-run")

        assert ended.status == 0
        assert ended.out.endswith(f"{path}: 6 listings, not written\n")
        assert list(tmp_path.iterdir()) == []

    def test_are_left_as_they_were_where_the_service_does_not_answer(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        path = tmp_path / "prices.csv"
        path.write_text("what stood there before")

        def fall_silent(request: Any) -> None:
            if ".jsonld" in request.path:
                raise requests.ConnectionError

        files = ("--csv", str(path), "--json-ld", str(tmp_path / "prices.jsonld"))
        ended = end_of(demo, capsys, COMMAND, *files, before=fall_silent)

        assert ended.status == 4
        assert path.read_text() == "what stood there before"
        assert list(tmp_path.iterdir()) == [path]

    def test_that_cannot_be_written_are_reported_in_words(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        ended = end_of(demo, capsys, COMMAND, "--csv", str(tmp_path / "missing" / "prices.csv"))

        assert ended.status == 1
        assert "prices.csv cannot be written: No such file or directory" in ended.err


class TestAListingWithoutAPrice:
    @pytest.mark.parametrize("option", [(), ("--asked",)], ids=["in force", "asked"])
    def test_is_listed_with_the_reason_and_makes_the_exit_status_3(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, option: tuple[str, ...]
    ) -> None:
        demo.put("listings/unpriced", {**demo.get("listings/brick-stall").json, "currency": "USD"})
        path = tmp_path / "prices.csv"

        shown = end_of(demo, capsys, COMMAND, *option)
        written = end_of(demo, capsys, COMMAND, "--csv", str(path), *option)

        demo.delete("listings/unpriced")
        assert (shown.status, written.status) == (3, 3)
        assert shown.err == f"pugmill {COMMAND}: 1 of 7 listings have no price to list: unpriced\n"
        assert re.search(r"^unpriced +saturday-stall +none +- +-$", shown.out, re.MULTILINE)
        (listed,) = (
            each for each in csv.DictReader(io.StringIO(path.read_text(), newline="")) if each["listing"] == "unpriced"
        )
        assert listed["problem"]
        assert f"unpriced: {listed['problem']}" in " ".join(shown.out.split())


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (("--channel", "nowhere"), 1, "channel: "),
        (("--asked", "--as-of", "tomorrow"), 1, "as_of: must be a day"),
        (("prices.csv",), 2, "unexpected extra argument"),
        (("--labels", "labels.pdf", "--grid", "2"), 2, "columns by rows, such as 3x8"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, tuple) else "",
)
def test_invalid_options_are_refused(
    demo: Client, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], status: int, told: str
) -> None:
    ended = end_of(demo, capsys, COMMAND, *arguments)

    assert ended.status == status
    assert told in ended.err
    assert ended.out == ""


class TestAJobSheet:
    def test_is_written_as_the_service_lays_it_out(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        pdf, page = tmp_path / "job.pdf", tmp_path / "job.html"
        options = ("--quantity", "500", "--pdf", str(pdf), "--html", str(page), "--locale", "de")

        ended = end_of(demo, capsys, "job-sheet", "brick", *options)

        assert (ended.status, ended.out) == (0, f"{pdf} is written.\n{page} is written.\n")
        for path in (pdf, page):
            asked = f"products/brick/job-sheet{path.suffix}?quantity=500&locale=de"
            assert path.read_bytes() == demo.get(asked).data

    def test_that_nobody_can_write_is_refused(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        place = ("--pdf", str(tmp_path / "job.pdf"))

        nowhere = end_of(demo, capsys, "job-sheet", "brick", "--quantity", "500")
        nothing = end_of(demo, capsys, "job-sheet", "nothing", "--quantity", "5", *place)

        assert (nowhere.status, nothing.status) == (2, 1)
        assert "say where to write it" in nowhere.err
        assert "there is no product 'nothing'" in nothing.err
        assert list(tmp_path.iterdir()) == []
