"""The rate limit of a key: headers and refusals, effect on other keys, and the contract."""

import re
from collections.abc import Iterator
from typing import Any

import flask
import pytest

from service.app import create_app
from service.arrivals import Arrivals
from service.config import Settings
from service.workflows.workshop import keys
from tests.api.outside import at, is_problem, operations
from tests.conftest import Client, make_client
from tests.support.builders import material
from tests.support.contract import Contract


class Clock:
    now = 0

    def __call__(self) -> int:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def limited_app(database_url: str, clock: Clock) -> Iterator[flask.Flask]:
    """An application that allows three requests a minute for each key."""
    application = create_app(Settings(database_url=database_url, rate_limit=3))
    application.extensions["pugmill.arrivals"] = Arrivals(3, clock=clock)
    yield application
    application.extensions["pugmill.database"].dispose()


@pytest.fixture
def limited(limited_app: flask.Flask, contract: Contract) -> Client:
    return make_client(limited_app, contract)


def test_every_answer_states_the_remaining_requests(limited: Client) -> None:
    answers = [limited.get("materials"), limited.get("materials/none"), limited.put("materials/hdpe", material())]

    assert [answer.status_code for answer in answers] == [200, 404, 201]
    assert {answer.headers["RateLimit-Policy"] for answer in answers} == {'"requests";q=3;w=60'}
    assert [answer.headers["RateLimit"] for answer in answers] == [
        '"requests";r=2;t=20',
        '"requests";r=1;t=40',
        '"requests";r=0;t=60',
    ]


def test_one_request_too_many_is_429_and_succeeds_after_retry_after(limited: Client, clock: Clock) -> None:
    for _ in range(3):
        limited.get("materials")

    refused = limited.put("materials/hdpe", material())

    assert refused.status_code == 429
    assert is_problem(refused)
    assert refused.json["type"].endswith("too-many-requests")
    assert refused.json["title"] == "Too Many Requests"
    assert refused.headers["Retry-After"] == "20"
    assert refused.json["retry_after_seconds"] == 20
    assert refused.headers["RateLimit"] == '"requests";r=0;t=60'
    clock.now += int(refused.headers["Retry-After"]) * 1_000_000_000
    assert limited.get("materials/hdpe").status_code == 404
    assert limited.get("materials").status_code == 429


def test_other_keys_and_other_workshops_are_not_affected(
    limited: Client, limited_app: flask.Flask, contract: Contract
) -> None:
    for _ in range(4):
        last = limited.get("materials")
    second = keys.create_key(
        limited_app.extensions["pugmill.database"], limited.workshop.workshop_id, "till", frozenset({"read"})
    )

    assert last.status_code == 429
    assert at(limited, "/v1/materials", headers={"Authorization": f"Bearer {second}"}).status_code == 200
    assert make_client(limited_app, contract).get("materials").status_code == 200


def test_a_request_outside_the_scopes_is_counted_too(limited: Client, limited_app: flask.Flask) -> None:
    database = limited_app.extensions["pugmill.database"]
    limited.key = keys.create_key(database, limited.workshop.workshop_id, "till", frozenset({"read"}))

    answers = [limited.put("materials/hdpe", material()) for _ in range(4)]

    assert [answer.status_code for answer in answers] == [403, 403, 403, 429]


def test_operations_without_a_key_are_not_limited_and_have_no_headers(limited_app: flask.Flask) -> None:
    client = limited_app.test_client()

    for path, status in (("/health", 200), ("/ready", 200), ("/openapi.json", 200), ("/v1/materials", 401)):
        answers = [client.get(path) for _ in range(5)]
        assert {answer.status_code for answer in answers} == {status}
        assert not any("RateLimit" in answer.headers for answer in answers)


def test_a_service_without_a_rate_limit_sends_no_headers(client: Client) -> None:
    assert "RateLimit" not in client.get("materials").headers


def test_the_contract_describes_it_for_every_operation_that_takes_a_key(contract: Contract) -> None:
    def headers_of(operation: dict[str, Any], pattern: str) -> set[frozenset[str]]:
        return {
            frozenset(response.get("headers", ()))
            for status, response in operation["responses"].items()
            if re.fullmatch(pattern, status)
        }

    for method, path, operation in operations(contract.document):
        is_keyed = path.startswith("/v1/")
        assert ("429" in operation["responses"]) == is_keyed, (method, path)
        if is_keyed:
            assert headers_of(operation, "429") == {frozenset({"Retry-After", "RateLimit", "RateLimit-Policy"})}
            assert all(each >= {"RateLimit", "RateLimit-Policy"} for each in headers_of(operation, "2.."))
