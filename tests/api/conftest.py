"""A workshop for the tests that only ask, or are refused: it is registered once, and they leave it as it is."""

import flask
import pytest

from tests.api.places import Ids, ids_of, register_everything
from tests.conftest import Client, make_client
from tests.support.contract import Contract


@pytest.fixture(scope="module")
def workshop(app: flask.Flask, contract: Contract) -> Client:
    """A workshop with something at every place."""
    made = make_client(app, contract)
    register_everything(made)
    return made


@pytest.fixture(scope="module")
def ids(workshop: Client) -> Ids:
    """Of the workshop's only quotation and its only repricing."""
    return ids_of(workshop)
