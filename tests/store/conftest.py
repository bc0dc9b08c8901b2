"""Databases whose tables a test may drop."""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from service.store.engine.database import Database
from tests.store.own_databases import own_database_without_tables

ENGINES = ["sqlite", *os.environ.get("PUGMILL_TEST_DATABASE_URLS", "").split()]
"""As in tests/conftest.py."""


def pytest_itemcollected(item: pytest.Item) -> None:
    item.add_marker(pytest.mark.every_engine)


@pytest.fixture(params=ENGINES, ids=[engine.partition(":")[0] for engine in ENGINES])
def bare_database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty database of the test's own, on each engine."""
    like = sa.make_url("sqlite://" if request.param == "sqlite" else request.param)
    with own_database_without_tables(like, tmp_path) as database:
        yield database
