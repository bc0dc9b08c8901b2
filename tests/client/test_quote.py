"""pugmill quote: its requests, its output, what it stores and writes, and its exit status."""

import re
from pathlib import Path
from typing import Any

import flask
import pytest
import requests

from service.client.files.exact_yaml import read_yaml
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, Ended, end_of, loaded_demo

YAML = """
customer: {name: Harbour Garden Trust, address: "Pier 4\\nPort Quillan"}
locale: de_DE
valid_until: 2099-12-31
each_line: {tax: standard, policy: {target: margin, value: 0.30, never_below_cost: full_cost}}
lines:
  - {product: brick, quantity: 500, quantity_breaks: [1000, 2500]}
  - {product: hook, quantity: 40, tax: zero, policy: {value: 0.5}}
"""
OF_UNITS = """
lines:
  - product: regrind
    quantity: 137.5
    supplied_quantities: {hdpe-crates: 40}
    policy: {target: fixed_price, value: 1.06}
  - item: {name: Press work, unit: hour, work: {machine: granulator, band_shares: {day: 1}}}
    quantity: 2.5
"""
CSV = """product,quantity,quantity_breaks,description,policy/target,policy/value,supplied_materials

brick,500,1000 2500,"Brick, green",,,
hook,40,,,markup,0.50,masterbatch-green pp-flakes
"""


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    return loaded_demo(app, contract)


@pytest.fixture(autouse=True)
def columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def order(tmp_path: Path) -> Path:
    return written(tmp_path / "order.yaml", YAML)


def written(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def quoted(demo: Client, capsys: pytest.CaptureFixture[str], *arguments: Any, **options: Any) -> Ended:
    return end_of(demo, capsys, "quote", *map(str, arguments), **options)


def test_what_is_below_the_floor_is_issued_if_that_is_accepted(
    demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    order = written(
        tmp_path / "order.yaml", YAML.replace("[1000, 2500]", "[1000], allowances: [{reason: a, share: 0.6}]")
    )
    before = count(demo)

    refused = quoted(demo, capsys, order)
    assert refused.status != 0
    assert "--below-floor issues it all the same" in refused.err
    assert count(demo) == before

    issued = quoted(demo, capsys, order, "--below-floor")
    assert issued.status == 0, issued.err
    assert "below the floor of its policy by" in issued.out
    assert "less than the floor" in " ".join(issued.out.split())


def newest(demo: Client, status: str) -> Any:
    found = demo.get(f"quotations?status={status}&limit=500").json["items"]
    return demo.get(f"quotations/{found[-1]['id']}").json


def count(demo: Client) -> int:
    return len(demo.get("quotations?limit=500").json["items"])


class TestAnOrder:
    def test_is_issued_shown_and_written_beside_itself(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        ended = quoted(demo, capsys, order)

        made = newest(demo, "issued")
        assert (ended.status, ended.err) == (0, "")
        assert f"Issued as {made['number']}." in ended.out
        assert made["figures"]["totals"]["payable"]["amount"] in ended.out
        assert order.with_suffix(".pdf").read_bytes().startswith(b"%PDF-")
        assert made["request"]["locale"] == "de_DE"
        brick, hook = made["request"]["lines"]
        assert brick["quantity_breaks"] == ["1000", "2500"]
        assert (brick["tax"], brick["policy"]["value"]) == ("standard", "0.30")
        assert (hook["tax"], hook["policy"]["target"], hook["policy"]["value"]) == ("zero", "margin", "0.5")

    def test_shows_every_batch_size_the_figures_and_what_is_kept(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        out = quoted(demo, capsys, order, "--draft").out

        figures = newest(demo, "draft")["figures"]
        for line in figures["lines"]:
            for each in (line["quoted"], *line["quantity_breaks"]):
                assert each["unit_price"]["amount"] in out
                assert each["net_amount"]["amount"] in out
        for member in ("full_cost", "profit", "contribution"):
            assert figures["kept"][member]["amount"] in out
        assert max(map(len, out.splitlines())) <= 80

    def test_says_that_charges_without_a_cost_count_as_profit(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path, tmp_path: Path
    ) -> None:
        charged = written(
            tmp_path / "charged.yaml", f"charges: [{{reason: Delivery, amount: 65.00, tax: standard}}]\n{YAML}"
        )

        told = " ".join(quoted(demo, capsys, charged, "--draft").out.split())

        assert "What is charged for Delivery (65.00) counts as profit: no cost of it is known." in told
        assert "counts as profit" not in quoted(demo, capsys, order, "--draft").out

    def test_tells_the_pieces_that_a_price_is_for_and_what_cash_adds(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        fixed = "policy: {target: fixed_price, value: 3333.33}, base_quantity: 100, quantity: 1"
        order = written(tmp_path / "order.yaml", f"currency: CHF\ncash: true\n{YAML}".replace("quantity: 500", fixed))

        out = quoted(demo, capsys, order, "--draft").out

        totals = newest(demo, "draft")["figures"]["totals"]
        assert "3333.33 per 100" in out
        assert totals["payable"]["amount"][-1] in "05"
        assert totals["rounding"]["amount"] in next(row for row in out.splitlines() if "payment in cash" in row)

    def test_tells_units_work_and_the_customers_part_of_a_material(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        order = written(tmp_path / "order.yaml", f"{YAML.partition('lines:')[0]}{OF_UNITS}")

        out = " ".join(quoted(demo, capsys, order, "--dry-run").out.split())

        assert "137.5 kg 1.06 per kg" in out
        assert re.search("supplied by the customer: [^;]+, 40 of 1[0-9.]+ kg", out)
        assert "2.5 hours" in out
        assert " per hour " in out
        assert "a piece" not in out

    def test_shows_a_tax_without_a_name_by_its_category_and_rate(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        named = {code: demo.get(f"taxes/{code}").json for code in ("standard", "zero")}
        for code, tax in named.items():
            demo.put(f"taxes/{code}", {**tax, "name": ""})

        out = quoted(demo, capsys, order, "--draft").out

        for code, tax in named.items():  # as the other tests have them
            demo.put(f"taxes/{code}", tax)
        assert "tax of category S, 20 %" in out
        assert "tax of category Z, 0 %" in out

    def test_that_was_quoted_is_not_quoted_twice_by_mistake(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        quoted(demo, capsys, order)
        before = count(demo)

        refused = quoted(demo, capsys, order)

        assert refused.status == 1
        assert "order.pdf exists already; --again" in refused.err
        assert count(demo) == before
        assert quoted(demo, capsys, order, "--again").status == 0
        assert count(demo) == before + 1

    def test_is_only_previewed_in_a_dry_run(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        before, sent = count(demo), list[str]()

        ended = quoted(demo, capsys, order, "--dry-run", before=lambda request: sent.append(request.path))

        assert ended.status == 0
        assert sent == ["/v1/quotation-previews"]
        assert ended.out.endswith("\n\nNothing is stored.\n")
        assert count(demo) == before
        assert [path.name for path in order.parent.iterdir()] == ["order.yaml"]
        drafted = quoted(demo, capsys, order, "--draft")
        assert ended.out.partition("Nothing is stored")[0] == drafted.out.partition("Stored as a draft")[0]

    def test_shows_what_it_may_cost_by_its_records_if_that_is_wanted(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        for code, scrap in (("b-1", 10), ("b-2", 90)):
            scrapped = [{"operation": "extruding", "scrap": scrap}]
            made = {"product": "brick", "made_on": "2026-11-25", "good_units": 500, "operations": scrapped}
            demo.put(f"batch-records/{code}", made)

        shown = quoted(demo, capsys, order, "--dry-run", "--risk").out
        quoted(demo, capsys, order, "--draft", "--risk")
        name, page = newest(demo, "draft")["id"], str(order.with_suffix(".html"))
        stored = end_of(demo, capsys, "quote", "--document", name, "--risk", "--html", page)

        told = demo.get(f"quotations/{name}/risk").json
        for risk in (shown, stored.out):
            assert f"Risk, not for the customer: {told['text'][:40]}" in risk
            assert told["lines"][0]["highest"]["full_cost"]["amount"] in risk
            assert re.search(f"all of it +{told['quoted']['amount']} +{told['lowest']['amount']} ", risk)
            assert "batches like those would lose money" in " ".join(risk.split())
        assert max(map(len, shown.splitlines())) <= 80

    def test_is_stored_as_a_draft_without_a_document(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        ended = quoted(demo, capsys, order, "--draft")

        assert newest(demo, "draft")["id"] in ended.out
        assert not order.with_suffix(".pdf").exists()

    def test_may_be_a_table_with_the_rest_on_the_command_line(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        table, text = written(tmp_path / "lines.csv", CSV), tmp_path / "quotation.txt"
        options = ("--customer", "Allotments", "--tax", "standard", "--margin", "0.25", "--currency", "CHF")

        ended = quoted(demo, capsys, table, *options, "--locale", "fr_CH", "--text", text)

        made = newest(demo, "issued")
        assert ended.status == 0, ended.err
        assert made["request"]["customer"]["name"] == "Allotments"
        assert made["figures"]["currency"] == "CHF"
        brick, hook = made["request"]["lines"]
        assert (brick["quantity"], brick["quantity_breaks"], brick["description"]) == (
            "500",
            ["1000", "2500"],
            "Brick, green",
        )
        assert (brick["policy"]["target"], brick["policy"]["value"]) == ("margin", "0.25")
        assert (hook["policy"]["target"], hook["policy"]["value"]) == ("markup", "0.50")
        assert hook["supplied_materials"] == ["masterbatch-green", "pp-flakes"]
        assert made["number"] in text.read_text()
        assert not table.with_suffix(".pdf").exists()


def test_the_order_of_the_demo_is_quoted_within_its_policy(
    demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    ended = quoted(demo, capsys, DEMO / "order.yaml", "--pdf", tmp_path / "order.pdf")

    made = newest(demo, "issued")
    brick, coasters = made["figures"]["lines"]
    assert ended.status == 0, ended.err
    assert brick["quantity_breaks"]
    assert [each["kind"] for each in coasters["quoted"]["charges"]] == ["tooling"]
    assert [each["material"] for each in coasters["supplied"]] == ["ps-flakes"]
    assert made["figures"]["shipping"]["parcel_count"] == 2
    told = " ".join(ended.out.split())
    assert f"could be ready on {made['remarks']['lead_time']['ready_on']}" in told
    assert "tool, charged once: Small-goods mould, two coasters 640.00" in told
    assert "supplied by the customer: PS flakes, washed" in told


def test_the_lines_of_the_demo_are_quoted_with_the_rest_from_the_command_line(
    demo: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    arguments = ("--customer", "Harbour Garden Trust", "--tax", "standard", "--margin", "0.30", "--dry-run")

    ended = quoted(demo, capsys, DEMO / "lines.csv", *arguments)

    assert ended.status == 0, ended.err
    assert "For Harbour Garden Trust" in ended.out
    assert ended.out.count("or, not in the totals") == 2


class TestDocuments:
    def test_of_an_existing_quotation_are_written_in_every_form(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path, tmp_path: Path
    ) -> None:
        quoted(demo, capsys, order)
        number = newest(demo, "issued")["number"]
        before = count(demo)
        places = {form: tmp_path / f"again.{form}" for form in ("pdf", "html", "xml", "text")}
        options = [each for form, path in places.items() for each in (f"--{form}", path)]

        ended = quoted(demo, capsys, "--document", number, *options)

        assert ended.status == 0, ended.err
        assert count(demo) == before
        assert places["pdf"].read_bytes() == order.with_suffix(".pdf").read_bytes()
        assert all(number in places[form].read_text() for form in ("html", "xml", "text"))

    @pytest.mark.parametrize(
        ("name", "told"), [("Q999999", "there is no quotation Q999999"), ("Q9", "is not a quotation's id")]
    )
    def test_of_an_unknown_quotation_leave_no_file(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, told: str
    ) -> None:
        ended = quoted(demo, capsys, "--document", name, "--pdf", tmp_path / "none.pdf")

        assert ended.status == 1
        assert told in ended.err
        assert "is stored" not in ended.err
        assert list(tmp_path.iterdir()) == []

    def test_that_break_off_say_how_to_write_them_again(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        def fail(request: Any) -> None:
            if request.method == "GET":
                raise requests.ConnectionError

        ended = quoted(demo, capsys, order, before=fail)

        number = newest(demo, "issued")["number"]
        assert ended.status == 4
        assert f"{number} is stored, but its pdf was not written: --document {number} writes it" in ended.err
        assert [path.name for path in order.parent.iterdir()] == ["order.yaml"]


class TestRefusals:
    @pytest.mark.parametrize(
        ("name", "text", "told"),
        [
            ("order.txt", YAML, "must end in .yaml or .csv"),
            ("order.yaml", "lines: [", "expected"),
            ("order.yaml", "- brick", "an order must have the member lines"),
            ("order.yaml", "customer: {name: x}", "an order must have the member lines"),
            ("order.yaml", "lines: []\neach_line: 3", "each_line must have members"),
            ("order.yaml", "lines: []\nlines: []", "'lines' occurs twice"),
            ("order.csv", "product,pieces\nbrick,5\n", "the first line must name the columns"),
            ("order.csv", "product,quantitty\nbrick,5\n", "; 'quantitty' is there in place of 'quantity'"),
            ("order.yaml", "linse: []\n", "must have the member lines: a list of what is ordered; 'linse' is there in"),
            ("order.csv", "product,quantity\nbrick\n", "line 2 has 1 values for 2 columns"),
            ("order.csv", "product,quantity,policy//value\nbrick,5,1\n", "is not a member"),
            ("order.csv", 'product,quantity\n"brick,5\n', "unexpected end of data"),
        ],
    )
    def test_of_an_invalid_order_say_why(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, name: str, text: str, told: str
    ) -> None:
        before = count(demo)

        ended = quoted(demo, capsys, written(tmp_path / name, text), "--customer", "x")

        assert ended.status == 1
        assert told in ended.err
        assert count(demo) == before

    def test_of_a_missing_file_say_so(self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
        ended = quoted(demo, capsys, tmp_path / "none.yaml")

        assert ended.status == 1
        assert "cannot be read" in ended.err

    @pytest.mark.parametrize(
        ("line", "told"),
        [
            ("{product: brick, quantity: many}", "/lines/0/quantity"),
            ("{product: gold, quantity: 1}", "there is no product 'gold'"),
            ("brick", "/lines/0"),
            ("{product: brick, quantity: 1, price: 3}", "/lines/0/price"),
        ],
    )
    def test_of_the_service_are_shown_in_its_words_and_store_nothing(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path, line: str, told: str
    ) -> None:
        text = f"customer: {{name: x}}\nlines:\n  - {line}\n"
        before = count(demo)

        ended = quoted(demo, capsys, written(tmp_path / "order.yaml", text), "--tax", "standard", "--margin", "0.3")

        assert ended.status == 1
        assert told in ended.err
        assert count(demo) == before
        assert [path.name for path in tmp_path.iterdir()] == ["order.yaml"]

    def test_to_issue_leave_no_draft_behind(
        self, demo: Client, capsys: pytest.CaptureFixture[str], tmp_path: Path
    ) -> None:
        day = "2026-01-15"
        assert demo.put(f"exchange-rates/{day}", {"base": "EUR", "rates": {"GBP": "0.86"}}).status_code == 201
        over = YAML.replace("valid_until: 2099-12-31", f"quoted_on: {day}\nvalid_until: {day}")
        before = count(demo)

        ended = quoted(demo, capsys, written(tmp_path / "order.yaml", over))

        assert ended.status == 1
        assert f"its prices held until {day}" in ended.err
        assert count(demo) == before

    def test_when_the_network_fails_during_issuing_say_that_it_is_safe_to_repeat(
        self, demo: Client, capsys: pytest.CaptureFixture[str], order: Path
    ) -> None:
        def fail(request: Any) -> None:
            if request.path.endswith("/issue"):
                raise requests.ConnectionError

        ended = quoted(demo, capsys, order, before=fail)

        assert ended.status == 4
        address = f"/v1/quotations/{newest(demo, 'draft')['id']}"
        assert f"POST {address}/issue issues it at most once" in ended.err
        assert demo.post(f"{address}/issue", None).status_code == 200

    @pytest.mark.parametrize("arguments", [[], ["order.yaml", "--document", "Q000001"]])
    def test_of_a_command_line_that_makes_no_sense_end_with_2(
        self, demo: Client, capsys: pytest.CaptureFixture[str], arguments: list[str]
    ) -> None:
        assert quoted(demo, capsys, *arguments).status == 2


class TestYaml:
    def test_keeps_numbers_and_days_as_they_are_written(self) -> None:
        found = read_yaml("{price: 0.10, day: 2026-12-01, pieces: 5, much: 1234567890.123456789012345}")

        assert found == {"price": "0.10", "day": "2026-12-01", "pieces": 5, "much": "1234567890.123456789012345"}

    def test_creates_nothing_but_data(self) -> None:
        with pytest.raises(ValueError, match="line 1: tags such as !!python/object/apply:"):
            read_yaml("!!python/object/apply:os.getcwd []")
