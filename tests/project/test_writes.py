"""The check that a call stores nothing: it notices what is committed, and ignores what is rolled back."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest
import sqlalchemy as sa

from service.store.engine.database import Connection, Database
from service.store.engine.tables import idempotency_keys, workshops
from tests.api.outside import refused
from tests.conftest import Client
from tests.support.builders import material
from tests.support.writes import is_a_write, nothing_is_stored

pytestmark = pytest.mark.every_engine


def add_key(connection: Connection, client: Client) -> str:
    key = str(uuid4())
    row = {"workshop_id": client.workshop.workshop_id, "key": key, "fingerprint": "", "claimed_at": datetime.now(UTC)}
    connection.execute(idempotency_keys.insert(), row)
    return key


def rename(connection: Connection, client: Client, name: str) -> None:
    found = sa.update(workshops).where(workshops.c.workshop_id == client.workshop.workshop_id)
    connection.execute(found.values(name=name))


def rename_and_take_back_a_key(connection: Connection, client: Client) -> None:
    rename(connection, client, "Other")
    savepoint = connection.begin_nested()
    add_key(connection, client)
    savepoint.rollback()


def fail_after_renaming(connection: Connection, client: Client) -> None:
    rename(connection, client, "Other")
    raise ZeroDivisionError


class TestWhatIsStoredIsCaught:
    def test_when_a_transaction_commits_it_and_the_statement_is_named(self, client: Client, database: Database) -> None:
        with (
            pytest.raises(AssertionError, match="stored by:\nINSERT INTO idempotency_keys"),
            nothing_is_stored(database, client.workshop.workshop_id),
            database.writing() as connection,
        ):
            add_key(connection, client)

    def test_when_it_was_written_in_a_savepoint(self, client: Client, database: Database) -> None:
        with (
            pytest.raises(AssertionError, match="stored by:\nUPDATE workshops"),
            nothing_is_stored(database, client.workshop.workshop_id),
            database.writing() as connection,
            connection.begin_nested(),
        ):
            rename(connection, client, "Other")

    def test_when_it_was_written_before_a_savepoint_that_was_rolled_back(
        self, client: Client, database: Database
    ) -> None:
        with (
            pytest.raises(AssertionError, match=r"stored by:\nUPDATE workshops[^\n]*$"),
            nothing_is_stored(database, client.workshop.workshop_id),
            database.writing() as connection,
        ):
            rename_and_take_back_a_key(connection, client)

    @pytest.mark.server  # on SQLite the statement waits for a commit in any case
    def test_when_each_statement_commits_by_itself(self, client: Client, database: Database) -> None:
        with (
            pytest.raises(AssertionError, match="stored by:\nUPDATE workshops"),
            nothing_is_stored(database, client.workshop.workshop_id),
            database.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection,
        ):
            rename(connection, client, "Other")

    def test_when_the_statement_is_plain_text(self, client: Client, database: Database) -> None:
        told = client.workshop.workshop_id.hex if database.file else client.workshop.workshop_id
        with (
            pytest.raises(AssertionError, match="stored by:\nupdate workshops"),
            nothing_is_stored(database, client.workshop.workshop_id),
            database.writing() as connection,
        ):
            connection.exec_driver_sql(f"update workshops set name = 'Other' where workshop_id = '{told}'")

    def test_when_a_call_over_http_stores_it_before_it_is_refused(self, client: Client) -> None:
        """`refused` fails for a PUT that stores something, whatever its answer."""
        with pytest.raises(AssertionError, match=r"stored by:\n(.|\n)*INSERT INTO registrations"):
            refused(client, "PUT", "materials/hdpe", material(), status=201)


class TestWhatIsNotStoredIsNot:
    def test_what_is_rolled_back(self, client: Client, database: Database) -> None:
        with (
            nothing_is_stored(database, client.workshop.workshop_id),
            pytest.raises(ZeroDivisionError),
            database.writing() as connection,
        ):
            fail_after_renaming(connection, client)

    def test_what_is_rolled_back_to_a_savepoint(self, client: Client, database: Database) -> None:
        with nothing_is_stored(database, client.workshop.workshop_id), database.writing() as connection:
            savepoint = connection.begin_nested()
            rename(connection, client, "Other")
            savepoint.rollback()

    def test_what_is_committed_and_undone_by_another_commit(self, client: Client, database: Database) -> None:
        with nothing_is_stored(database, client.workshop.workshop_id):
            with database.writing() as connection:
                key = add_key(connection, client)
            with database.writing() as connection:
                connection.execute(idempotency_keys.delete().where(idempotency_keys.c.key == key))

    def test_another_workshop_s(self, client: Client, stranger: Client, database: Database) -> None:
        with nothing_is_stored(database, client.workshop.workshop_id), database.writing() as connection:
            rename(connection, stranger, "Other")

    def test_what_was_stored_before_and_afterwards(self, client: Client, database: Database) -> None:
        for _ in range(2):
            with database.writing() as connection:
                add_key(connection, client)
            with nothing_is_stored(database, client.workshop.workshop_id):
                assert client.get("materials").status_code == 200


@pytest.mark.parametrize(
    ("statement", "writes"),
    [
        ("SELECT 1", False),
        ("  with found as (select 1) select * from found", False),
        ("WITH gone AS (DELETE FROM rates RETURNING code) SELECT * FROM gone", True),
        ("WITH x AS (UPDATE rates AS r SET code = 'x' RETURNING r.code) SELECT * FROM x", True),
        ("SELECT * FROM workshops FOR UPDATE", False),
        ("INSERT INTO rates VALUES (1)", True),
        ("MERGE INTO rates USING x", True),
        ("REPLACE INTO rates VALUES (1)", True),
        ("TRUNCATE rates", True),
        ("SAVEPOINT sa_savepoint_1", False),
    ],
)
def test_a_statement_not_known_to_read_counts_as_a_write(statement: str, writes: bool) -> None:
    assert is_a_write(statement) is writes
