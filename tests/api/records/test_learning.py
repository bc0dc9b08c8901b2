"""What records teach, over HTTP: read, previewed, taken over, undone."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support import builders

PATH = "products/sheet/learning"
CYCLE = {"fact": "cycle_minutes", "item": "pressing"}
ORDER = {"without_outliers": True, "facts": [CYCLE]}


@pytest.fixture
def taught(client: Client) -> Client:
    """A workshop whose sheets take 45 minutes a cycle, not 40, as five batches say, and one that stands out."""
    builders.register_workshop(client)
    records = [
        builders.batch_record(
            code=f"B-{minutes}", units_started="20", operations=[{"operation": "pressing", "minutes": f"{minutes}"}]
        )
        for minutes in (918, 919, 920, 921, 922, 1100)
    ]
    assert client.post("batch-records", {"records": records}).status_code == 200
    assert client.put("listings/sheet-market", builders.listing()).status_code == 201
    assert client.post("repricings", {"apply": True}).status_code == 201
    return client


def cycle_of(client: Client) -> Any:
    return client.get("products/sheet").json["operations"][0]["cycle_minutes"]


def test_what_is_previewed_is_taken_over_once_and_undone(taught: Client) -> None:
    learnt = taught.get(f"{PATH}?without_outliers=true").json
    (cycle,) = (each for each in learnt["facts"] if each["fact"] == "cycle_minutes")
    assert (cycle["now"], cycle["proposed"], cycle["is_at_odds"]) == ("40", "45", True)
    assert cycle["outliers"] == [{"code": "B-1100", "value": "54"}]

    preview = taught.post(PATH, {**ORDER, "quantity": "20"})
    assert (preview.json["status"], preview.json["products"]) == ("preview", ["sheet"])
    assert preview.json["prices"]["summary"]["changed"] == 1
    assert preview.json["prices"]["changes"]["items"][0]["effects"]
    assert preview.json["cost"]["unit"] == "piece"

    applied, seen = {**ORDER, "apply": True}, {"If-Match": preview.headers["ETag"]}
    once = {"Idempotency-Key": '"once"', **seen}
    done = taught.post(PATH, applied, headers=once)
    assert (done.json["status"], done.json["prices"], cycle_of(taught)) == ("applied", None, "45")
    assert taught.post(PATH, applied, headers=once).json == done.json
    assert taught.post(PATH, applied, headers=seen).status_code == 412
    reason = taught.get(f"changes?subject={PATH}").json["items"][0]
    assert (reason["action"], reason["after"]["records"]["batches"]) == ("learnt", 6)

    tag = taught.get("products/sheet").headers["ETag"]
    assert taught.post(f"{PATH}/undo", None, headers={"If-Match": '"9"'}).status_code == 412
    undone = taught.post(f"{PATH}/undo", None, headers={"If-Match": tag})
    assert (undone.json["status"], cycle_of(taught)) == ("undone", "40")
    again = taught.post(f"{PATH}/undo", None)
    assert (again.status_code, again.json["type"].rpartition("/")[2]) == (409, "not-undone")


@pytest.mark.parametrize(
    ("wrong", "pointer", "told"),
    [
        ({"facts": [{"fact": "cycle_minutes", "item": "sawing"}]}, "/facts/0", "do not teach this; they teach: "),
        ({"facts": [{**CYCLE, "product": "frame"}]}, "/facts/0", "minutes a cycle of pressing (sheet)"),
        ({"facts": [CYCLE, {"fact": "cycle", "item": "x"}]}, "/facts/1/fact", "must be one of"),
        ({"facts": []}, "/facts", "must have 1 to 500 entries"),
        ({"first_day": "2026-11-26", "last_day": "2026-11-25"}, "/last_day", "must not be before"),
        ({"first_day": "2026-11-26", "facts": [CYCLE]}, "/facts/0", "they teach: nothing"),
    ],
)
def test_a_wrong_order_is_refused_with_its_place(
    taught: Client, wrong: dict[str, Any], pointer: str, told: str
) -> None:
    answer = taught.post(PATH, {**wrong, "apply": True})

    assert answer.status_code == 422
    assert [each["pointer"] for each in answer.json["errors"]] == [pointer]
    assert told in answer.json["errors"][0]["detail"]
    assert cycle_of(taught) == "40"
