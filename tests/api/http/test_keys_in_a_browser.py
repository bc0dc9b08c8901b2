"""A key as the password of Basic authentication (RFC 7617): a browser can read with it, but change nothing."""

import base64
from typing import Any

import pytest

from service.store.engine.database import Database
from service.workflows.workshop import keys
from tests.api.places import KEYED, Ids, Place, named, register_everything
from tests.conftest import Client, make_client
from tests.support.builders import material


@pytest.fixture(scope="module")
def owner(app: Any, contract: Any) -> Client:
    return make_client(app, contract)


@pytest.fixture(scope="module")
def ids(owner: Client) -> Ids:
    return register_everything(owner)


TOO_LONG = base64.b64encode(b"user:" + b"x" * 9000).decode()


def basic(password: str, user: str = "") -> dict[str, str]:
    return {"Authorization": "Basic " + base64.b64encode(f"{user}:{password}".encode()).decode()}


@pytest.mark.parametrize("place", [place for place in KEYED if place.method == "GET"], ids=named)
def test_every_read_accepts_it(owner: Client, ids: Ids, place: Place) -> None:
    answer = owner.get(place.address(ids), headers=basic(owner.key, "anybody"))

    assert answer.status_code == 200, answer.text
    assert answer.headers["Cache-Control"] == "no-store"


@pytest.mark.parametrize("place", [place for place in KEYED if place.method != "GET"], ids=named)
def test_every_other_operation_refuses_it(owner: Client, ids: Ids, place: Place) -> None:
    refused = owner.request(place.method, place.address(ids), place.body, headers=basic(owner.key))

    assert refused.status_code == 401
    assert "Basic" not in " ".join(refused.headers.getlist("WWW-Authenticate"))


def test_a_read_without_a_key_asks_the_browser_for_it(owner: Client) -> None:
    asked = owner.get("materials", headers={"Authorization": ""})

    assert asked.status_code == 401
    assert asked.headers.getlist("WWW-Authenticate") == [
        'Bearer realm="pugmill"',
        'Basic realm="pugmill", charset="UTF-8"',
    ]


@pytest.mark.parametrize(
    "header",
    [
        "Basic",
        "Basic ",
        "Basic x",
        "Basic Og==",
        "Basic ÿÿ",
        "Basic " + base64.b64encode(b"user:" + b"x" * 9000).decode(),
    ],
)
def test_a_header_without_a_key_is_refused(owner: Client, header: str) -> None:
    assert owner.get("materials", headers={"Authorization": header}).status_code == 401


def test_a_wrong_one_is_refused(owner: Client) -> None:
    refused = owner.get("materials", headers=basic(owner.key + "x"))

    assert refused.status_code == 401
    assert 'error="invalid_token"' in refused.headers["WWW-Authenticate"]


def test_its_scopes_are_checked(owner: Client, database: Database) -> None:
    writing = keys.create_key(database, owner.workshop.workshop_id, "till", frozenset({"write"}))

    assert owner.get("materials", headers=basic(writing)).status_code == 403
    assert owner.put("materials/x", material(), headers={"Authorization": f"Bearer {writing}"}).status_code == 201
