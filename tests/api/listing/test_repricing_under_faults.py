"""Repricing over HTTP while the database is locked or disconnects, and with several services on one database."""

import gc
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from typing import Any

import flask
import pytest
import sqlalchemy as sa

from service.app import create_app
from service.config import Settings
from service.domain.listing.repricing import COMING_INTO_FORCE
from service.store.engine.database import Database
from service.store.engine.tables import listing_prices, price_changes, repricings
from tests.api.outside import is_problem, stored
from tests.conftest import Client
from tests.support import builders, processes
from tests.support.contract import Contract
from tests.support.furnishing import furnishes
from tests.support.processes import context, ended, started

pytestmark = pytest.mark.every_engine

AS_OF = {"as_of": "2026-11-25"}
APPLY = {**AS_OF, "apply": True}


@pytest.fixture
@furnishes
def selling(client: Client) -> Client:
    """A workshop with prices in force and a rate that has changed since then."""
    builders.register_workshop(client)
    for number in range(12):
        client.register(f"listings/sheet-{number}", builders.listing(policy=builders.policy(value=f"0.{20 + number}")))
    assert client.post("repricings", APPLY).status_code == 201
    assert client.put("materials/hdpe/rates/2026-06-01", builders.material_rate("0.95")).status_code == 201
    return client


def assert_asks_to_try_again(response: Any) -> None:
    assert response.status_code == 503, response.text
    assert is_problem(response)
    assert int(response.headers["Retry-After"]) > 0


def test_a_preview_abandoned_at_any_page_leaves_nothing_open(selling: Client) -> None:
    """A database cursor left open would give a ResourceWarning at garbage collection, which is an error in tests."""
    page = selling.post("repricings?limit=5", AS_OF).json["changes"]
    found = page["items"]
    while page["next"] is not None:
        page = selling.post(page["next"], AS_OF).json["changes"]
        gc.collect()
        found += page["items"]

    assert [each["listing"] for each in found] == sorted(f"sheet-{number}" for number in range(12))


class TestWhileAnotherProcessHoldsTheLock:
    def test_prices_stay_and_the_answer_asks_to_try_again(self, selling: Client, database_url: str) -> None:
        before = stored(selling)
        applied = selling.get("repricings").json["items"][0]["id"]
        asked = [("repricings", APPLY), (f"repricings/{applied}/rollback", None)]
        held, over = context.Event(), context.Event()
        holder = started(processes.hold_lock, database_url, selling.workshop.workshop_id, held, over)
        assert held.wait(processes.SECONDS)

        with ThreadPoolExecutor(2) as clients:
            refused = clients.map(lambda each: selling.post(*each), asked)
            preview = selling.post("repricings", AS_OF)
        over.set()

        assert ended(holder) == 0
        for answer in refused:
            assert_asks_to_try_again(answer)
        assert preview.status_code == 200  # reading does not wait for the lock
        assert stored(selling) == before
        assert [selling.post(*each).status_code for each in reversed(asked)] == [200, 201]


@pytest.fixture
def app_of_its_own(database_url: str) -> Iterator[flask.Flask]:
    application = create_app(Settings(database_url=database_url))
    yield application
    application.extensions["pugmill.database"].dispose()


@pytest.fixture
def cutting(app_of_its_own: flask.Flask, database_url: str, caplog: pytest.LogCaptureFixture) -> Iterator["Cutting"]:
    """Ends the application's connection before one of its statements; for database servers only."""
    outside = sa.create_engine(database_url, isolation_level="AUTOCOMMIT")
    yield Cutting(app_of_its_own.extensions["pugmill.database"], outside)
    outside.dispose()
    # Logged errors keep the interrupted cursor alive; collected here, its warning is ignored.
    for records in (caplog.get_records("setup"), caplog.get_records("call")):
        records.clear()
    gc.collect()


class Cutting:
    """Has the server end the connection before statement number `left`, counted from 0."""

    def __init__(self, database: Database, outside: sa.Engine) -> None:
        self._outside, self.left = outside, -1
        sa.event.listen(database.engine, "before_cursor_execute", self._count)
        sa.event.listen(database.engine, "commit", self._count)

    def _count(self, connection: sa.Connection, *_: Any) -> None:
        if self.left == 0:
            driver: Any = connection.connection.dbapi_connection
            with self._outside.connect() as server:
                server.execute(
                    sa.text("SELECT pg_terminate_backend(CAST(:pid AS integer), CAST(1000 AS bigint))"),
                    {"pid": driver.info.backend_pid},
                )
        self.left -= 1


@pytest.mark.server
class TestWhenTheServerEndsTheConnection:
    @pytest.mark.filterwarnings("ignore:.*ServerCursor.*was deleted while still open:ResourceWarning")
    @pytest.mark.parametrize("what", ["apply", "rollback", "preview"])
    def test_before_any_statement_nothing_is_half_written_and_the_next_request_succeeds(
        self, selling: Client, app_of_its_own: flask.Flask, contract: Contract, cutting: Cutting, what: str
    ) -> None:
        applied = selling.get("repricings").json["items"][0]["id"]
        path = f"repricings/{applied}/rollback" if what == "rollback" else "repricings"
        body = {"apply": APPLY, "preview": AS_OF, "rollback": None}[what]
        client = Client(app=app_of_its_own, contract=contract, key=selling.key, workshop=selling.workshop)
        before = stored(selling)

        for moment in count():
            cutting.left = moment
            answer = client.post(path, body)
            if cutting.left >= 0:  # all statements were executed
                break
            assert_asks_to_try_again(answer)
            if stored(selling) != before:  # committed; only the answer was lost
                assert what != "preview"
                answer = client.post(path, body)
                assert answer.status_code == 409 or answer.json["status"] == "nothing_to_change"
                break

        assert moment > 4
        assert (stored(selling) == before) == (what == "preview")
        assert_history_holds_together(selling.app.extensions["pugmill.database"], selling)


class TestSeveralServicesOnOneDatabase:
    def test_leave_a_consistent_history(self, selling: Client, database: Database, database_url: str) -> None:
        begin, queue = context.Barrier(3), context.Queue()
        others = [started(processes.work_at_random, database_url, selling.key, seed, begin, queue) for seed in range(3)]

        told = [each for _ in others for each in queue.get(timeout=processes.SECONDS)]

        assert [ended(each) for each in others] == [0, 0, 0]
        statuses = Counter((what, status) for what, status, _ in told)
        assert {status for _, status in statuses} <= {200, 201, 409, 503}
        assert all(seconds for _, status, seconds in told if status == 503)
        assert statuses["POST repricings", 201] > 2
        assert statuses["POST rollback", 200] > 2
        assert_history_holds_together(database, selling)
        last = selling.post("repricings", APPLY)
        assert last.status_code in (200, 201)
        assert selling.post("repricings", APPLY).json["status"] == "nothing_to_change"
        assert_history_holds_together(database, selling)


def assert_history_holds_together(database: Database, client: Client) -> None:
    """Fails unless replaying the stored repricings ends with the prices in force."""
    ours = client.workshop.workshop_id
    with database.reading() as connection:

        def rows(table: sa.Table, *order: sa.Column[Any]) -> list[Any]:
            return list(connection.execute(sa.select(table).where(table.c.workshop_id == ours).order_by(*order)))

        applied = rows(repricings, repricings.c.repricing_id)
        changes = rows(price_changes, price_changes.c.repricing_id)
        kept = rows(listing_prices, listing_prices.c.valid_from, listing_prices.c.revision)
        in_force = {row.listing: row.repricing_id for row in kept if row.valid_until is None}
    moments = [(each.applied_at, "apply", each) for each in applied]
    moments += [(each.rolled_back_at, "roll back", each) for each in applied if each.rolled_back_at is not None]
    told: dict[str, Any] = {}
    for _, what, each in sorted(moments, key=lambda moment: moment[0]):
        mine = [change for change in changes if change.repricing_id == each.repricing_id]
        assert Counter(change.decision for change in mine).keys() <= {"first", "changed", "held", "unpriced"}
        for change in (change for change in mine if change.decision in {each.value for each in COMING_INTO_FORCE}):
            if what == "apply":
                assert told.get(change.listing) == change.previous_id
                told[change.listing] = each.repricing_id
            else:
                assert told[change.listing] == each.repricing_id
                told[change.listing] = change.previous_id
    assert {listing: each for listing, each in told.items() if each is not None} == in_force
