"""Empty databases of a test's own, whose tables it may drop."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from uuid import uuid4

import sqlalchemy as sa

from service.store.engine.database import Database


@contextmanager
def own_database_without_tables(like: sa.URL, directory: Path) -> Iterator[Database]:
    """A file in the directory for SQLite, or else a new database on the same server."""
    name = f"pugmill_own_{uuid4().hex}"
    if like.get_backend_name() == "sqlite":
        database = Database(f"sqlite:///{directory / name}.db")
        yield database
        database.dispose()
        return
    server = sa.create_engine(like.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    database = Database(like.set(database=name).render_as_string(hide_password=False))
    yield database
    database.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()
