"""A request over its time limit is aborted between two steps: a problem, nothing stored, and it may be repeated."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from uuid import uuid4

import flask
import pytest
import sqlalchemy as sa

from service import time_limit
from service.app import create_app
from service.config import Settings
from service.store.engine.database import Database
from service.store.engine.database_faults import fault_of
from tests.api.outside import is_problem, stored
from tests.api.places import register_everything
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import the_contract

pytestmark = pytest.mark.every_engine

PRICE = "as_of=2026-11-25&target=margin&value=0.3&quantity=20"


@pytest.fixture(scope="module")
def own_app(database_url: str) -> Iterator[flask.Flask]:
    app = create_app(Settings(database_url=database_url, rate_limit=None, has_memory=False))
    yield app
    app.extensions["pugmill.database"].dispose()


@pytest.fixture(scope="module")
def hasty(own_app: flask.Flask) -> Client:
    """A workshop with something registered in every collection, on an application without a cache."""
    client = make_client(own_app, the_contract())
    register_everything(client)
    return client


@contextmanager
def no_time(client: Client) -> Iterator[None]:
    """Set the time limit to 0, so that every request is aborted at its first step."""
    usual = client.app.extensions["pugmill.time_limit"]
    client.app.extensions["pugmill.time_limit"] = 0
    try:
        yield
    finally:
        client.app.extensions["pugmill.time_limit"] = usual


@pytest.mark.parametrize(
    ("method", "path", "body"),
    [
        ("GET", "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25", None),
        ("POST", "products/sheet/cost-sheet", {"quantity": 20, "rates": {"materials/hdpe": builders.material_rate()}}),
        ("GET", "products/sheet/cost-sheet/workings?quantity=20&as_of=2026-11-25", None),
        ("GET", "products/sheet/cost-sheet.pdf?quantity=20&as_of=2026-11-25", None),
        ("GET", f"products/sheet/price-sheet?{PRICE}", None),
        ("POST", "quotations", builders.quotation()),
        ("POST", "break-even", builders.month_plan()),
        ("GET", "price-list?as_of=2026-11-25", None),
        ("POST", "repricings", {"as_of": "2026-11-25"}),
        ("POST", "repricings", {"as_of": "2026-11-25", "apply": True}),
    ],
)
def test_a_request_over_the_time_limit_stores_nothing_and_may_be_repeated(
    hasty: Client, method: str, path: str, body: Any
) -> None:
    before, key = stored(hasty), {"Idempotency-Key": f'"{uuid4()}"'} if method == "POST" else {}

    with no_time(hasty):
        answer = hasty.request(method, path, body, headers=key)

    assert (answer.status_code, answer.json["type"].rpartition("/")[2]) == (503, "out-of-time")
    assert is_problem(answer)
    assert int(answer.headers["Retry-After"]) > 0
    assert stored(hasty) == before
    assert hasty.request(method, path, body, headers=key).status_code in (200, 201)


def test_a_request_without_steps_is_answered(hasty: Client) -> None:
    with no_time(hasty):
        assert hasty.get("products/sheet").status_code == 200
        assert hasty.put("taxes/quick", {"name": "VAT"}).status_code == 201


ENDLESS = {
    "sqlite": "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT count(*) FROM n",
    "postgresql": "SET LOCAL statement_timeout = 10; SELECT pg_sleep(60)",  # the server's own limit is 30 s
}


def test_a_statement_over_the_time_limit_is_aborted_and_the_connection_reused(hasty: Client) -> None:
    database: Database = hasty.app.extensions["pugmill.database"]
    endless = sa.text(ENDLESS[database.engine.dialect.name])

    with time_limit.within(0), database.reading() as connection, pytest.raises(sa.exc.OperationalError) as error:
        connection.execute(endless)

    told = fault_of(error.value)
    assert told is not None
    assert told.kind in ("out-of-time", "busy")
    with database.reading() as connection:
        assert connection.execute(sa.text("SELECT 1")).scalar() == 1


@pytest.mark.server
def test_a_database_server_limits_statements_to_thirty_seconds(database: Database) -> None:
    with database.reading() as connection:
        assert connection.execute(sa.text("SHOW statement_timeout")).scalar() == "30s"


def test_an_inner_time_limit_does_not_affect_the_outer_one() -> None:
    assert not time_limit.is_over()
    with time_limit.within(60):
        with time_limit.within(0):
            assert time_limit.is_over()
        assert not time_limit.is_over()
        time_limit.next_step()
