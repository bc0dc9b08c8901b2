"""Batch records over HTTP: one by one, as a list, from JSON and from a CSV file."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support import builders
from tests.support.builders import CsvFile

HEADER = "code,product,made_on,good_units,note,materials/hdpe/issued,materials/hdpe/paid,operations/pressing/minutes"


@pytest.fixture
def workshop(client: Client) -> Client:
    builders.register_workshop(client)
    return client


def errors_of(answer: Any) -> list[tuple[Any, str]]:
    assert answer.status_code == 422, answer.text
    return [(each.get("line", each.get("pointer")), each["detail"]) for each in answer.json["errors"]]


def test_an_answer_can_be_sent_back_and_a_page_leads_to_the_next(workshop: Client) -> None:
    sent = builders.batch_record(electricity=[{"tariff": "grid", "meter_begin": "100", "meter_end": "164.5"}])
    created = workshop.put("batch-records/B-1", sent)
    again = workshop.put("batch-records/B-1", created.json)
    assert (created.status_code, created.headers["Location"], again.status_code) == (201, "/v1/batch-records/B-1", 200)
    assert again.json == created.json == workshop.get("batch-records/B-1").json
    assert again.headers["ETag"] == created.headers["ETag"]

    listed = {"records": [*workshop.get("batch-records").json["items"], {**sent, "code": "B-2"}]}
    assert workshop.post("batch-records", listed).json == {
        "recorded": 1,
        "corrected": 0,
        "unchanged": 1,
        "warnings": [],
    }

    first = workshop.get("batch-records?product=sheet&first_day=2026-11-25&limit=1").json
    rest = workshop.get(first["next"].removeprefix("/v1/")).json
    assert [each["code"] for each in (*first["items"], *rest["items"])] == ["B-2", "B-1"]
    assert workshop.get("batch-records?first_day=2026-11-26&last_day=2026-11-25").status_code == 422


def test_many_in_json_are_refused_with_their_places(workshop: Client) -> None:
    negative = builders.batch_record(electricity=[{"tariff": "grid", "meter_begin": "9", "meter_end": "8"}])
    wrong = [
        builders.batch_record(),
        builders.batch_record(code="B-2", good_units="21", units_started="20"),
        {**negative, "code": "B-3"},
    ]

    told = errors_of(workshop.post("batch-records", {"records": wrong}))
    unnamed = errors_of(workshop.post("batch-records", {"records": wrong[:1]}))

    assert [place for place, _ in told] == ["/records/1/good_units", "/records/2/electricity/0/meter_end"]
    assert unnamed == [("/records/0/code", "is required: the workshop's own code for the batch")]
    assert errors_of(workshop.post("batch-records", {})) == [("/records", "must have a record at least")]
    assert errors_of(workshop.post("batch-records", {"records": [{"code": None}, 7]}))


def test_a_file_has_a_record_on_each_line(workshop: Client) -> None:
    lines = [HEADER, 'B-1,sheet,2026-11-24,19,"damp, cold",195.5,150.00,850', "B-2,sheet,2026-11-25,20,,198,160 EUR,"]
    file = CsvFile("\r\n".join(lines) + "\r\n")

    assert workshop.post("batch-records", file).json == {"recorded": 2, "corrected": 0, "unchanged": 0, "warnings": []}
    assert workshop.post("batch-records", file).json == {"recorded": 0, "corrected": 0, "unchanged": 2, "warnings": []}

    first, second = (workshop.get(f"batch-records/{code}").json for code in ("B-1", "B-2"))
    assert first["note"] == "damp, cold"
    assert first["materials"] == [
        {"material": "hdpe", "issued": "195.5", "returned": None, "paid": builders.money("150.00"), "paid_for": None}
    ]
    assert (first["operations"][0]["minutes"], second["operations"]) == ("850", [])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("code,produkt\n", [(1, "must name the column product"), (1, "'produkt' is no column of a record; did you")]),
        (f"{HEADER},code\n", [(1, "'code' is named twice")]),
        ("code,product,made_on,good_units,materials/issued\n", [(1, "a count is named like materials/hdpe/issued")]),
        ("code,product,made_on,good_units,overheads//paid\n", [(1, "'overheads//paid' is no column")]),
        (f"{HEADER}\n", [(2, "there is no line with a record")]),
        (f"{HEADER}\nB-1,sheet\n", [(2, "has 2 fields instead of 8")]),
        (
            f"{HEADER}\n,sheet,2026-11-24,19,,,,\nB-1,sheet,24.11.2026,x,,-1,ten,\n",
            [(2, "code: is required"), (3, "good_units: "), (3, "made_on: "), (3, "materials/hdpe/issued: ")],
        ),
        (
            f"{HEADER}\nB-1,shet,2026-11-24,19,,,,\nB-2,sheet,2026-11-24,19,,,,9\n",
            [(2, "product: there is no product 'shet'; did you mean 'sheet'?")],
        ),
        (
            f"{HEADER}\nB-2,sheet,2026-11-24,19,,0,9,\n",
            [(2, "materials/hdpe/paid_for: is required, for nothing was issued that this could have paid for")],
        ),
        (f"{HEADER}\nB-1,sheet,2026-11-24,19.5,,,,\n", [(2, "good_units: must be whole")]),
    ],
)
def test_a_file_is_refused_with_line_and_column(workshop: Client, text: str, told: list[tuple[int, str]]) -> None:
    found = errors_of(workshop.post("batch-records", CsvFile(text)))

    for line, beginning in told:
        assert any(where == line and beginning in detail for where, detail in found), found
    assert workshop.get("batch-records").json["items"] == []


def test_what_is_no_file_is_malformed(workshop: Client) -> None:
    assert workshop.post("batch-records", CsvFile('code,"x')).status_code == 400
    answer = workshop.post(
        "batch-records", CsvFile(f"{HEADER}\n"), headers={"Content-Type": "text/csv; charset=latin1"}
    )
    assert answer.status_code == 415
