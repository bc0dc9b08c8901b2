"""Fixtures: a workshop's owner who calls the workflows directly, without HTTP."""

import pytest

from service.store.engine.database import Database
from tests.conftest import Client
from tests.support.builders import register_workshop
from tests.workflows.owner import Owner


def pytest_itemcollected(item: pytest.Item) -> None:
    item.add_marker(pytest.mark.every_engine)


@pytest.fixture
def owner(database: Database, client: Client) -> Owner:
    """A workshop with nothing in it yet."""
    return Owner(database=database, workshop_id=client.workshop.workshop_id)


@pytest.fixture
def other_owner(database: Database, stranger: Client) -> Owner:
    return Owner(database=database, workshop_id=stranger.workshop.workshop_id)


@pytest.fixture
def furnished(owner: Owner) -> Owner:
    """A workshop with everything that the product 'sheet' needs, and rates from 2026 on."""
    register_workshop(owner)
    return owner
