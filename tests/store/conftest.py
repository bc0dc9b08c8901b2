"""Databases that a test may take down."""

import os
from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
import sqlalchemy as sa

from service.store.database import Database

ENGINES = ["sqlite", *os.environ.get("PUGMILL_TEST_DATABASE_URLS", "").split()]
"""As in tests/conftest.py."""


@pytest.fixture(params=ENGINES, ids=[engine.partition(":")[0] for engine in ENGINES])
def bare_database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A database without tables on each engine, the test's own."""
    if request.param == "sqlite":
        database = Database(f"sqlite:///{tmp_path / 'bare.db'}")
        yield database
        database.dispose()
        return
    url, name = sa.make_url(request.param), f"pugmill_bare_{uuid4().hex}"
    server = sa.create_engine(url.set(database="postgres"), isolation_level="AUTOCOMMIT")
    with server.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    database = Database(url.set(database=name).render_as_string(hide_password=False))
    yield database
    database.dispose()
    with server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    server.dispose()
