"""A full, read-only or locked database: the problem says so, nothing is half-stored, and the service recovers."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa

from service.app import create_app
from service.config import Settings
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from tests.api.outside import is_problem, stored
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import the_contract

pytestmark = pytest.mark.every_engine


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "pugmill.db"


@pytest.fixture
def alone(file: Path) -> Iterator[Client]:
    """A workshop on its own SQLite file."""
    app = create_app(Settings(database_url=f"sqlite:///{file}", rate_limit=None))
    database: Database = app.extensions["pugmill.database"]
    migrate(database)
    workshop = new_workshop(name="Alone", address="", currency="EUR", locale="en", time_zone="UTC")
    client = Client(
        app=app, contract=the_contract(), key=keys.create_workshop(database, workshop, "x"), workshop=workshop
    )
    builders.register_workshop(client)
    for number in range(12):  # enough that a repricing needs new pages in the file
        client.register(f"listings/sheet-{number}", builders.listing())
    yield client
    database.dispose()


def pragma(client: Client, text: str) -> Any:
    """Execute a PRAGMA on the application's only connection."""
    with client.app.extensions["pugmill.database"].engine.connect() as connection:
        said = connection.exec_driver_sql(f"PRAGMA {text}")
        return said.scalar() if said.returns_rows else None


def refusals(client: Client, kind: str) -> None:
    """Check that every kind of change is refused with this problem and stores nothing, while reading still works."""
    before = stored(client)
    facts = {"name": "x" * 150, "unit": "kg"}
    for answer in (
        client.put("materials/another", facts),
        client.post("quotations", builders.quotation()),
        client.post("repricings", {"as_of": "2026-11-25", "apply": True}),
    ):
        assert answer.status_code == 503, answer.text
        assert is_problem(answer)
        assert answer.json["type"].endswith(f"problem/{kind}")
        assert int(answer.headers["Retry-After"]) > 0
        assert "sqlite" not in answer.text.lower()
    assert stored(client) == before
    assert client.get("products/sheet/cost-sheet?quantity=20&as_of=2026-11-25").status_code == 200


def goes_on(client: Client) -> None:
    assert client.put("materials/another", {"name": "x", "unit": "kg"}).status_code == 201
    assert client.post("quotations", builders.quotation()).status_code == 201


def fill(client: Client) -> None:
    """Forbid new pages in the file, and fill the free space in the existing ones."""
    pragma(client, f"max_page_count={pragma(client, 'page_count')}")
    for number in range(2000):
        answer = client.put(f"materials/filler-{number}", {"name": "x" * 150, "unit": "kg"})
        if answer.status_code == 503:
            return
    pytest.fail("it is never full")


def test_a_full_database_half_writes_nothing_and_works_again_with_more_space(
    alone: Client, caplog: pytest.LogCaptureFixture
) -> None:
    fill(alone)

    refusals(alone, "storage-full")

    assert "storage-full" in caplog.text
    assert "Harbour Garden Trust" not in caplog.text  # the log must not contain the customer's data
    pragma(alone, "max_page_count=1000000")
    goes_on(alone)


def test_a_read_only_database_can_be_read_and_the_problem_says_so(alone: Client) -> None:
    pragma(alone, "query_only=ON")

    refusals(alone, "read-only")

    pragma(alone, "query_only=OFF")
    goes_on(alone)


def test_a_request_waits_for_the_lock_of_another_process_and_is_then_refused(alone: Client, file: Path) -> None:
    pragma(alone, "busy_timeout=50")  # milliseconds, instead of the usual five seconds
    other = sqlite3.connect(file, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")

    refusals(alone, "busy")

    other.execute("ROLLBACK")
    other.close()
    goes_on(alone)


@pytest.mark.server
@pytest.mark.parametrize(
    ("state", "kind"),
    [
        ("53100", "storage-full"),
        ("25006", "read-only"),
        ("40001", "busy"),
        ("40P01", "busy"),
        ("53300", "busy"),
        ("57014", "busy"),
        ("57P01", "busy"),
    ],
)
def test_an_error_of_a_database_server_gives_a_problem_and_stores_nothing(
    client: Client, database: Database, state: str, kind: str
) -> None:
    builders.register_workshop(client)
    refuse_materials(database, client, f"'refused' USING ERRCODE = '{state}'")
    before = stored(client)

    try:
        answer = client.put("materials/another", {"name": "x", "unit": "kg"})
    finally:
        accept_materials(database)

    assert (answer.status_code, answer.json["type"].rpartition("/")[2]) == (503, kind)
    assert int(answer.headers["Retry-After"]) > 0
    assert stored(client) == before
    goes_on(client)


@pytest.mark.server
def test_a_node_that_is_lost_at_commit_gives_a_problem_that_does_not_say_that_nothing_was_stored(
    client: Client, database: Database
) -> None:
    builders.register_workshop(client)
    told = "'could not commit transaction for shard 102008 on any active node' USING ERRCODE = 'XX000'"
    refuse_materials(database, client, told, is_at_commit=True)

    try:
        answer = client.put("materials/another", {"name": "x", "unit": "kg"})
    finally:
        accept_materials(database)

    assert (answer.status_code, answer.json["type"].rpartition("/")[2]) == (503, "no-answer")
    assert int(answer.headers["Retry-After"]) > 0
    assert "nothing was stored" not in answer.json["detail"]
    goes_on(client)


def refuse_materials(database: Database, client: Client, raised: str, *, is_at_commit: bool = False) -> None:
    """Have the server raise this whenever the client's workshop registers something."""
    kind = "CONSTRAINT TRIGGER refuse AFTER INSERT" if is_at_commit else "TRIGGER refuse BEFORE INSERT"
    moment = "DEFERRABLE INITIALLY DEFERRED" if is_at_commit else ""
    execute(
        database,
        f"CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION {raised}; END $$",
    )
    execute(
        database,
        f"CREATE {kind} ON registrations {moment} FOR EACH ROW"
        f" WHEN (NEW.workshop_id = '{client.workshop.workshop_id}') EXECUTE FUNCTION refuse()",
    )


def accept_materials(database: Database) -> None:
    """Undo `refuse_materials`."""
    execute(database, "DROP TRIGGER refuse ON registrations")
    execute(database, "DROP FUNCTION refuse")


def execute(database: Database, text: str) -> None:
    with database.writing() as connection:
        connection.execute(sa.text(text))
