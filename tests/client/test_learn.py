"""pugmill learn: what records teach, and what taking it over does, on a phone."""

from typing import Any

import flask
import pytest

from service.client.text.learning import taking_over_text
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import Ended, end_of, loaded_demo

PHONE = 40


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop with five batches of regrind that took 560 minutes, and one that took twice as long."""
    made = loaded_demo(app, contract)
    records = [
        {
            "code": f"R-{minutes}",
            "product": "regrind",
            "made_on": "2026-11-24",
            "good_units": "400",
            "operations": [{"operation": "granulating", "minutes": f"{minutes}"}],
        }
        for minutes in (559, 560, 561, 562, 563, 1100)
    ]
    assert made.post("batch-records", {"records": records}).status_code == 200
    return made


@pytest.fixture
def learn(demo: Client, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setenv("COLUMNS", str(PHONE))

    def run(*options: str, product: str = "regrind") -> Ended:
        return end_of(demo, capsys, "learn", product, *options)

    return run


def number_of(text: str, beginning: str) -> str:
    """The number of the fact whose text begins like this."""
    (line,) = (line for line in text.splitlines() if line[4:].startswith(beginning))
    return line[:2].strip()


def test_facts_are_shown_taken_over_and_undone(demo: Client, learn: Any) -> None:
    before = demo.get("products/regrind").json
    shown = learn("--without-outliers", "--quantity", "400")
    assert shown.status == 0, shown.err
    assert max(map(len, shown.out.splitlines())) <= PHONE
    text = " ".join(shown.out.split())
    assert "RECORDS OF regrind 6 batches" in text
    assert "stands out: R-1100 (22.699); without, 44.904" in text
    assert "44.904 by 5 batches, leaving 1 out" in text
    assert "TAKING OVER, a preview: nothing is stored" in text
    assert "What one kg costs, in a batch of 400 kg today 0.911 EUR with these facts 1.06 EUR" in text
    assert demo.get("products/regrind").json == before

    number = number_of(shown.out, "throughput an hour of")
    applied = learn("--without-outliers", "--take", number, "--apply")
    assert "TAKEN OVER from records" in applied.out, applied.err
    now = demo.get("products/regrind").json["operations"][0]["units_per_hour"]
    assert now != before["operations"][0]["units_per_hour"]
    assert f"throughput an hour of granulating: {now}, not 60" in " ".join(applied.out.split())

    assert "UNDONE" in learn("--undo").out
    assert demo.get("products/regrind").json == before
    again = learn("--undo")
    assert (again.status, "undone already" in again.err) == (1, True)


def test_a_wrong_number_is_named(learn: Any) -> None:
    assert "give the numbers of facts" in learn("--take", "one").err
    assert "there is no fact 99; there are" in learn("--take", "1,99").err


def test_a_product_without_records_teaches_nothing(learn: Any) -> None:
    shown = learn(product="brick")

    assert shown.status == 0, shown.err
    assert "No batch of it is recorded there." in shown.out
    assert "Nothing to take over" in shown.out


def test_what_was_registered_since_a_quotation_is_told_apart_from_what_the_facts_do() -> None:
    money = {name: {"amount": amount, "currency": "EUR"} for name, amount in (("a", "65.76"), ("b", "30"), ("c", "36"))}
    quoted = {
        "quotation": "Q000001",
        "status": "issued",
        "customer": "Trust",
        "price": money["a"],
        "asked_anew": money["a"],
    }
    nothing: dict[str, Any] = {"cost": None, "more_quotations": 0, "prices": None, "prices_problem": None}
    answer = {"status": "preview", "products": [], "facts": [], **nothing}

    def told(today: str) -> str:
        profits = {"profit": money["a"], "profit_today": money[today], "profit_after": money["c"]}
        return " ".join(taking_over_text({**answer, "quotations": [{**quoted, **profits}]}, 80).split())

    assert "profit as quoted 65.76 EUR profit with these facts 36 EUR" in told("a")
    since = "profit with what was registered since 30 EUR profit with that and these facts 36 EUR"
    assert f"profit as quoted 65.76 EUR {since}" in told("b")
