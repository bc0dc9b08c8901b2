"""The contract and its interactive documentation, outside /v1 and without a key."""

import base64
import gzip
import hashlib
import re
from functools import cached_property
from pathlib import Path
from typing import Any

import flask
import flask_swagger_ui
import yaml

from service.api.contract.blueprints import Api
from service.api.http.answers import dumped, tagged
from service.api.http.forms import HTML, JSON
from service.documents.writing.pages import page
from service.workflows.entity_tags import content_tag, tag

TITLE = "Pugmill"
_DOCUMENT = "/openapi.json"
_ASKED_AGAIN = "no-cache"
"""May be stored, and is asked about each time, since another version of the service may answer next (RFC 9111)."""
_ASSETS = Path(flask_swagger_ui.__file__).parent / "dist"
_SETTINGS = {
    "url": _DOCUMENT,
    "dom_id": "#swagger-ui",
    "deepLinking": True,
    "persistAuthorization": True,
    "validatorUrl": None,  # no requests to other hosts
}
_SCRIPT = re.compile(r"<script>(.*?)</script>", re.DOTALL)


class ContractDocument:
    """The contract as JSON, made once, when somebody first asks for it."""

    def __init__(self, api: Api) -> None:
        self._api = api

    @cached_property
    def plain(self) -> bytes:
        """As it is."""
        return dumped(self._api.document())

    @cached_property
    def compressed(self) -> bytes:
        """Compressed by gzip, to the same bytes in every process."""
        return gzip.compress(self.plain, mtime=0)

    @cached_property
    def tag(self) -> str:
        """Its entity tag if it is not compressed."""
        return content_tag(self.plain)

    def answer(self) -> flask.Response:
        """Compressed if the client asks for that, each form with a tag of its own (RFC 9110, 8.8.3.3)."""
        is_compressed = flask.request.accept_encodings.best_match(["gzip", "identity"]) == "gzip"

        def make() -> flask.Response:
            response = flask.Response(self.compressed if is_compressed else self.plain, content_type=JSON)
            if is_compressed:
                response.content_encoding = "gzip"
            return response

        response = tagged(tag(self.tag, "gzip") if is_compressed else self.tag, make)
        response.vary.add("Accept-Encoding")
        return _asked_again(response)


def register(app: flask.Flask, api: Api) -> None:
    """Add the addresses /openapi.json, /docs and those under it, and / which leads there."""
    app.add_url_rule(_DOCUMENT, "openapi", ContractDocument(api).answer)
    app.add_url_rule("/", "start", _to_docs)
    app.add_url_rule("/docs", view_func=_to_docs)
    app.add_url_rule("/docs/", view_func=_page)
    app.add_url_rule("/docs/<path:path>", view_func=_asset)


class _ContractDumper(yaml.SafeDumper):
    """Writes no YAML aliases, which not every reader of contracts knows, and few lines: what is short is on one."""

    def ignore_aliases(self, _data: object) -> bool:
        """Always true."""
        return True

    def represent_scalar(self, tag: str, value: Any, style: str | None = None) -> yaml.ScalarNode:
        """A text of several lines is on several, where that is possible."""
        return super().represent_scalar(tag, value, "|" if isinstance(value, str) and "\n" in value else style)

    def represent_sequence(self, tag: str, sequence: Any, flow_style: bool | None = None) -> yaml.SequenceNode:
        """A list of scalars is on one line."""
        is_short = not any(isinstance(each, (dict, list)) for each in sequence)
        return super().represent_sequence(tag, sequence, is_short or flow_style)

    def represent_mapping(self, tag: str, mapping: Any, flow_style: bool | None = None) -> yaml.MappingNode:
        """A short object is on one line; an example, and shared headers, are on as few as they need."""
        node = super().represent_mapping(tag, mapping, len(str(mapping)) < _SHORT or flow_style)
        for name, each in node.value:
            is_shared = name.value == "headers" and all("$ref" in header for header in mapping["headers"].values())
            if is_shared or (name.value in ("example", "examples") and not isinstance(each, yaml.ScalarNode)):
                each.flow_style = True
        return node


_WIDTH, _SHORT = 120, 200


def contract(api: Api) -> str:
    """The OpenAPI document as YAML, in a stable order."""
    found: str = yaml.dump(api.document(), Dumper=_ContractDumper, sort_keys=False, allow_unicode=True, width=_WIDTH)
    return found


def _page() -> flask.Response:
    """The interactive documentation."""
    shown = page("docs.html", language="en", title=f"{TITLE}: interactive documentation", settings=_SETTINGS)
    return _asked_again(flask.Response(shown, content_type=f"{HTML}; charset=utf-8"))


def _asset(path: str) -> flask.Response:
    """A script, style sheet or picture of the documentation."""
    return _asked_again(flask.send_from_directory(_ASSETS, path))


def docs_policy(page: str) -> str:
    """The content security policy of the documentation: its own scripts, requests to this service, nothing else.

    Source: W3C, Content Security Policy Level 3. The inline script is allowed by its digest.
    """
    digests = [base64.b64encode(hashlib.sha256(each.encode()).digest()).decode() for each in _SCRIPT.findall(page)]
    scripts = " ".join(["'self'", *(f"'sha256-{digest}'" for digest in digests)])
    allowed = f"default-src 'none'; script-src {scripts}; style-src 'self' 'unsafe-inline'; img-src 'self' data:"
    return f"{allowed}; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


def _to_docs() -> flask.Response:
    """Redirects / and /docs; the address is relative, so that it does not depend on the Host header."""
    return _asked_again(flask.Response(status=308, headers={"Location": "/docs/"}, content_type="text/plain"))


def _asked_again(response: flask.Response) -> flask.Response:
    response.headers.setdefault("Cache-Control", _ASKED_AGAIN)
    return response
