"""Alembic's entry: migrate with the service's own engine, so that a failed migration leaves nothing behind."""

from typing import Any

import sqlalchemy as sa
from alembic import context

from service.config import settings_from_environment
from service.store.engine.database import make_engine
from service.store.engine.tables import metadata

engine = context.config.attributes.get("engine") or make_engine(settings_from_environment().database_url)


def migrate(connection: sa.Connection) -> None:
    """Run the migrations in one transaction, and check what refers to what before it is committed."""
    is_sqlite = connection.dialect.name == "sqlite"
    raw: Any = None
    if is_sqlite:
        # A table that is made anew would take its children with it through ON DELETE; SQLite switches this only
        # outside a transaction.
        raw = connection.connection.dbapi_connection
        assert raw is not None
        raw.execute("PRAGMA foreign_keys=OFF")
    try:
        with connection.begin():
            context.configure(connection=connection, target_metadata=metadata, render_as_batch=is_sqlite)
            context.run_migrations()
            if is_sqlite and (orphans := connection.exec_driver_sql("PRAGMA foreign_key_check").all()):
                raise RuntimeError(f"the migration would leave {len(orphans)} rows without what they refer to")
    finally:
        if raw is not None:
            raw.execute("PRAGMA foreign_keys=ON")


if isinstance(engine, sa.Connection):
    migrate(engine)
else:
    with engine.connect() as connection:
        migrate(connection.execution_options(pugmill_writing=True))
