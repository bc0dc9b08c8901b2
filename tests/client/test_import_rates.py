"""pugmill import-rates: what it stores, which errors it names, and that it stores all or nothing."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import flask
import pytest
import requests

from service.domain.register import COLLECTIONS
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import Ended, end_of, items, loaded_demo, new_demo
from tests.support.furnishing import furnishes

COMMAND = "import-rates"
HEADER = "resource,valid_from,member,value,currency\n"
DAY = "2026-12-01"
FLAKES = f"materials/hdpe-flakes,{DAY},price,0.78,EUR\n"
GRID = f"tariffs/grid,{DAY},price_per_kwh/day,0.39,EUR\ntariffs/grid,{DAY},price_per_kwh/night,0.24,EUR\n"
TAX = f"taxes/standard,{DAY},rate_share,0.21,\n"


@pytest.fixture(scope="module")
def loaded(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop, shared by tests: nothing in it may be changed."""
    return loaded_demo(app, contract)


@pytest.fixture
def demo(app: flask.Flask, contract: Contract) -> Client:
    client = new_demo(app, contract)
    register_a_few(client)
    return client


@furnishes
def register_a_few(client: Client) -> None:
    """Register a few things of the demo, each with a rate."""
    euro = {"currency": "EUR"}
    client.register(
        "materials/hdpe-flakes",
        {"name": "Flakes", "unit": "kg", "polymer": "HDPE"},
        **{"2025-01-01": {"price": {"amount": "0.68", **euro}, "reclaim_value": {"amount": "0.30", **euro}}},
    )
    client.register(
        "tariffs/grid",
        {"name": "Grid", "bands": ["day", "night"]},
        **{
            "2025-01-01": {
                "price_per_kwh": {"day": {"amount": "0.31", **euro}, "night": {"amount": "0.19", **euro}},
                "standing_charge_per_month": {"amount": "36.00", **euro},
                "expected_kwh_per_month": "1700",
            }
        },
    )
    client.register("taxes/standard", {"name": "VAT", "category": "S"}, **{"2025-01-01": {"rate_share": "0.20"}})
    fees = [{"name": "commission", "share": "0.10"}, {"name": "payment", "share": "0.02"}]
    client.register("channels/quay", {"name": "Quay"}, **{"2025-01-01": {"currency": "EUR", "fees": fees}})


class Import:
    """Runs the command on a file with these lines."""

    def __init__(self, client: Client, capsys: pytest.CaptureFixture[str], path: Path) -> None:
        self.client, self.capsys, self.path = client, capsys, path

    def __call__(self, lines: str | bytes, *arguments: str, **options: Any) -> Ended:
        content = lines if isinstance(lines, bytes) else (HEADER + lines).encode()
        self.path.write_bytes(content)
        return end_of(self.client, self.capsys, COMMAND, str(self.path), *arguments, **options)


@pytest.fixture
def run_import(
    demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Import:
    monkeypatch.setenv("COLUMNS", "80")
    return Import(demo, capsys, tmp_path / "rates.csv")


def rate(client: Client, resource: str, day: str = DAY) -> Any:
    response = client.get(f"{resource}/rates/{day}")
    return response.json if response.status_code == 200 else None


def outcomes(text: str) -> list[list[str]]:
    """The cells of the printed table, row by row."""
    lines = text.splitlines()
    return [line.split() for line in lines[2 : lines.index("")] if not line.startswith(" ")]


def lines_of(resource: str, day: str, terms: Any, path: str = "") -> Iterator[tuple[str, ...]]:
    """Terms of any kind as lines of a file."""
    if isinstance(terms, dict) and terms.keys() == {"amount", "currency"}:
        yield (resource, day, path, terms["amount"], terms["currency"])
    elif isinstance(terms, dict):
        for name, each in terms.items():
            yield from lines_of(resource, day, each, f"{path}/{name}" if path else name)
    elif isinstance(terms, list):
        for place, each in enumerate(terms):
            yield from lines_of(resource, day, each, f"{path}[{place}]")
    elif terms not in (None, ""):
        yield (resource, day, path, terms, "")


def all_rates(client: Client) -> dict[tuple[str, str], Any]:
    return {
        (f"{name}/{each['code']}", rate["valid_from"]): {key: rate[key] for key in rate if key != "valid_from"}
        for name, collection in COLLECTIONS.items()
        if collection.terms is not None
        for each in items(client, name)
        for rate in client.get(f"{name}/{each['code']}/rates").json["items"]
    }


class TestEveryKindOfRate:
    def test_of_the_demo_can_be_written_to_a_file_and_imported_into_a_workshop_without_rates(
        self, loaded: Client, app: flask.Flask, contract: Contract, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        wanted = all_rates(loaded)
        text = io.StringIO(newline="")
        records = (line for (resource, day), terms in wanted.items() for line in lines_of(resource, day, terms))
        csv.writer(text).writerows([HEADER.strip().split(","), *records])
        bare = new_demo(app, contract)
        facts = {
            name: {
                each["code"]: {"facts": {key: each[key] for key in each if key != "code"}}
                for each in items(loaded, name)
            }
            for name in COLLECTIONS
        }
        assert bare.post("register", facts).status_code == 200

        first = Import(bare, capsys, tmp_path / "rates.csv")(text.getvalue().encode())
        again = Import(bare, capsys, tmp_path / "rates.csv")(text.getvalue().encode())

        assert {name for name, collection in COLLECTIONS.items() if collection.terms} == {
            resource.partition("/")[0] for resource, _ in wanted
        }
        assert first.status == again.status == 0, (first.err, again.err)
        assert first.out.endswith(f"rates.csv: {len(wanted)} new\n")
        assert again.out.endswith(f"rates.csv: {len(wanted)} unchanged\n")
        assert all_rates(bare) == wanted


class TestMembers:
    def test_that_the_file_does_not_name_stay_as_they_are_in_the_rate_in_force(
        self, demo: Client, run_import: Import
    ) -> None:
        ended = run_import(f"tariffs/grid,{DAY},price_per_kwh/day,0.39,EUR\n")

        assert ended.status == 0, ended.err
        before = rate(demo, "tariffs/grid", "2025-01-01")
        day = {"amount": "0.39", "currency": "EUR"}
        assert rate(demo, "tariffs/grid") == {**before, "price_per_kwh": {**before["price_per_kwh"], "day": day}}

    def test_without_a_value_are_removed(self, demo: Client, run_import: Import) -> None:
        run_import(f"materials/hdpe-flakes,{DAY},reclaim_value,,\n")

        assert rate(demo, "materials/hdpe-flakes")["reclaim_value"] is None

    def test_of_a_list_replace_the_whole_list(self, demo: Client, run_import: Import) -> None:
        run_import(f"channels/quay,{DAY},fees[0]/name,all in,\nchannels/quay,{DAY},fees[0]/share,0.13,\n")

        assert [(fee["name"], fee["share"]) for fee in rate(demo, "channels/quay")["fees"]] == [("all in", "0.13")]

    def test_of_a_later_day_build_on_the_day_before_it_in_the_file(self, demo: Client, run_import: Import) -> None:
        later = "2027-01-01"

        run_import(f"materials/hdpe-flakes,{later},reclaim_value,0.35,EUR\n{FLAKES}")

        assert rate(demo, "materials/hdpe-flakes", later)["price"] == {"amount": "0.78", "currency": "EUR"}
        assert rate(demo, "materials/hdpe-flakes")["reclaim_value"] == {"amount": "0.30", "currency": "EUR"}


class TestTheOutcome:
    def test_is_stated_for_each_rate_with_its_lines(self, demo: Client, run_import: Import, tmp_path: Path) -> None:
        demo.put(f"taxes/standard/rates/{DAY}", {"rate_share": "0.20"})
        demo.put(f"channels/quay/rates/{DAY}", {"fees": [{"name": "all in", "share": "0.13"}]})
        path = tmp_path / "outcome.csv"
        quay = f"channels/quay,{DAY},fees[0]/name,all in,\n", f"channels/quay,{DAY},fees[0]/share,0.130,\n"

        ended = run_import(f"{quay[0]}{GRID}{TAX}{quay[1]}", "--csv", str(path))

        expected = [
            ["2,", "6", "channels/quay", DAY, "unchanged"],
            ["3-4", "tariffs/grid", DAY, "new"],
            ["5", "taxes/standard", DAY, "replaced"],
        ]
        assert ended.status == 0, ended.err
        assert outcomes(ended.out) == expected
        assert ended.out.endswith("rates.csv: 1 unchanged, 1 new, 1 replaced\n")
        records = list(csv.reader(io.StringIO(path.read_text(), newline="")))
        assert records[0] == ["lines", "resource", "valid_from", "outcome"]
        assert [[each[0].split(), *each[1:]] for each in records[1:]] == [[row[:-3], *row[-3:]] for row in expected]

    def test_is_told_with_what_looks_wrong_about_a_rate(self, run_import: Import) -> None:
        ended = run_import(f"materials/hdpe-flakes,{DAY},price,68,EUR\n{TAX}")

        assert ended.status == 0, ended.err
        assert outcomes(ended.out) == [["2", "materials/hdpe-flakes", DAY, "new"], ["3", "taxes/standard", DAY, "new"]]
        assert "Warning: The rate of Flakes is at least ten times the one before: 68 after 0.68." in " ".join(
            ended.out.split()
        )

    def test_of_a_day_on_which_a_currency_was_in_use_is_that_it_is_taken(
        self, demo: Client, run_import: Import
    ) -> None:
        leva = "2025-06-02,price,1.33,BGN"

        ended = run_import(f"materials/hdpe-flakes,{leva}\nmaterials/hdpe-flakes,2026-02-01,price,1.33,EUR\n")

        assert ended.status == 0, ended.err
        assert rate(demo, "materials/hdpe-flakes", "2025-06-02")["price"] == {"amount": "1.33", "currency": "BGN"}

    def test_of_a_day_on_which_a_currency_was_not_in_use_any_more_names_its_line(self, run_import: Import) -> None:
        ended = run_import(f"{TAX}materials/hdpe-flakes,2026-02-01,price,1.33,BGN\n")

        assert ended.status != 0
        assert "line 3: price/currency: BGN is no longer in use; its last day was 2026-01-31; use EUR" in " ".join(
            ended.err.split()
        )

    def test_of_a_second_run_is_unchanged_and_nothing_is_sent(self, demo: Client, run_import: Import) -> None:
        run_import(FLAKES + GRID)
        sent: list[str] = []

        ended = run_import(FLAKES + GRID, before=lambda request: sent.append(request.method))

        assert ended.status == 0
        assert ended.out.endswith("rates.csv: 2 unchanged\n")
        assert set(sent) == {"GET"}

    def test_of_a_dry_run_is_what_would_happen(self, demo: Client, run_import: Import) -> None:
        ended = run_import(FLAKES + TAX, "--dry-run")

        assert ended.status == 0, ended.err
        assert [row[-1] for row in outcomes(ended.out)] == ["new", "new"]
        assert ended.out.endswith("rates.csv: 2 new; nothing is stored\n")
        assert rate(demo, "materials/hdpe-flakes") is None
        assert rate(demo, "taxes/standard") is None


class TestWrongLines:
    def test_are_all_named_before_anything_is_sent(self, demo: Client, run_import: Import) -> None:
        sent: list[str] = []
        no_path = "is not a member; write for instance price_per_kwh/day or fees[0]/share"
        wrong = (
            "materials,2026-12-01,price,0.78,EUR\n"
            "materials/hdpe-flakes,2026-13-01,price,0.78,EUR\n"
            "materials/hdpe-flakes,2026-12-01,price//x,0.78,EUR\n"
            'materials/hdpe-flakes,2026-12-01,price,"0,78",EUR\n'
            "materials/hdpe-flakes,2026-12-01,price,0.78,euro\n"
            "materials/hdpe-flakes,2026-12-01,price,0.78\n"
            "\n"
            f"{FLAKES}{FLAKES}"
            "Materials/x,1.12.2026,,,EUR\n"
        )

        ended = run_import(wrong, before=lambda request: sent.append(request.method))

        assert (ended.status, ended.out, sent) == (1, "", [])
        assert ended.err.splitlines() == [
            "pugmill import-rates: 8 lines are wrong, and nothing is stored:",
            "  line 2: resource: 'materials' is not a resource; write for instance materials/hdpe-flakes",
            "  line 3: valid_from: '2026-13-01' is not a day; write for instance 2026-11-30",
            f"  line 4: member: 'price//x' {no_path}",
            "  line 5: value: '0,78' is not an amount; write for instance 0.78",
            "  line 6: currency: 'euro' is not a currency code; write for instance EUR",
            "  line 7: has 4 fields instead of 5",
            "  line 10: member: price of this rate is on line 9 already",
            f"  line 11: member: '' {no_path}",
            "  line 11: resource: 'Materials/x' is not a resource; write for instance materials/hdpe-flakes",
            "  line 11: valid_from: '1.12.2026' is not a day; write for instance 2026-11-30",
            "  line 11: value: '' is not an amount; write for instance 0.78",
        ]

    def test_with_unknown_resources_or_impossible_members_are_named(self, demo: Client, run_import: Import) -> None:
        ended = run_import(
            f"{FLAKES}materials/gold,{DAY},price,1,EUR\nproducts/brick,{DAY},price,1,EUR\n"
            f"taxes/standard,{DAY},rate_share/of,1,\nchannels/quay,{DAY},fees[1]/share,0.1,\n"
            f"materials/hdpe-flaks,{DAY},price,1,EUR\n"
        )

        assert ended.status == 1
        assert ended.err.splitlines()[1:] == [
            "  line 3: resource: there is no materials/gold with rates",
            "  line 4: resource: there is no products/brick with rates",
            "  line 5: member: there can be no member 'of' here: it is not an object",
            "  line 6: member: the entry [1] needs an entry [0] before it",
            "  line 7: resource: there is no materials/hdpe-flaks with rates; did you mean 'hdpe-flakes'?",
        ]
        assert rate(demo, "materials/hdpe-flakes") is None

    @pytest.mark.parametrize("arguments", [(), ("--dry-run",)], ids=["stored", "dry run"])
    def test_that_the_service_would_refuse_are_named_and_nothing_is_stored(
        self, demo: Client, run_import: Import, arguments: tuple[str, ...]
    ) -> None:
        ended = run_import(
            f"{FLAKES}taxes/standard,{DAY},rate_share,two,\ntariffs/grid,{DAY},price_per_kwh/noon,0.3,EUR\n"
            f"materials/hdpe-flakes,{DAY},reclaim_value,-1,EUR\nmaterials/hdpe-flakes,{DAY},colour,green,\n"
            f"channels/quay,{DAY},fees[0]/name,all in,\nchannels/quay,{DAY},fees[0]/share,1.5,\n",
            *arguments,
        )

        told = ended.err.splitlines()
        assert ended.status == 1
        assert told[0].endswith("lines are wrong, and nothing is stored:")
        for line, member in ((3, "rate_share: "), (6, "colour: "), (8, "fees/0/share: ")):
            assert any(each.startswith(f"  line {line}: {member}") for each in told), told
        assert rate(demo, "materials/hdpe-flakes") is None

    @pytest.mark.parametrize(
        ("content", "told"),
        [
            (b"", "line 1: must name the columns"),
            (b"resource;valid_from;member;value;currency\n", "line 1: must name the columns"),
            (b"resource,valid_form,member,value,currency\n", "; 'valid_form' is there in place of 'valid_from'"),
            (HEADER.encode(), "line 2: there is no line with a rate"),
            (HEADER.encode() + b'"open', "line 2: not CSV by RFC 4180: "),
            (HEADER.encode() + b"\xe9\n", "is not UTF-8"),
        ],
        ids=["empty", "semicolons", "a wrong column", "heading alone", "open quotes", "Latin-1"],
    )
    def test_in_a_file_that_is_not_csv_are_reported(self, run_import: Import, content: bytes, told: str) -> None:
        ended = run_import(content)

        assert ended.status == 1
        assert told in ended.err

    def test_in_a_missing_file_are_reported(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        ended = end_of(demo, capsys, COMMAND, str(tmp_path / "missing.csv"))

        assert ended.status == 1
        assert "missing.csv cannot be read: No such file or directory" in ended.err


def test_a_file_of_a_spreadsheet_is_read(demo: Client, run_import: Import) -> None:
    lines = (
        f'\ufeff"valid_from","resource","member","currency","value"\r\n{DAY},materials/hdpe-flakes,price,EUR,0.78\r\n'
    )

    ended = run_import(lines.encode())

    assert ended.status == 0, ended.err
    assert rate(demo, "materials/hdpe-flakes")["price"] == {"amount": "0.78", "currency": "EUR"}


class TestAllOrNothing:
    def test_a_refusal_of_one_rate_stores_none_of_them(self, demo: Client, run_import: Import) -> None:
        def retire(request: Any) -> None:
            if request.method == "POST":
                demo.delete("tariffs/grid")
                request.headers["If-Match"] = "*"  # as if it had been read after that

        ended = run_import(FLAKES + GRID + TAX, before=retire)

        assert ended.status == 1
        assert ended.err.splitlines()[1:] == ["  line 3: tariffs/grid: there is no tariff 'grid'; give its facts, too"]
        assert rate(demo, "taxes/standard") is None

    def test_somebody_elses_change_meanwhile_is_not_undone(self, demo: Client, run_import: Import) -> None:
        def interfere(request: Any) -> None:
            if request.method == "POST":
                demo.put(f"taxes/standard/rates/{DAY}", {"rate_share": "0.19"})

        ended = run_import(FLAKES + TAX, before=interfere)

        assert ended.status == 4
        assert rate(demo, "taxes/standard")["rate_share"] == "0.19"
        assert rate(demo, "materials/hdpe-flakes") is None

    @pytest.mark.parametrize(("stop", "status"), [(requests.ConnectionError, 4), (KeyboardInterrupt, 130)])
    def test_an_interruption_leaves_a_file_that_can_be_imported_again(
        self, demo: Client, run_import: Import, stop: type[BaseException], status: int
    ) -> None:
        def interrupt(request: Any) -> None:
            if request.method == "POST":
                raise stop

        ended = run_import(FLAKES + GRID + TAX, before=interrupt)
        again = run_import(FLAKES + GRID + TAX)

        assert ended.status == status
        assert [row[-1] for row in outcomes(again.out)] == ["new", "new", "new"]
