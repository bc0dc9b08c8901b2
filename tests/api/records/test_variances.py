"""Looking back over HTTP: a batch with what it earned, a product, and a period with its fixed cost."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support import builders
from tests.support.builders import money

NOVEMBER = {"first_day": "2026-11-01", "last_day": "2026-11-25"}


@pytest.fixture
def made(client: Client) -> Client:
    """Twenty sheets sold on a quotation, of which nineteen were good, and a batch for stock."""
    builders.register_workshop(client)
    quoted = client.post("quotations", builders.quotation(quoted_on="2026-11-25")).json["id"]
    client.post(f"quotations/{quoted}/issue", {"below_floor": "accepted"})
    client.post(f"quotations/{quoted}/accept", {})
    record = {"code": "B-1", **builders.batch_record()}
    client.post(f"quotations/{quoted}/complete", {"records": [record]})
    client.put("batch-records/B-2", builders.batch_record(materials=[]))
    return client


def amount(figure: dict[str, Any]) -> float:
    return float(figure["amount"])


def test_a_batch_says_what_its_quotation_brings_for_it(made: Client) -> None:
    sold, stock = (made.get(f"batch-records/{code}/variances").json for code in ("B-1", "B-2"))

    earned = sold["earned"]
    assert (earned["quotation"], earned["batches"], earned["units_sold"]) == ("Q000001", 1, "19")
    assert earned["cost"] == sold["actual_cost"]
    assert amount(earned["profit"]) == pytest.approx(amount(earned["net_amount"]) - amount(earned["cost"]))
    assert earned["text"].startswith("Made for Q000001: it brings ")
    assert stock["earned"] is None


def test_a_product_and_a_period_add_their_batches_up(made: Client) -> None:
    product = made.get("products/sheet/variances").json
    review = made.post("variances", {**NOVEMBER, "incurred": {"overheads/rent": money("555")}}).json

    assert (product["batches"], product["earned"]["batches"]) == (2, 1)
    assert review["products"] == [product]
    rent = next(each for each in review["fixed"] if each["resource"] == "overheads/rent")
    assert (rent["budget"], rent["budget_variance"]) == (money("500.00"), money("55.00"))
    total = review["fixed_total"]
    parts = [amount(total[name]) for name in ("applied", "budget_variance", "efficiency", "capacity")]
    assert sum(parts) == pytest.approx(amount(total["incurred"]))


@pytest.mark.parametrize("form", ["html", "pdf", "svg", "png"])
def test_each_has_a_page_a_paper_and_pictures(made: Client, form: str) -> None:
    begins = {"html": b"<!doctype html>", "pdf": b"%PDF-", "svg": b"<?xml", "png": b"\x89PNG"}[form]

    answers = [
        made.get(f"batch-records/B-1/variances.{form}"),
        made.get(f"products/sheet/variances.{form}?first_day=2026-11-01"),
        made.post(f"variances.{form}", NOVEMBER),
    ]

    assert [each.data.lower().startswith(begins.lower()) for each in answers] == [True] * 3


def test_what_is_wrong_is_named(made: Client) -> None:
    body = {"last_day": "2026-11-25", "incurred": {"overheads/rentt": money("1"), "tools/mould": money("1")}}

    told = made.post("variances", body).json["errors"]

    assert [each["pointer"] for each in told] == ["/incurred/tools~1mould"]
    del body["incurred"]["tools/mould"]
    (told,) = made.post("variances", body).json["errors"]
    assert told["pointer"] == "/incurred/overheads~1rentt"
    assert told["detail"].endswith("did you mean 'overheads/rent'?")
