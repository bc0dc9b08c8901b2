"""A workshop for tests of reads and refusals; registered once a module, because those tests do not change it."""

import flask
import pytest

from tests.api.places import Ids, ids_of, register_everything
from tests.conftest import Client, make_client
from tests.support.contract import Contract


@pytest.fixture(scope="module")
def workshop(app: flask.Flask, contract: Contract) -> Client:
    """A workshop with something registered in every collection, a quotation and a repricing."""
    made = make_client(app, contract)
    register_everything(made)
    return made


@pytest.fixture(scope="module")
def ids(workshop: Client) -> Ids:
    """Ids of the workshop's only quotation and its only repricing."""
    return ids_of(workshop)
