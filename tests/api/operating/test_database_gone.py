"""A database that disappears and comes back: requests are refused meanwhile, then answered, without a restart."""

import secrets
import shutil
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.app import create_app
from service.config import Settings
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.workshops import lock_workshop
from tests.api.outside import is_problem, stored
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import the_contract
from tests.support.proxy import Proxy, proxy_to

pytestmark = pytest.mark.every_engine

SHEET = "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25"


@contextmanager
def client_at(url: str) -> Iterator[Client]:
    """A workshop with its own instance of the service."""
    app = create_app(Settings(database_url=url, rate_limit=None))
    database: Database = app.extensions["pugmill.database"]
    migrate(database)
    client = make_client(app, the_contract())
    builders.register_workshop(client)
    yield client
    database.dispose()


@pytest.fixture
def proxy(database_url: str) -> Iterator[Proxy]:
    with proxy_to(database_url) as found:
        yield found


@pytest.fixture
def far(proxy: Proxy) -> Iterator[Client]:
    """A workshop whose service reaches the database through the proxy."""
    with client_at(proxy.url) as client:
        yield client


def change(client: Client) -> Any:
    return client.put("materials/another", {"name": "x", "unit": "kg"})


def quote(client: Client) -> Any:
    return client.post("quotations", builders.quotation())


def is_refused(answer: Any, kind: str = "busy") -> bool:
    return (
        answer.status_code == 503
        and is_problem(answer)
        and answer.json["type"].endswith(f"problem/{kind}")
        and int(answer.headers["Retry-After"]) > 0
    )


def is_away(client: Client, kind: str = "busy") -> None:
    """Check that everything that needs the database is refused, cached answers too, while the process itself is up."""
    assert all(is_refused(answer, kind) for answer in (client.get(SHEET), change(client), quote(client)))
    ready = client.get("/ready")
    assert (ready.status_code, ready.json["database"]) == (503, "unreachable")
    assert client.get("/health").status_code == 200
    assert client.get("/metrics").status_code == 200


def goes_on(client: Client, sheet: Any) -> None:
    """Check that answers are as before and changes are stored."""
    assert client.get("/ready").json["is_ready"]
    assert client.get(SHEET).json == sheet
    assert (change(client).status_code, quote(client).status_code) == (201, 201)


@pytest.mark.server
class TestAServer:
    def test_that_was_unreachable_is_used_again(self, far: Client, proxy: Proxy) -> None:
        sheet, before = far.get(SHEET).json, stored(far)

        proxy.cut()
        is_away(far)
        proxy.restore()

        assert stored(far) == before
        goes_on(far, sheet)

    def test_that_does_not_answer_is_not_waited_for_indefinitely(self, database_url: str) -> None:
        impatient = f"{database_url}{'&' if '?' in database_url else '?'}connect_timeout=2"
        with proxy_to(impatient) as proxy, client_at(proxy.url) as far:
            sheet, before = far.get(SHEET).json, stored(far)

            proxy.fall_silent()
            assert is_refused(change(far))
            proxy.restore()

            assert stored(far) == before
            goes_on(far, sheet)

    @pytest.mark.parametrize("end", ["pg_terminate_backend", "pg_cancel_backend"])
    @pytest.mark.parametrize("attempt", [change, quote, lambda client: client.delete("products/sheet")])
    def test_that_aborts_a_request_stores_nothing_of_it(
        self, far: Client, database: Database, end: str, attempt: Callable[[Client], Any]
    ) -> None:
        sheet, before = far.get(SHEET).json, stored(far)

        with ThreadPoolExecutor() as others, database.writing() as connection:
            lock_workshop(connection, far.workshop.workshop_id)
            answer = others.submit(attempt, far)
            end_waiting(connection, end)

        assert is_refused(answer.result())
        assert stored(far) == before
        goes_on(far, sheet)

    def test_that_refused_further_connections_is_used_again(self, database: Database) -> None:
        with a_role(database, connections=3) as url, client_at(url) as few:
            sheet, before = few.get(SHEET).json, stored(few)

            few.app.extensions["pugmill.database"].dispose()
            with taken(url, connections=3):
                is_away(few)

            assert stored(few) == before
            goes_on(few, sheet)


@contextmanager
def taken(url: str, *, connections: int) -> Iterator[None]:
    """Other clients hold so many connections."""
    engine = sa.create_engine(url)
    with ExitStack() as held:
        for _ in range(connections):
            held.enter_context(engine.connect())
        yield
    engine.dispose()


def end_waiting(connection: sa.Connection, end: str) -> None:
    """End with a function of PostgreSQL every backend that waits for a lock of this connection."""
    waiting = sa.text(
        f"SELECT count({end}(pid)) FROM pg_stat_activity WHERE pg_backend_pid() = ANY (pg_blocking_pids(pid))"
    )
    for _ in range(1000):
        if connection.execute(waiting).scalar():
            return
        connection.execute(sa.text("SELECT pg_sleep(0.01), pg_stat_clear_snapshot()"))
    pytest.fail("nobody waits")


@contextmanager
def a_role(database: Database, *, connections: int) -> Iterator[str]:
    """The URL of a new database whose role may have only so many connections; a superuser has no such limit."""
    name, password = f"pugmill_few_{secrets.token_hex(8)}", secrets.token_hex(8)
    url = database.engine.url
    server = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with server.connect() as connection, ExitStack() as undone:
        execute = connection.exec_driver_sql
        execute(f"CREATE ROLE {name} LOGIN CONNECTION LIMIT {connections} PASSWORD '{password}'")
        undone.callback(execute, f"DROP ROLE {name}")
        execute(f"GRANT {name} TO CURRENT_USER")
        execute(f"CREATE DATABASE {name} TEMPLATE template0 OWNER {name}")
        undone.callback(execute, f"DROP DATABASE {name} WITH (FORCE)")
        yield url.set(username=name, password=password, database=name).render_as_string(hide_password=False)
    server.dispose()


class TestAFile:
    """A SQLite file: a running service uses only the file that it opened."""

    @pytest.fixture
    def path(self, tmp_path: Path) -> Path:
        return tmp_path / "pugmill.db"

    @pytest.fixture
    def near(self, path: Path) -> Iterator[Client]:
        with client_at(f"sqlite:///{path}") as client:
            yield client

    def test_that_was_moved_away_is_used_again_once_it_is_back(self, near: Client, path: Path) -> None:
        sheet, before = near.get(SHEET).json, stored(near)

        path.rename(path.with_suffix(".away"))
        is_away(near, "database-moved")
        assert not path.exists(), "an empty file in its place would be taken for the workshop's"
        path.with_suffix(".away").rename(path)

        assert stored(near) == before
        goes_on(near, sheet)

    def test_that_is_replaced_is_not_written_to(self, near: Client, path: Path) -> None:
        database = near.app.extensions["pugmill.database"]
        with ExitStack() as taken:  # the next request needs a new connection
            for _ in range(2):
                taken.enter_context(database.reading())
            other = path.with_suffix(".other")
            shutil.copyfile(path, other)
            replaced = other.read_bytes()

            other.rename(path)

            is_away(near, "database-moved")
            assert path.read_bytes() == replaced
        is_away(near, "database-moved")
