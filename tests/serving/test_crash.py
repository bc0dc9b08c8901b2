"""The script that kills the service while clients write: it finds no loss, and it would find one."""

import re
import subprocess
import sys
from collections.abc import Iterator
from types import ModuleType
from typing import Any

import pytest
import requests_mock as network
import sqlalchemy as sa

from service.store.engine.database import Database
from service.store.engine.tables import listing_prices, quotation_events
from tests.conftest import Client
from tests.support.demo import MEASURE

URL = "http://pugmill.example"


@pytest.mark.nightly
def test_a_service_that_is_killed_loses_nothing_that_it_acknowledged() -> None:
    """Runs on SQLite; on PostgreSQL the script needs a database of its own, so it is run by hand."""
    command = [sys.executable, str(MEASURE / "crash"), "--kills", "2", "--clients", "3", "--seed", "7"]

    done = subprocess.run(command, capture_output=True, text=True, check=False)

    assert (done.returncode, done.stderr) == (0, "")
    assert re.search(r"^kills +2$", done.stdout, re.MULTILINE)
    assert re.search(r"^wrong +0$", done.stdout, re.MULTILINE)


@pytest.fixture
def crash_ledger(client: Client, monkeypatch: pytest.MonkeyPatch) -> Iterator[ModuleType]:
    """The script's ledger module; its requests go to the application."""

    def answer(request: Any, context: Any) -> Any:
        response = client.request(request.method, request.path_url, request.body, headers=dict(request.headers))
        context.status_code, context.headers = response.status_code, dict(response.headers)
        return response.data

    monkeypatch.syspath_prepend(str(MEASURE))
    with network.Mocker(real_http=True) as mocker:
        mocker.register_uri(network.ANY, re.compile(f"^{URL}/"), content=answer)
        yield __import__("crash_ledger")


@pytest.fixture
def written(client: Client, crash_ledger: ModuleType) -> tuple[Any, Any]:
    """A ledger with a rate, a repricing and an issued quotation; and the check that looks for them."""
    ledger, asking = crash_ledger.Ledger(), crash_ledger.Asking(URL, client.key)
    crash_ledger.register(asking)
    ledger.put(asking, f"/v1/materials/hdpe/rates/{crash_ledger.DAY}", {"price": crash_ledger.money("0.91")})
    ledger.create(asking, "/v1/repricings", {"as_of": "2026-11-25", "apply": True}, "one")
    made = ledger.create(asking, "/v1/quotations", crash_ledger.QUOTATION, "two")
    ledger.step(asking, made.json()["id"], "issue")
    return ledger, crash_ledger.Check(ledger, asking)


class TestTheCheck:
    def test_finds_nothing_wrong_where_nothing_is_lost(self, written: Any) -> None:
        ledger, check = written

        check()

        assert ledger.wrong == []

    def test_finds_a_rate_that_is_lost(self, client: Client, written: Any) -> None:
        ledger, check = written
        assert client.put("materials/hdpe/rates/2026-01-01", {"price": {"amount": "0.8", "currency": "EUR"}})

        check()

        assert [each[:26] for each in ledger.wrong] == ["/v1/materials/hdpe/rates/2"]

    def test_finds_a_quotation_that_was_stored_without_an_answer(
        self, client: Client, crash_ledger: Any, written: Any
    ) -> None:
        ledger, check = written
        assert client.post("quotations", crash_ledger.QUOTATION).status_code == 201

        check()

        assert ["made without an answer" in each for each in ledger.wrong] == [True]

    def test_finds_an_event_that_is_missing(self, client: Client, database: Database, written: Any) -> None:
        ledger, check = written
        _delete(database, client, quotation_events)

        check()

        assert ["its events are []" in each for each in ledger.wrong] == [True]

    def test_finds_a_repricing_whose_prices_are_not_in_force(
        self, client: Client, database: Database, written: Any
    ) -> None:
        ledger, check = written
        _delete(database, client, listing_prices)

        check()

        assert len(ledger.wrong) == 8


def _delete(database: Database, client: Client, table: sa.Table) -> None:
    with database.writing() as connection:
        connection.execute(table.delete().where(table.c.workshop_id == client.workshop.workshop_id))
