"""Fixtures shared by all tests: the database engines, an application on each, and a fresh workshop for each test."""

import gc
import json
import os
import tempfile
from collections.abc import Callable, Generator, Iterable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import click
import flask
import pytest
import sqlalchemy as sa
from coverage import Coverage

from scripts.checks import ROOT, Part, part_of
from service.app import create_app
from service.cli import main
from service.config import Settings
from service.domain.audit import Actor
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.workshops import Workshop, new_workshop
from service.workflows.workshop import keys
from tests.support.browser import Browser, a_browser
from tests.support.contract import Contract, the_contract
from tests.support.feed import AS_PATIENT_AS_THE_SERVICE, FeedServer, feed_at

pytest_plugins = ["tests.support.profiles"]

ENGINES = ["sqlite", *os.environ.get("PUGMILL_TEST_DATABASE_URLS", "").split()]
WORKER = os.environ.get("PYTEST_XDIST_WORKER", "")
"""Name of this test process if there are several; otherwise empty."""


_RESTING = pytest.StashKey[list[Coverage]]()


MEMORY = Path("/dev/shm")
"""Linux keeps files here in memory; the tests' own databases need not survive a power failure."""


@cache
def part_at(path: Path) -> Part | None:
    """The part of `scripts/test` that a test file belongs to."""
    return part_of(path.relative_to(ROOT).as_posix())


def is_of_the_core(item: pytest.Item) -> bool:
    """Whether the test counts for the branch coverage of the core."""
    part = part_at(item.path)
    return part is not None and part.is_measured


def is_measured(item: pytest.Item) -> bool:
    """Whether coverage is measured in this test: the core's tests on SQLite, without those on random examples."""
    call = getattr(item, "callspec", None)
    is_on_a_server = call is not None and call.params.get("database_url", "sqlite") != "sqlite"
    return is_of_the_core(item) and not is_on_a_server and item.get_closest_marker("hypothesis") is None


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item) -> None:
    """Stop measuring coverage in tests where it is not needed, because it doubles their time.

    The measured tests run first, so coverage stops once and does not restart around every test.
    """
    if is_measured(item):
        resting = item.config.stash.setdefault(_RESTING, [])
        while resting:
            measuring = resting.pop()
            measuring.get_data()  # without this, the start would discard unsaved data
            measuring.start()
    else:
        stop_measuring(item.config)


def stop_measuring(config: pytest.Config) -> None:
    """Stop measuring coverage until the next test that is measured."""
    resting = config.stash.setdefault(_RESTING, [])
    while (measuring := Coverage.current()) is not None:
        measuring.stop()
        resting.append(measuring)


def import_the_service() -> None:
    """Import the modules of all commands, and with them the whole service."""
    context = click.Context(main)
    for name in main.list_commands(context):
        main.get_command(context, name)


def is_unfit(item: pytest.Item) -> bool:
    """Whether a test is left out on its engine, because the result cannot depend on that engine.

    SQLite runs every test except those about a server. A server runs these, and the tests marked `every_engine`, whose
    result depends on the engine: locks, waiting, repetition, concurrency and interruption; what SQL finds (pages and
    their order, what a repricing looks at, isolation); data that one engine stores and the other refuses (texts, large
    figures, days); triggers, and rows that are moved. All of `tests/store` and `tests/workflows` are marked; every
    other test uses the code that they cover. What is computed from rows after reading them, how it is written, and
    what is refused before reading, is the same on any engine. By night servers also run `every_engine_by_night`, which
    tries every operation again, although `tests/store` already checks the statements beneath.
    """
    call = getattr(item, "callspec", None)
    if call is None or "database_url" not in call.params:
        return False
    is_for_a_server = item.get_closest_marker("server") is not None
    if call.params["database_url"] == "sqlite":
        return is_for_a_server
    return not (is_for_a_server or item.get_closest_marker("every_engine"))


@pytest.hookimpl(wrapper=True)
def pytest_collection(session: pytest.Session) -> Generator[None, Any, Any]:
    """Collect tests without collecting garbage, and then have garbage collected less thoroughly.

    The collector would look through ten thousand tests and all modules again and again, which takes a tenth of the
    time of the tests. Nor is coverage measured meanwhile: of what collecting runs, only the lines that importing the
    service runs count, so it is imported before. A process that only distributes the tests measures no more.
    """
    import_the_service()
    stop_measuring(session.config)
    gc.disable()
    try:
        return (yield)
    finally:
        gc.collect()
        gc.freeze()
        gc.set_threshold(700, 10, 100)
        gc.enable()


def evenly(paths: Iterable[Path]) -> dict[Path, float]:
    """A place above 0 for each file, in which those of every part follow each other at equal distances up to 1."""
    parts: dict[Part | None, list[Path]] = {}
    for path in dict.fromkeys(paths):
        parts.setdefault(part_at(path), []).append(path)
    return {path: place / len(files) for files in parts.values() for place, path in enumerate(files, 1)}


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out tests whose result cannot depend on the engine, and run the measured tests first.

    The service caches results in memory: code whose result another test has cached would not run while measured. The
    files of every other part are spread evenly over the run, so that tests that wait run beside tests that compute.
    """
    places = evenly(each.path for each in items if not is_of_the_core(each))
    items.sort(key=lambda each: places.get(each.path, 0))
    fit: list[pytest.Item] = []
    unfit: list[pytest.Item] = []
    for each in items:
        (unfit if is_unfit(each) else fit).append(each)
    config.hook.pytest_deselected(items=unfit)
    items[:] = fit


@contextmanager
def own_database(url: str) -> Iterator[str]:
    """A copy of the database at the address, used by this test process only."""
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


@contextmanager
def migrated(engine: str) -> Iterator[str]:
    """The URL of a database with all tables: a file for SQLite, or else a copy of the database at the URL."""
    with ExitStack() as opened:
        if engine == "sqlite":
            memory = MEMORY if os.access(MEMORY, os.W_OK) else None
            directory = opened.enter_context(tempfile.TemporaryDirectory(prefix="pugmill-", dir=memory))
            url = f"sqlite:///{directory}/pugmill.db"
        else:
            url = opened.enter_context(own_database(engine))
        database = Database(url)
        migrate(database)
        database.dispose()
        yield url


@pytest.fixture(scope="session")
def databases() -> Iterator[Callable[[str], str]]:
    """The URL of each engine's database, made when first asked for and kept to the end.

    Of a fixture with parameters only one value at a time is kept, and a test process changes engines with every file.
    """
    with ExitStack() as kept:
        yield cache(lambda engine: kept.enter_context(migrated(engine)))


@pytest.fixture(scope="session", params=ENGINES, ids=[engine.partition(":")[0] for engine in ENGINES])
def database_url(request: pytest.FixtureRequest, databases: Callable[[str], str]) -> str:
    """A database of each engine; tests share it, each with a workshop of its own."""
    return databases(request.param)


@pytest.fixture(scope="session")
def running_feed() -> Iterator[FeedServer]:
    with FeedServer().running() as server:
        yield server


@pytest.fixture
def feed_server(running_feed: FeedServer, monkeypatch: pytest.MonkeyPatch) -> Iterator[FeedServer]:
    """The application's feed server, whose answers a test can set; reset before and after the test."""
    for name in ("NO_PROXY", "no_proxy"):  # the feed is on this machine: bypass any configured proxy
        monkeypatch.setenv(name, "127.0.0.1,localhost")
    running_feed.reset()
    yield running_feed
    running_feed.reset()


@pytest.fixture(scope="session")
def apps(databases: Callable[[str], str], running_feed: FeedServer) -> Iterator[Callable[[str], flask.Flask]]:
    """The application over each database, kept like `databases`."""
    with ExitStack() as kept:

        def made(database_url: str) -> flask.Flask:
            application = create_app(Settings(database_url=database_url, feed_url=running_feed.url, rate_limit=None))
            application.extensions["pugmill.feed"] = feed_at(running_feed.url, AS_PATIENT_AS_THE_SERVICE)
            kept.callback(application.extensions["pugmill.database"].dispose)
            return application

        yield cache(made)


@pytest.fixture(scope="session")
def app(database_url: str, apps: Callable[[str], flask.Flask]) -> flask.Flask:
    return apps(database_url)


@pytest.fixture(scope="session")
def database(app: flask.Flask) -> Database:
    found: Database = app.extensions["pugmill.database"]
    return found


@pytest.fixture(scope="session")
def contract() -> Contract:
    return the_contract()


@dataclass(kw_only=True)
class Client:
    """An HTTP client with a workshop's key; every answer is checked against the contract if `is_checked`."""

    app: flask.Flask
    contract: Contract
    key: str
    workshop: Workshop
    is_checked: bool = True
    headers: dict[str, str] = field(default_factory=dict)

    @property
    def database(self) -> Database:
        found: Database = self.app.extensions["pugmill.database"]
        return found

    @property
    def actor(self) -> Actor:
        """The actor on record for requests with this key."""
        access = keys.open_with(self.database, self.key)
        assert access is not None
        return access.actor

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
        """PUT facts, then the rate of each first day: register("materials/x", {...}, **{"2026-01-01": {...}})."""
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
    time_zone: str = "UTC",
) -> Client:
    """A fresh workshop with a key that may read and write."""
    workshop = new_workshop(
        name=name, address="1 Kiln Lane\nMarrow Bay", currency=currency, locale=locale, time_zone=time_zone
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
    """A real browser; each test process that needs one starts its own."""
    with a_browser() as found:
        yield found
