"""Tables are distributed over the nodes of a database, if it has several.

The catalogue and the functions of the extension are stood in for by tables and functions of the same names, with the
rules that the real ones have; `scripts/measure/citus` runs the service on the real ones.
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from click.testing import CliRunner, Result

from service.cli import main
from service.store.engine.database import Database
from service.store.engine.distribution import DistributedOtherwiseError, distribute
from service.store.engine.schema import migrate, schema_state
from service.store.engine.tables import metadata
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from service.workflows.workshop.watching import Readiness, readiness
from tests.store.conftest import ENGINES
from tests.store.own_databases import own_database_without_tables

ALL = (*(table.name for table in metadata.sorted_tables), "alembic_version")
STAND_IN = (
    'CREATE TABLE pg_dist_partition (logicalrelid regclass PRIMARY KEY, partmethod "char", colocationid integer)',
    """
    CREATE FUNCTION create_distributed_table(
        table_name regclass, distribution_column text, colocate_with text DEFAULT 'default'
    ) RETURNS void LANGUAGE plpgsql AS $$ BEGIN
        IF EXISTS (
            SELECT FROM pg_constraint WHERE contype = 'f' AND conrelid = table_name AND confrelid <> conrelid
            AND confrelid NOT IN (SELECT logicalrelid FROM pg_dist_partition)
        ) THEN RAISE 'a parent of % is not distributed', table_name; END IF;
        IF distribution_column <> 'workshop_id' THEN RAISE 'not by workshop'; END IF;
        IF current_setting('citus.enable_unsafe_triggers') <> 'on' AND EXISTS (
            SELECT FROM pg_trigger WHERE tgrelid = table_name AND NOT tgisinternal
        ) THEN RAISE 'triggers are not supported'; END IF;
        INSERT INTO pg_dist_partition SELECT table_name, 'h', CASE colocate_with WHEN 'default' THEN 1 ELSE (
            SELECT colocationid FROM pg_dist_partition WHERE logicalrelid = colocate_with::regclass) END;
    END $$
    """,
    """
    CREATE FUNCTION create_reference_table(table_name regclass) RETURNS void LANGUAGE sql AS $$
        INSERT INTO pg_dist_partition VALUES (table_name, 'n', 2)
    $$
    """,
    """
    CREATE FUNCTION truncate_local_data_after_distributing_table(table_name regclass) RETURNS void LANGUAGE plpgsql
    AS $$ BEGIN EXECUTE format('TRUNCATE %s CASCADE', table_name); END $$
    """,
)


def execute(database: Database, statement: str) -> sa.Sequence[sa.Row[tuple[object, ...]]]:
    with database.writing() as connection:
        result = connection.execute(sa.text(statement))
        return result.all() if result.returns_rows else []


@pytest.fixture(params=ENGINES[1:], ids=[engine.partition(":")[0] for engine in ENGINES[1:]])
def migrated(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database server's database with tables, but without nodes yet."""
    with own_database_without_tables(sa.make_url(request.param), tmp_path) as database:
        migrate(database)
        yield database


@pytest.fixture
def with_nodes(migrated: Database) -> Database:
    for statement in STAND_IN:
        execute(migrated, statement)
    return migrated


def pugmill(database: Database, *arguments: str) -> Result:
    url = database.engine.url.render_as_string(hide_password=False)
    return CliRunner(env={"DATABASE_URL": url}).invoke(main, arguments)


def test_a_database_with_one_node_has_nothing_to_distribute(bare_database: Database) -> None:
    migrate(bare_database)

    assert distribute(bare_database) == ()
    assert schema_state(bare_database).is_current
    result = pugmill(bare_database, "distribute")
    assert result.exit_code == 1
    assert "one node" in result.output


def test_every_table_is_distributed_beside_its_workshop_and_twice_does_no_harm(with_nodes: Database) -> None:
    assert distribute(with_nodes) == ALL

    assert distribute(with_nodes) == ()
    groups = execute(with_nodes, "SELECT DISTINCT partmethod, colocationid FROM pg_dist_partition ORDER BY 1")
    assert groups == [("h", 1), ("n", 2)]
    assert "already" in pugmill(with_nodes, "distribute").output


def test_migrating_distributes_a_new_table_too(with_nodes: Database) -> None:
    distribute(with_nodes)
    execute(with_nodes, "DELETE FROM pg_dist_partition WHERE logicalrelid = 'feed_files'::regclass")
    assert schema_state(with_nodes).undistributed == ("feed_files",)

    assert pugmill(with_nodes, "migrate").exit_code == 0

    assert schema_state(with_nodes).is_current


def test_a_service_does_not_start_and_is_not_ready_while_a_table_is_not_distributed(with_nodes: Database) -> None:
    distribute(with_nodes)
    assert readiness(with_nodes).is_ready
    execute(with_nodes, "DELETE FROM pg_dist_partition WHERE logicalrelid IN ('rates'::regclass, 'uses'::regclass)")

    assert readiness(with_nodes) == Readiness(is_ready=False, database="reachable", migrations="not distributed")
    for command in (["serve"], ["workshop", "list"]):
        result = pugmill(with_nodes, *command)
        assert result.exit_code == 1
        assert "rates, uses; run 'pugmill distribute' first" in result.output


def test_rows_that_were_there_do_not_stay_behind_and_the_audit_trail_is_protected_as_before(migrated: Database) -> None:
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en", time_zone="UTC")
    keys.create_workshop(migrated, workshop, "tests")
    for statement in STAND_IN:
        execute(migrated, statement)

    distribute(migrated)

    assert [execute(migrated, f"SELECT count(*) FROM {name}")[0][0] for name in ALL[:-1]] == [0] * (len(ALL) - 1)
    for refused in ("TRUNCATE changes", "DELETE FROM changes"):
        with pytest.raises(sa.exc.IntegrityError, match="only ever added"):
            execute(migrated, refused)


def test_a_table_that_is_distributed_otherwise_is_named_and_left_alone(with_nodes: Database) -> None:
    execute(with_nodes, "INSERT INTO pg_dist_partition VALUES ('rates'::regclass, 'h', 7)")

    with pytest.raises(DistributedOtherwiseError, match="rates"):
        distribute(with_nodes)

    assert execute(with_nodes, "SELECT count(*) FROM pg_dist_partition") == [(1,)]
    result = pugmill(with_nodes, "migrate")
    assert (result.exit_code, result.output.count("\n")) == (1, 1)


def test_the_limit_of_waiting_for_a_lock_becomes_the_roles_so_that_nodes_have_it_too(with_nodes: Database) -> None:
    distribute(with_nodes)

    found = execute(
        with_nodes,
        "SELECT setconfig FROM pg_db_role_setting JOIN pg_database ON pg_database.oid = setdatabase"
        " WHERE datname = current_database()",
    )
    assert found == [(["lock_timeout=10s"],)]
