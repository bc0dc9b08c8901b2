"""A PostgreSQL of several nodes: the extension Citus distributes every table by its first column, the workshop's id."""

import sqlalchemy as sa

from service.store.engine.database import Connection, Database
from service.store.engine.tables import metadata, workshops

_REVISION = "alembic_version"
"""Alembic's table of the schema revision; it has no workshop, so every node gets a copy."""
_ONLY_ONE = 7_319_460_217
"""Number of the advisory lock under which tables are distributed; any number will do that nothing else uses."""

_TO_DISTRIBUTE = sa.text("""
    SELECT name, logicalrelid IS NOT NULL AS is_otherwise
    FROM unnest(CAST(:names AS text[]) || CAST(:revision AS text)) WITH ORDINALITY AS named (name, place)
    LEFT JOIN pg_dist_partition ON logicalrelid = to_regclass(name)
    WHERE to_regclass(name) IS NOT NULL AND (CASE name
        WHEN :revision THEN partmethod = 'n'
        ELSE partmethod = 'h' AND colocationid = (
            SELECT colocationid FROM pg_dist_partition WHERE logicalrelid = to_regclass(:first)
        )
    END) IS NOT TRUE
    ORDER BY place
""")
"""Methods of distribution are 'h' by the hash of a column, and 'n' for tables of which every node has a copy."""


class DistributedOtherwiseError(ValueError):
    """A table is distributed already, but not beside the workshop that its rows belong to."""

    def __init__(self, table: str) -> None:
        super().__init__(
            f"the table {table} is distributed otherwise than by workshop; undo that with undistribute_table('{table}')"
        )
        self.table = table


def has_nodes(connection: Connection) -> bool:
    """Whether the database has the extension Citus."""
    if connection.dialect.name == "sqlite":
        return False
    return bool(connection.execute(sa.text("SELECT to_regclass('pg_dist_partition') IS NOT NULL")).scalar_one())


def _to_distribute(connection: Connection) -> list[tuple[str, bool]]:
    """Tables that are not distributed as they should be: their names, and whether they are distributed otherwise."""
    names = [table.name for table in metadata.sorted_tables]
    rows = connection.execute(_TO_DISTRIBUTE, {"names": names, "first": workshops.name, "revision": _REVISION})
    return [(row.name, row.is_otherwise) for row in rows]


def undistributed(connection: Connection) -> tuple[str, ...]:
    """The tables that are not distributed as they should be, parents first; none where there is only one node.

    Such a table works, on the coordinator alone, but what is written to it is no longer one transaction on one node.
    """
    return tuple(name for name, _ in _to_distribute(connection)) if has_nodes(connection) else ()


def distribute(database: Database) -> tuple[str, ...]:
    """Distribute what is not distributed yet, with its rows; returns the names of these tables.

    All of them or, on any error, none. Does nothing where there is only one node.

    Raises:
        DistributedOtherwiseError: a table is distributed, but not by workshop.
    """
    with database.writing() as connection:
        if not has_nodes(connection):
            return ()
        connection.execute(sa.text("SELECT pg_advisory_xact_lock(:number)"), {"number": _ONLY_ONE})
        _limit_waiting(connection)
        missing = _to_distribute(connection)
        if otherwise := [name for name, is_otherwise in missing if is_otherwise]:
            raise DistributedOtherwiseError(otherwise[0])
        names = tuple(name for name, _ in missing)
        if names:
            _distribute(connection, names)
        return names


def _distribute(connection: Connection, names: tuple[str, ...]) -> None:
    # Rows that are there are copied, which takes as long as it takes. One connection for each node sees what the
    # statements before have done. The trigger of `changes` is made on every shard: it looks at no other row, which is
    # what the extension calls unsafe.
    for setting in (
        "statement_timeout = 0",
        "citus.multi_shard_modify_mode = 'sequential'",
        "citus.enable_unsafe_triggers = on",
    ):
        connection.execute(sa.text(f"SET LOCAL {setting}"))
    had_rows = [name for name in names if name != _REVISION and _has_rows(connection, name)]
    for name in names:
        if name == _REVISION:
            connection.execute(sa.text(f"SELECT create_reference_table('{name}')"))
        else:
            beside = "" if name == workshops.name else f", colocate_with => '{workshops.name}'"
            connection.execute(sa.text(f"SELECT create_distributed_table('{name}', 'workshop_id'{beside})"))
    _forget_copies(connection, had_rows)


def _has_rows(connection: Connection, name: str) -> bool:
    return bool(connection.execute(sa.select(sa.exists().select_from(metadata.tables[name]))).scalar_one())


def _forget_copies(connection: Connection, names: list[str]) -> None:
    """Delete the rows that were copied to the nodes from where they were: invisible from now on, but still there.

    The trigger of `changes` on the coordinator refuses that, so it is off meanwhile; those of the shards stay on.
    """
    for action in ("DISABLE", "ENABLE"):
        connection.execute(sa.text("SET LOCAL citus.enable_ddl_propagation = off"))
        for name in names:
            connection.execute(sa.text(f"ALTER TABLE {name} {action} TRIGGER USER"))
        connection.execute(sa.text("SET LOCAL citus.enable_ddl_propagation = on"))
        if action == "DISABLE":
            for name in reversed(names):
                connection.execute(sa.text(f"SELECT truncate_local_data_after_distributing_table('{name}')"))


def _limit_waiting(connection: Connection) -> None:
    """Make the connection's limit of waiting for a lock hold on the nodes, whose connections are made by this role."""
    is_set = connection.execute(
        sa.text(
            "SELECT EXISTS (SELECT FROM pg_db_role_setting"
            " JOIN pg_roles ON pg_roles.oid = setrole JOIN pg_database ON pg_database.oid = setdatabase"
            " WHERE rolname = current_user AND datname = current_database()"
            " AND 'lock_timeout=' || current_setting('lock_timeout') = ANY (setconfig))"
        )
    ).scalar_one()
    if not is_set:
        name, limit = connection.execute(
            sa.text("SELECT quote_ident(current_database()), quote_literal(current_setting('lock_timeout'))")
        ).one()
        connection.exec_driver_sql(f"ALTER ROLE CURRENT_USER IN DATABASE {name} SET lock_timeout = {limit}")
