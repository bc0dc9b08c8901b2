"""Helpers for tests over HTTP: what a workshop has stored, refusals that store nothing, and raw requests."""

from collections.abc import Iterator
from contextlib import AbstractContextManager
from typing import Any
from urllib.parse import unquote_to_bytes

from werkzeug.test import EnvironBuilder, TestResponse, run_wsgi_app
from werkzeug.wrappers import Request

from service.api.http.forms import FILES, JSON
from tests.conftest import Client
from tests.support.writes import Stored, everything_of, nothing_is_stored


def in_form(address: str, form: str) -> str:
    """The address of a document in a media type; the plain address for JSON, its default."""
    path, mark, query = address.partition("?")
    return address if form == JSON else f"{path}.{FILES[form].ending}{mark}{query}"


def stored(client: Client) -> Stored:
    return everything_of(client.database, client.workshop.workshop_id)


def leaving_as_it_is(client: Client) -> AbstractContextManager[None]:
    """Fail if anything stored for the workshop has changed afterwards."""
    return nothing_is_stored(client.database, client.workshop.workshop_id)


def refused(client: Client, method: str, path: str, body: Any = None, *, status: int, **options: Any) -> Any:
    """Send a request that must be refused; fails on another status or if anything was stored."""
    with leaving_as_it_is(client):
        response = client.request(method, path, body, **options)
    assert response.status_code == status, response.text[:500]
    assert is_problem(response)
    return response


def is_problem(response: Any) -> bool:
    """Whether the answer is a problem document as in RFC 9457 (the answer to HEAD has no body)."""
    if response.request.method == "HEAD":
        return bool(response.content_type == "application/problem+json")
    members = response.json
    return (
        response.content_type == "application/problem+json"
        and members["status"] == response.status_code
        and all(isinstance(members[name], str) and members[name] for name in ("type", "title", "detail"))
    )


def pointers(response: Any) -> list[str]:
    """The members of the body that a problem names."""
    return [error["pointer"] for error in response.json.get("errors", ()) if "pointer" in error]


def parameters(response: Any) -> list[str]:
    """The parameters that a problem names."""
    return [error["parameter"] for error in response.json.get("errors", ()) if "parameter" in error]


def operations(document: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Every operation of an OpenAPI document: method, path template, operation with the path's parameters."""
    for template, item in document["paths"].items():
        for method in ("get", "put", "post", "delete", "patch", "head", "options", "trace"):
            if method in item:
                shared = item.get("parameters", [])
                operation = {**item[method], "parameters": [*shared, *item[method].get("parameters", [])]}
                yield method.upper(), template, operation


def at(client: Client, address: str, method: str = "GET", **options: Any) -> Any:
    """A request to any address; its answer is not checked against the contract."""
    headers = {"Authorization": f"Bearer {client.key}", **options.pop("headers", {})}
    return client.app.test_client().open(address, method=method, headers=headers, **options)


def over_wsgi(client: Client, method: str, path: str, **environ: Any) -> Any:
    """A request as a WSGI server passes it on, not normalised by a client library; None removes a variable."""
    builder = EnvironBuilder(path="/", method=method, headers={"Authorization": f"Bearer {client.key}"})
    decoded = unquote_to_bytes(path).decode("latin-1")
    made = {**builder.get_environ(), "PATH_INFO": decoded, "REQUEST_URI": path, "RAW_URI": path, **environ}
    made = {name: value for name, value in made.items() if value is not None}
    answer = run_wsgi_app(client.app, made, buffered=True)
    return TestResponse(*answer, request=Request(made))
