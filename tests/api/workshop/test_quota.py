"""A workshop stores at most its quota: what is over it is refused, stores nothing and does not stop the rest."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from service.app import create_app
from service.config import Settings
from service.store.engine import metering
from service.store.engine.metering import Stored
from tests.api.outside import is_problem
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import the_contract
from tests.support.writes import everything_of

pytestmark = pytest.mark.every_engine

MEGABYTE = 1_000_000


@contextmanager
def limited(url: str, **quota: int | None) -> Iterator[Client]:
    """A workshop of a service with these limits."""
    app = create_app(Settings(database_url=url, rate_limit=None, **{"quota_rows": None, **quota}))
    yield make_client(app, the_contract())
    app.extensions["pugmill.database"].dispose()


def use(client: Client) -> Stored:
    with client.database.reading() as connection:
        return metering.use_of(connection, client.workshop.workshop_id)


def large(name: str) -> dict[str, Any]:
    """Facts of some twenty thousand characters."""
    product = builders.product(name=name)
    step = product["operations"][0]
    return {**product, "operations": [{**step, "name": f"{number} {'x' * 190}"} for number in range(50)]}


def is_full(answer: Any) -> bool:
    return (
        answer.status_code == 507
        and is_problem(answer)
        and answer.json["type"].endswith("problem/quota-exceeded")
        and "Discard drafts of quotations, or ask the operator" in answer.json["detail"]
    )


def fill(client: Client) -> int:
    """Replace the facts of one product until that is refused; returns how often it was not."""
    for number in range(2000):
        answer = client.put("products/sheet", large(f"Sheet {number}"))
        if answer.status_code == 507:
            assert is_full(answer)
            return number
        assert answer.status_code == 200, answer.json
    raise AssertionError("it is never full")


def test_the_audit_trail_cannot_fill_the_disk(database_url: str) -> None:
    """Replacing one thing again and again stores nothing more, except what it was before, each time."""
    with limited(database_url, quota_megabytes=1) as client:
        builders.register_workshop(client)

        times = fill(client)

        assert times > 5
        assert use(client).size_bytes <= MEGABYTE < use(client).size_bytes + 2 * len(str(large("Sheet"))) + 1000


@pytest.fixture
def full(database_url: str) -> Iterator[Client]:
    """A workshop with a draft, an issued quotation, a repricing and rates, which may store one row more."""
    with limited(database_url) as client:
        builders.register_workshop(client)
        client.register("listings/sheet-online", builders.listing())
        client.put("materials/hdpe/rates/2027-01-01", builders.material_rate("3"))
        client.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.1"}})
        client.register("materials/unused", builders.material())
        for _ in range(2):
            client.post("quotations", builders.quotation())
        client.post("repricings", {"as_of": "2026-11-25", "apply": True})
        client.database._quota = metering.Quota(rows=use(client).rows + 1)
        yield client


class TestOverTheQuota:
    def test_what_adds_is_refused_and_stores_nothing(self, full: Client) -> None:
        (draft, _) = full.get("quotations").json["items"]
        before = everything_of(full.database, full.workshop.workshop_id)
        for answer in (
            full.put("materials/another", {"name": "Another", "unit": "kg"}),
            full.put("materials/hdpe/rates/2026-05-01", builders.material_rate("2")),
            full.put("exchange-rates/2026-11-21", {"base": "EUR", "rates": {"USD": "1.2"}}),
            full.post("quotations", builders.quotation()),
            full.post(f"quotations/{draft['id']}/issue", {}),
        ):
            assert is_full(answer), answer.json
        assert everything_of(full.database, full.workshop.workshop_id) == before

    def test_a_refused_request_may_be_sent_again_with_its_key_once_there_is_room(self, full: Client) -> None:
        key = {"Idempotency-Key": '"a key"'}
        assert is_full(full.post("quotations", builders.quotation(), headers=key))

        full.database._quota = metering.Quota()

        assert full.post("quotations", builders.quotation(), headers=key).status_code == 201

    def test_reading_and_everything_that_takes_something_away_still_work(self, full: Client) -> None:
        (repricing,) = full.get("repricings").json["items"]
        (draft, _) = full.get("quotations").json["items"]

        assert full.get("products/sheet/cost-sheet?quantity=20&as_of=2026-11-25").status_code == 200
        assert full.get(f"quotations/{draft['id']}/quotation.pdf").status_code == 200
        assert full.post("repricings", {"as_of": "2026-11-25"}).status_code == 200  # a preview
        assert full.post(f"repricings/{repricing['id']}/rollback", None).status_code == 200
        for path in (
            "materials/unused",
            "materials/hdpe/rates/2027-01-01",
            "exchange-rates/2026-11-20",
            f"quotations/{draft['id']}",
        ):
            assert full.delete(path).status_code == 204, path

    def test_discarding_drafts_makes_room(self, full: Client) -> None:
        new = {"name": "Another"}
        assert is_full(full.put("labour-grades/another", new))

        for each in full.get("quotations").json["items"]:
            full.delete(f"quotations/{each['id']}")

        assert full.put("labour-grades/another", new).status_code == 201

    def test_the_same_again_is_no_more(self, full: Client) -> None:
        assert full.put("materials/unused", builders.material()).status_code == 200

    def test_other_workshops_store_as_before(self, full: Client) -> None:
        other = make_client(full.app, full.contract)

        assert other.put("labour-grades/another", {"name": "Another"}).status_code == 201


def test_the_problem_says_how_much_of_what(full: Client) -> None:
    stored = use(full)

    problem = full.put("labour-grades/another", {"name": "Another"}).json

    assert problem["title"] == "Insufficient Storage"
    assert problem["rows"] == stored.rows + 2  # itself, and its entry in the audit trail
    assert (problem["most_rows"], problem["most_bytes"]) == (stored.rows + 1, None)
    assert problem["bytes"] > stored.size_bytes
