"""Alembic's entry point: uses the service's own engine, so that a failed migration leaves nothing behind."""

from typing import Any

import sqlalchemy as sa
from alembic import context

from service.config import settings_from_environment
from service.store.engine.database import make_engine
from service.store.engine.tables import metadata

engine = context.config.attributes.get("engine") or make_engine(settings_from_environment().database_url)


def migrate(connection: sa.Connection) -> None:
    """Run the migrations in one transaction, and check foreign keys before the commit."""
    is_sqlite = connection.dialect.name == "sqlite"
    raw: Any = None
    if is_sqlite:
        # Recreating a table would delete rows that refer to it through ON DELETE; SQLite can switch this only outside
        # a transaction.
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.execute("PRAGMA foreign_keys=OFF")
    try:
        with connection.begin():
            if not is_sqlite:
                # With the extension Citus: one connection for each node, which sees what the statements before have
                # done; several in parallel refuse a function after a change of rows. Without it this does nothing.
                connection.exec_driver_sql("SET LOCAL citus.multi_shard_modify_mode = 'sequential'")
            context.configure(connection=connection, target_metadata=metadata, render_as_batch=is_sqlite)
            context.run_migrations()
            if is_sqlite and (orphans := connection.exec_driver_sql("PRAGMA foreign_key_check").all()):
                raise RuntimeError(f"the migration would leave {len(orphans)} rows that refer to missing rows")
    finally:
        if raw is not None:
            raw.execute("PRAGMA foreign_keys=ON")


if isinstance(engine, sa.Connection):
    migrate(engine)
else:
    with engine.connect() as connection:
        migrate(connection.execution_options(pugmill_writing=True))
