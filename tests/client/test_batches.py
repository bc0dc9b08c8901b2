"""pugmill record and variances: asked on a terminal, taken from files, and what came of it."""

import io
import sys
from pathlib import Path

import flask
import pytest

from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, Ended, end_of, loaded_demo

BATCHES = str(DEMO / "batches.csv")
PHONE = 40


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    made = loaded_demo(app, contract)
    made.put("exchange-rates/2026-11-23", {"base": "EUR", "rates": {"GBP": "0.8640"}})
    return made


@pytest.fixture(autouse=True)
def phone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(PHONE))
    monkeypatch.chdir(tmp_path)


class Asking:
    """Answers typed on a terminal; what is not asked about is left empty."""

    def __init__(self, client: Client, capsys: pytest.CaptureFixture[str], patch: pytest.MonkeyPatch) -> None:
        self.client, self.capsys, self.patch = client, capsys, patch

    def __call__(self, *answers: str, product: str = "brick", more: tuple[str, ...] = ()) -> Ended:
        self.patch.setattr(sys, "stdin", io.StringIO("\n".join([*answers, *[""] * 40])))
        return end_of(self.client, self.capsys, "record", product, *more)


@pytest.fixture
def ask(demo: Client, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Asking:
    return Asking(demo, capsys, monkeypatch)


def test_what_was_counted_is_asked_step_by_step_and_what_it_cost_is_shown_on_a_phone(demo: Client, ask: Asking) -> None:
    materials = ["300,5", "", "", "490", "5", "", ""]
    operations = ["1700", "22", "", "one", "8", "", ""]
    answers = ["2026-11-25", "b-1", "many", "480", "510", *materials, *operations, "", "22.5", "18204 18466", "Damp"]

    ended = ask(*answers)

    assert ended.status == 0, ended.err
    record = demo.get("batch-records/b-1").json
    assert (record["good_units"], record["units_started"], record["note"]) == ("480", "510", "Damp")
    assert [(each["material"], each["issued"], each["returned"]) for each in record["materials"]] == [
        ("pp-flakes", "300.5", None),
        ("hdpe-crates", "490", "5"),
    ]
    assert [(each["operation"], each["minutes"], each["scrap"]) for each in record["operations"]] == [
        ("extruding", "1700", "22"),
        ("trimming", None, "8"),
    ]
    assert record["labour"][0]["hours"] == "22.5"
    assert (record["electricity"][0]["meter_begin"], record["electricity"][0]["meter_end"]) == ("18204", "18466")
    assert "'many' is not a number, such as 12 or 12.5" in ended.out
    _, _, compared = ended.out.partition("Recorded as b-1.\n\n")
    assert compared.startswith("BATCH b-1")
    assert "SHOULD HAVE COST" in compared
    assert "Nobody counted, so taken as estimated:" in compared
    assert max(map(len, compared.splitlines())) <= PHONE


def test_a_record_that_is_there_is_replaced_only_if_asked_and_nothing_is_typed_in_vain(
    demo: Client, capsys: pytest.CaptureFixture[str], ask: Asking
) -> None:
    words = ("--made-on", "2026-11-25", "--code", "b-2")
    ended = [ask(good, more=words) for good in ("480", "470")] + [ask("460", more=(*words, "--correct"))]
    assert [each.status for each in ended] == [0, 1, 0]
    assert "there is a record with the code b-2: name another with --code, or --correct it" in ended[1].err
    assert "Good ones" not in ended[1].out
    assert demo.get("batch-records/b-2").json["good_units"] == "460"
    Path("b-2.csv").write_text("code,product,made_on,good_units\nb-2,brick,2026-11-25,470\n")

    refused, taken = (end_of(demo, capsys, "record", "b-2.csv", *more) for more in ((), ("--correct",)))

    assert (refused.status, taken.status, taken.out) == (1, 0, "b-2.csv: 1 corrected.\n")
    assert "line 2: code: is of a batch that is recorded with other counts; give this one another" in refused.err
    assert demo.get("batch-records/b-2").json["good_units"] == "470"


def test_a_batch_of_which_all_was_lost_is_not_asked_what_good_ones_take(demo: Client, ask: Asking) -> None:
    ended = ask("2026-11-25", "b-3", "0", "40", "The mould broke")

    assert ended.status == 0, ended.err
    assert demo.get("batch-records/b-3").json["note"] == "The mould broke"
    assert "Nothing good came out" in ended.out.replace("\n", " ")


def test_a_batch_of_a_day_without_rates_is_recorded_all_the_same(demo: Client, ask: Asking) -> None:
    ended = ask("480", "", "1", more=("--made-on", "2020-01-02", "--code", "old"))

    assert ended.status == 0
    assert "Warning: " in ended.out
    assert "It cannot be compared yet:" in ended.out


def test_files_are_taken_whole_and_compared_by_batch_and_by_product(
    demo: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("more.yaml").write_text(
        "each_record: {product: brick, made_on: 2026-11-24}\nrecords:\n"
        "  - {code: y-1, good_units: 500, materials: [{material: hdpe-crates, issued: 100}]}\n"
    )

    assert end_of(demo, capsys, "record", BATCHES).out.endswith("batches.csv: 2 recorded.\n")
    assert end_of(demo, capsys, "record", BATCHES).out.endswith("batches.csv: 2 unchanged.\n")
    more = end_of(demo, capsys, "record", "more.yaml").out
    assert more.startswith("more.yaml: 1 recorded.\nWarning: y-1: ")
    assert "kg were issued, but 500 pieces contain " in " ".join(more.split())
    assert "Warning: " in end_of(demo, capsys, "variances", "y-1").out
    one = end_of(demo, capsys, "variances", "2026-31", "--svg", "why.svg", "--html", "why.html").out
    period = ("--first-day", "2026-11-24", "--last-day", "2026-11-24")
    of_day = end_of(demo, capsys, "variances", "--product", "regrind", *period).out
    none = end_of(demo, capsys, "variances", "--product", "brick", "--last-day", "2020-01-01").out

    assert one.startswith("BATCH 2026-31")
    assert one.endswith("why.html is written.\nwhy.svg is written.\n")
    assert "<svg" in Path("why.svg").read_text()
    assert "1 batch" in of_day
    assert "COST" in of_day
    assert "No batch is recorded." in none


def test_all_batches_of_a_period_are_compared_with_its_fixed_cost(
    demo: Client, capsys: pytest.CaptureFixture[str]
) -> None:
    end_of(demo, capsys, "record", BATCHES)
    period = ("--first-day", "2026-11-24", "--last-day", "2026-11-25")

    spent = ("--incurred", "overheads/premises=655")
    told = end_of(demo, capsys, "variances", *period, *spent, "--pdf", "all.pdf", "--html", "all.html").out
    empty = end_of(demo, capsys, "variances", "--last-day", "2026-09-30")

    text = " ".join(told.split())
    assert text.startswith("BATCHES 2026-11-24 to 2026-11-25 ")
    assert "HDPE regrind, " in text
    # 655 are spent, and 620 × 2 ÷ 30 are what these two days bear by the rate
    assert "+613.67 EUR" in text
    assert Path("all.pdf").read_bytes().startswith(b"%PDF-")
    assert "What these days cost however much is made" in Path("all.html").read_text()
    assert "No batch is recorded." in empty.out, empty.err


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (("record", "no.csv"), 1, "no.csv cannot be read"),
        (("record", "wrong.yaml"), 1, "wrong.yaml: a file of batches must have the member records"),
        (("record", "other.csv"), 1, "columns are separated by commas (RFC 4180), not by semicolons or tabs"),
        (("record", "wrong.csv"), 1, "line 2: product: there is no product 'brik'; did you mean 'brick'?"),
        (("variances", "x", "--product", "brick"), 2, "name either a batch, or --product CODE"),
        (("variances", "x", "--last-day", "2026-11-25"), 2, "are for several batches"),
        (("variances", "x", "--incurred", "overheads/premises=1"), 2, "--incurred is for a period"),
        (("variances", "--incurred", "655"), 2, "write for instance overheads/premises=655"),
        (("variances", "--incurred", "overheads/quality=1"), 1, "quality: has no fixed cost in these days"),
        (("variances", "x"), 1, "there is no batch record 'x'"),
    ],
)
def test_what_is_wrong_is_told(
    demo: Client, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], status: int, told: str
) -> None:
    Path("wrong.yaml").write_text("batches: []\n")
    Path("other.csv").write_text("code;product;made_on;good_units\nx;brick;2026-11-25;1\n")
    Path("wrong.csv").write_text("code,product,made_on,good_units\nx,brik,2026-11-25,1\n")

    ended = end_of(demo, capsys, *words)

    assert (ended.status, told in ended.err) == (status, True), ended.err
