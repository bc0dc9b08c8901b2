"""Checks the answers in every test against the contract."""

import json
from functools import cache
from typing import Any
from urllib.parse import quote

import flask
from jsonschema_rs import Draft202012, Draft202012Validator, Registry
from werkzeug.exceptions import HTTPException
from werkzeug.routing import MapAdapter

from service.app import create_app
from service.config import Settings

_ADDRESS = "contract:"
ON_EVERY_ANSWER = {
    *("content-type", "content-length", "date", "x-request-id", "cache-control", "vary"),
    *("content-security-policy", "cross-origin-resource-policy", "referrer-policy"),
    *("x-content-type-options", "x-frame-options"),
}
"""Headers of any answer, which openapi/README.md lists."""
LINES = "application/x-ndjson"
"""Many JSON documents, one on each line; the contract describes each as the item of a list."""


def spelt_out(document: dict[str, Any]) -> dict[str, Any]:
    """The document with the references to parameters, headers, responses and schemas of plain values resolved.

    Schemas of objects stay references.
    """

    def found(node: Any) -> Any:
        if isinstance(node, list):
            return [found(each) for each in node]
        if not isinstance(node, dict):
            return node
        kind, _, name = node.get("$ref", "").removeprefix("#/components/").partition("/")
        if kind in ("parameters", "headers", "responses"):
            return found(document["components"][kind][name])
        if kind == "schemas" and "properties" not in (form := document["components"][kind][name]):
            return found({**form, **{key: value for key, value in node.items() if key != "$ref"}})
        return {key: found(value) for key, value in node.items()}

    whole: dict[str, Any] = found(document)
    return whole


class Contract:
    """The OpenAPI document of an application, with validators for its answers."""

    def __init__(self, app: flask.Flask) -> None:
        self.document: dict[str, Any] = spelt_out(app.extensions["pugmill.api"].document())
        self._adapter: MapAdapter = app.url_map.bind("localhost")
        self._registry = Registry([(_ADDRESS, self.document)], draft=Draft202012)
        self._validator = cache(self._validator_for)

    def _validator_for(self, pointer: str) -> Draft202012Validator:
        return Draft202012Validator({"$ref": f"{_ADDRESS}#{quote(pointer, safe='/~')}"}, registry=self._registry)

    def operation(self, method: str, path: str) -> tuple[str, dict[str, Any]] | None:
        """The path template in the contract that matches a request's path, and its operation; None if there is none."""
        try:
            rule, _ = self._adapter.match(path, method=method, return_rule=True)
        except HTTPException:
            return None
        template = rule.rule.replace("<", "{").replace(">", "}")
        operation = self.document["paths"].get(template, {}).get(method.lower())
        return None if operation is None else (template, operation)

    def check(self, method: str, path: str, response: Any) -> None:
        """Fail if the status, the media type or the body is not in the contract."""
        if response.status_code >= 400:
            assert response.content_type == "application/problem+json" or path == "/ready", response.data
            assert response.json["status" if path != "/ready" else "is_ready"] in (response.status_code, False)
        found = self.operation("GET" if method == "HEAD" else method, path.partition("?")[0])
        if found is None:
            return
        template, operation = found
        status = str(response.status_code)
        told = {name.lower() for name in operation["responses"].get(status, {}).get("headers", {})}
        untold = {name.lower() for name in dict(response.headers)} - told - ON_EVERY_ANSWER
        assert not untold, f"{method} {template} answers {status} with {untold}, which the contract lacks"
        assert status in operation["responses"], f"{method} {template} answers {status}, which the contract lacks"
        if response.status_code == 304:
            return
        media, answer = response.mimetype, operation["responses"][status]
        if media and response.status_code < 400:
            assert media in answer["content"], f"{method} {template} answers {status} as {media}"
        is_json = (media or "").endswith("json") and media != LINES
        if is_json and method != "HEAD":
            escaped = template.replace("~", "~0").replace("/", "~1")
            where = f"/paths/{escaped}/{method.lower()}/responses/{status}"
            pointer = f"{where}/content/{media.replace('/', '~1')}/schema"
            error = next(self._validator(pointer).iter_errors(json.loads(response.data)), None)
            assert error is None, f"{method} {path} {status}: {error.message} at {error.instance_path}"


@cache
def the_contract() -> Contract:
    """The contract of every application in this process, made once: it depends on no database and on no setting."""
    return Contract(create_app(Settings(database_url="sqlite://")))
