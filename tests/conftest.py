"""What every test shares: the engines, an application on each, and a fresh workshop a test."""

import json
import os
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import flask
import pytest
import sqlalchemy as sa
from hypothesis import settings

from service.app import create_app
from service.config import Settings
from service.store.database import Database
from service.store.schema import migrate
from service.store.workshops import Workshop, new_workshop
from service.workflows import keys
from tests.browser import Browser, a_browser
from tests.contract import Contract
from tests.feed import AS_PATIENT_AS_THE_SERVICE, FeedServer, feed_at

# In CI the same examples each time, so that a red build is about the change; by hand they are new each time.
settings.register_profile("ci", derandomize=True)
if os.environ.get("CI"):
    settings.load_profile("ci")

ENGINES = ["sqlite", *os.environ.get("PUGMILL_TEST_DATABASE_URLS", "").split()]
WORKER = os.environ.get("PYTEST_XDIST_WORKER", "")
"""Which of several test processes this is; empty where there is one."""


MEMORY = Path("/dev/shm")
"""Where Linux keeps files in memory: the tests' own databases need not outlive a loss of power."""

LONGEST = (
    "test_independent_computation",
    "test_laws_of_fees",
    "test_price_list",
    "test_twin_workshops",
    "test_keys_and_isolation",
)
"""Files that begin first, so that no process works on one of them alone at the end."""


def is_unfit(item: pytest.Item) -> bool:
    """Whether a test has nothing to say about the engine that it is to run on."""
    call = getattr(item, "callspec", None)
    if call is None or "database_url" not in call.params:
        return False
    return bool(item.get_closest_marker("server" if call.params["database_url"] == "sqlite" else "neutral"))


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what has nothing to say about an engine; the longest files go first."""
    items.sort(key=lambda each: LONGEST.index(each.path.stem) if each.path.stem in LONGEST else len(LONGEST))
    unfit = [each for each in items if is_unfit(each)]
    config.hook.pytest_deselected(items=unfit)
    items[:] = [each for each in items if each not in unfit]


@contextmanager
def own_database(url: str) -> Iterator[str]:
    """A database like the one at the address, of this test process alone."""
    if not WORKER:
        yield url
        return
    address = sa.make_url(url)
    name = f"{address.database}_{WORKER}"
    server = sa.create_engine(address.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {address.database}")
        connection.exec_driver_sql(f"ALTER DATABASE {name} SET synchronous_commit = off")
    try:
        yield address.set(database=name).render_as_string(hide_password=False)
    finally:
        with server.connect() as connection:
            connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
        server.dispose()


@pytest.fixture(scope="session", params=ENGINES, ids=[engine.partition(":")[0] for engine in ENGINES])
def database_url(request: pytest.FixtureRequest) -> Iterator[str]:
    """A database of each engine, its tables made once; tests keep apart by having a workshop each."""
    with ExitStack() as databases:
        if request.param == "sqlite":
            memory = MEMORY if os.access(MEMORY, os.W_OK) else None
            directory = databases.enter_context(tempfile.TemporaryDirectory(prefix="pugmill-", dir=memory))
            url = f"sqlite:///{directory}/pugmill.db"
        else:
            url = databases.enter_context(own_database(request.param))
        database = Database(url)
        migrate(database)
        database.dispose()
        yield url


@pytest.fixture(scope="session")
def running_feed() -> Iterator[FeedServer]:
    with FeedServer().running() as server:
        yield server


@pytest.fixture
def feed_server(running_feed: FeedServer, monkeypatch: pytest.MonkeyPatch) -> Iterator[FeedServer]:
    """The feed that the application asks, to be told how to answer; afterwards it behaves again."""
    for name in ("NO_PROXY", "no_proxy"):  # on this machine, not by way of any proxy that it may have
        monkeypatch.setenv(name, "127.0.0.1,localhost")
    running_feed.reset()
    yield running_feed
    running_feed.reset()


@pytest.fixture(scope="session")
def app(database_url: str, running_feed: FeedServer) -> Iterator[flask.Flask]:
    application = create_app(Settings(database_url=database_url, feed_url=running_feed.url, rate_limit=None))
    application.extensions["pugmill.feed"] = feed_at(running_feed.url, AS_PATIENT_AS_THE_SERVICE)
    yield application
    application.extensions["pugmill.database"].dispose()


@pytest.fixture(scope="session")
def database(app: flask.Flask) -> Database:
    found: Database = app.extensions["pugmill.database"]
    return found


@pytest.fixture(scope="session")
def contract(app: flask.Flask) -> Contract:
    return Contract(app)


@dataclass(kw_only=True)
class Client:
    """A workshop's way to the service; every answer is held against the contract unless it is told not to."""

    app: flask.Flask
    contract: Contract
    key: str
    workshop: Workshop
    is_checked: bool = True
    headers: dict[str, str] = field(default_factory=dict)

    def request(self, method: str, path: str, body: Any = None, **options: Any) -> Any:
        headers = {"Authorization": f"Bearer {self.key}", **self.headers, **options.pop("headers", {})}
        if body is not None:
            options["data"] = body if isinstance(body, bytes | str) else json.dumps(body)
            headers.setdefault("Content-Type", getattr(body, "media_type", "application/json"))
        if method == "POST":
            headers.setdefault("Idempotency-Key", f'"{uuid4()}"')
        is_whole = path.startswith(("/v1", "/health", "/ready", "/metrics", "/docs", "/openapi"))
        address = path if is_whole else f"/v1/{path}"
        response = self.app.test_client().open(address, method=method, headers=headers, buffered=True, **options)
        if self.is_checked:
            self.contract.check(method, address, response)
        return response

    def get(self, path: str, **options: Any) -> Any:
        return self.request("GET", path, **options)

    def put(self, path: str, body: Any, **options: Any) -> Any:
        return self.request("PUT", path, body, **options)

    def post(self, path: str, body: Any, **options: Any) -> Any:
        return self.request("POST", path, body, **options)

    def delete(self, path: str, **options: Any) -> Any:
        return self.request("DELETE", path, **options)

    def register(self, path: str, facts: Any, **rates: Any) -> None:
        """PUT facts, and the terms of each first day: register("materials/x", {...}, **{"2026-01-01": {...}})."""
        response = self.put(path, facts)
        assert response.status_code in (200, 201), response.json
        for day, terms in rates.items():
            response = self.put(f"{path}/rates/{day}", terms)
            assert response.status_code in (200, 201), response.json


def make_client(
    app: flask.Flask,
    contract: Contract,
    *,
    name: str = "Kiln Lane Workshop",
    currency: str = "EUR",
    locale: str = "en_IE",
) -> Client:
    """A fresh workshop with a key that may read and write."""
    workshop = new_workshop(
        name=name, address="1 Kiln Lane\nMarrow Bay", currency=currency, locale=locale, time_zone="UTC"
    )
    key = keys.create_workshop(app.extensions["pugmill.database"], workshop, "tests")
    return Client(app=app, contract=contract, key=key, workshop=workshop)


@pytest.fixture
def client(app: flask.Flask, contract: Contract) -> Client:
    return make_client(app, contract)


@pytest.fixture
def stranger(app: flask.Flask, contract: Contract) -> Client:
    """Another workshop."""
    return make_client(app, contract)


@pytest.fixture
def workshop_id(client: Client) -> UUID:
    return client.workshop.workshop_id


@pytest.fixture
def empty_database(tmp_path: Path) -> Iterator[Database]:
    """An SQLite database without tables."""
    database = Database(f"sqlite:///{tmp_path / 'empty.db'}")
    yield database
    database.dispose()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """A real browser, one for each test process that needs it."""
    with a_browser() as found:
        yield found
