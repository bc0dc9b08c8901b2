"""Transactions on every engine: a reader sees one state, and a writer stores all or nothing."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any
from uuid import UUID

import pytest
import sqlalchemy as sa
from sqlalchemy import event

from service import time_limit
from service.store.engine import patience
from service.store.engine.database import Connection, Database
from service.store.engine.database_faults import BUSY, NO_ANSWER, fault_of
from service.store.engine.tables import feed_files, uses, workshops
from service.store.workshop.workshops import find_workshop, lock_workshop, new_workshop, next_revision
from tests.conftest import Client
from tests.support.proxy import proxy_to


def revision(connection: Connection, workshop_id: UUID) -> int:
    found = find_workshop(connection, workshop_id)
    assert found is not None
    return found.revision


class TestReading:
    def test_sees_one_state_to_its_end_whatever_is_written_meanwhile(
        self, database: Database, workshop_id: UUID
    ) -> None:
        with database.reading() as reader:
            before = revision(reader, workshop_id)
            with database.writing() as writer:
                next_revision(writer, workshop_id)

            assert revision(reader, workshop_id) == before
        with database.reading() as reader:
            assert revision(reader, workshop_id) == before + 1

    def test_commits_nothing(self, database: Database, workshop_id: UUID) -> None:
        with database.reading() as connection:
            before = revision(connection, workshop_id)

        with database.reading() as connection:
            connection.execute(
                workshops.update().where(workshops.c.workshop_id == workshop_id).values(revision=before + 9)
            )

        with database.reading() as connection:
            assert revision(connection, workshop_id) == before

    def test_an_unknown_workshop_is_none(self, database: Database, workshop_id: UUID) -> None:
        unknown = new_workshop(name="x", address="", currency="EUR", locale="en", time_zone="UTC")

        with database.reading() as connection:
            assert find_workshop(connection, unknown.workshop_id) is None


class TestWriting:
    def test_many_rows_go_to_a_server_in_one_statement(self, database: Database, workshop_id: UUID) -> None:
        sent: list[int] = []

        def listen(_connection: Any, _cursor: Any, _statement: str, parameters: Any, *_: Any) -> None:
            sent.append(len(parameters))

        event.listen(database.engine, "before_cursor_execute", listen)
        with database.writing() as connection:
            rows = [{"workshop_id": workshop_id, "address": f"feed {each}", "conditions": {}} for each in range(300)]
            connection.execute(feed_files.insert(), rows)
        event.remove(database.engine, "before_cursor_execute", listen)

        is_row_by_row = database.engine.dialect.name == "sqlite"  # which is in this process
        assert sent == [300 if is_row_by_row else 300 * 3], "one set of parameters has every column of every row"

    def test_that_fails_half_way_leaves_nothing(self, database: Database, workshop_id: UUID) -> None:
        with database.reading() as connection:
            before = revision(connection, workshop_id)

        def fail_half_way() -> None:
            with database.writing() as connection:
                next_revision(connection, workshop_id)
                raise ZeroDivisionError

        with pytest.raises(ZeroDivisionError):
            fail_half_way()

        with database.reading() as connection:
            assert revision(connection, workshop_id) == before

    def test_of_many_at_once_loses_none(self, database: Database, workshop_id: UUID) -> None:
        def raise_it(_: int) -> int:
            with database.writing() as connection:
                lock_workshop(connection, workshop_id)
                return next_revision(connection, workshop_id)

        with ThreadPoolExecutor(4) as threads:
            found = sorted(threads.map(raise_it, range(20)))

        assert found == list(range(found[0], found[0] + 20))

    def test_of_one_workshop_does_not_touch_another(self, database: Database, client: Client, stranger: Client) -> None:
        with database.writing() as connection:
            next_revision(connection, client.workshop.workshop_id)

        with database.reading() as connection:
            assert find_workshop(connection, stranger.workshop.workshop_id) == stranger.workshop
            found = find_workshop(connection, client.workshop.workshop_id)
            assert found == replace(client.workshop, revision=1)

    def test_a_row_that_refers_to_nothing_is_refused(self, database: Database, workshop_id: UUID) -> None:
        orphan = {"collection": "materials", "code": "nothing", "used_collection": "machines", "used_code": "nothing"}

        with database.writing() as connection, pytest.raises(sa.exc.IntegrityError):
            connection.execute(uses.insert(), {"workshop_id": workshop_id, **orphan})


@pytest.mark.server
def test_on_a_server_statements_and_waits_have_a_time_limit(database: Database) -> None:
    for transaction in (database.reading(), database.writing()):
        with transaction as connection:
            limits = {
                name: connection.scalar(sa.text(f"SHOW {name}"))
                for name in ("statement_timeout", "lock_timeout", "idle_in_transaction_session_timeout")
            }
        assert limits == {
            "statement_timeout": "30s",
            "lock_timeout": "10s",
            "idle_in_transaction_session_timeout": "1min",
        }


@pytest.mark.server
def test_a_server_that_falls_silent_is_given_up_after_the_time_limit(
    database_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(patience, "SPARE_SECONDS", 0.1)
    with proxy_to(database_url) as proxy:
        silent = Database(proxy.url)
        with time_limit.within(0.1), silent.reading() as connection:
            connection.execute(sa.select(1))
            proxy.hold()
            with pytest.raises(sa.exc.OperationalError) as caught:
                connection.execute(sa.select(1))
        silent.dispose()
        proxy.restore()

    assert fault_of(caught.value) is NO_ANSWER
    assert caught.value.connection_invalidated


_REVISION = sa.select(workshops.c.workshop_id, workshops.c.revision, workshops.c.created_at).where(
    workshops.c.workshop_id == sa.bindparam("workshop_id"), workshops.c.currency == "EUR"
)
_NOWHERE = sa.select(sa.column("x")).select_from(sa.table("nowhere"))


class TestRowsOfAQueryCompiledOnce:
    def test_are_those_that_a_connection_reads(self, database: Database, workshop_id: UUID) -> None:
        with database.reading() as connection:
            read = connection.execute(_REVISION, {"workshop_id": workshop_id}).all()

        rows = database.rows(_REVISION, workshop_id=workshop_id)

        assert [tuple(row) for row in rows] == [tuple(row) for row in read]
        assert [type(value) for value in rows[0]] == [type(value) for value in read[0]]

    def test_see_what_was_committed_since_they_were_compiled(self, database: Database, workshop_id: UUID) -> None:
        ((_, before, _),) = database.rows(_REVISION, workshop_id=workshop_id)

        with database.writing() as connection:
            next_revision(connection, workshop_id)

            ((_, meanwhile, _),) = database.rows(_REVISION, workshop_id=workshop_id)
        ((_, after, _),) = database.rows(_REVISION, workshop_id=workshop_id)
        assert (meanwhile, after) == (before, before + 1)

    def test_are_of_the_open_transaction_if_there_is_one(self, database: Database, workshop_id: UUID) -> None:
        with database.writing() as connection:
            raised = next_revision(connection, workshop_id)

            ((_, seen, _),) = database.seen_through(connection).rows(_REVISION, workshop_id=workshop_id)

        assert seen == raised

    def test_fail_with_the_same_error_as_elsewhere(self, database: Database) -> None:
        with pytest.raises(sa.exc.DBAPIError) as elsewhere, database.reading() as connection:
            connection.execute(_NOWHERE)

        with pytest.raises(sa.exc.DBAPIError) as found:
            database.rows(_NOWHERE)

        assert type(found.value) is type(elsewhere.value)
        assert type(found.value.orig) is type(elsewhere.value.orig)

    def test_of_a_server_that_cannot_be_reached_are_a_fault_that_passes(self) -> None:
        nobody = Database("postgresql+psycopg://nobody@127.0.0.1:1/nothing")

        with pytest.raises(sa.exc.DBAPIError) as found:
            nobody.rows(_REVISION, workshop_id=UUID(int=1))

        assert fault_of(found.value) is BUSY
