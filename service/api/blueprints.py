"""The flask-smorest pieces set up once: strict parsing, problem documents in the contract."""

from collections.abc import Callable, Mapping, Sequence
from http import HTTPStatus
from typing import Any

import flask_smorest
import marshmallow as ma
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from flask import Flask
from webargs.flaskparser import FlaskParser

from service.api import fields, rate_limit
from service.api.answers import HTML, IMAGES, PDF
from service.api.problems import MEDIA_TYPE
from service.api.reading import Parser

SUMMARY = (
    "What a workshop's product costs, what to ask for it, and a quotation that can be re-derived years later. "
    "Amounts are exact: every decimal leaves as a string and may come in as a string or a JSON number. "
    "Built-in tax rates, tariffs and prices are illustrations; a price never implies that a product is fit for a use."
)


IF_CHANGED = [
    {
        "name": "If-None-Match",
        "in": "header",
        "schema": {"type": "string"},
        "description": "Answer 304 if the entity tag is still this.",
    }
]
ETAG = {"ETag": {"description": "The entity tag of this state.", "schema": {"type": "string"}}}
BINARY = {"type": "string", "format": "binary"}
"""The schema of what is no text."""


class FieldProblemSchema(ma.Schema):
    """One member, parameter or line that is wrong."""

    pointer = ma.fields.String(metadata={"description": "JSON pointer (RFC 6901) to the member of the body."})
    parameter = ma.fields.String(metadata={"description": "Name of the query parameter."})
    line = ma.fields.Integer(metadata={"description": "Number of the line of a CSV file, the header being line 1."})
    detail = ma.fields.String(required=True, metadata={"description": "What is wrong, and the remedy."})


class ProblemSchema(ma.Schema):
    """A refusal (RFC 9457). Some kinds have further members, such as `loop` or `missing`."""

    class Meta:
        """Further members are RFC 9457's extension members."""

        unknown = ma.INCLUDE

    type = ma.fields.String(required=True, metadata={"description": "What kind of problem it is."})
    title = ma.fields.String(required=True, metadata={"description": "The status in words."})
    status = ma.fields.Integer(required=True, metadata={"description": "The HTTP status."})
    detail = ma.fields.String(required=True, metadata={"description": "What is wrong, and the remedy."})
    errors = ma.fields.List(
        ma.fields.Nested(FieldProblemSchema), metadata={"description": "Every member, parameter or line that is wrong."}
    )


_RATE_LIMIT_HEADERS = {name: {"$ref": f"#/components/headers/{name}"} for name in rate_limit.HEADERS}


class Blueprint(flask_smorest.Blueprint):
    """A blueprint that reads bodies exactly and refuses what it does not know."""

    ARGUMENTS_PARSER: FlaskParser = Parser()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._prepare_doc_cbks += [self._prepare_conditions_doc, self._prepare_rate_limit_doc]

    def also_images(self, function: Callable[..., Any]) -> Any:
        """Name in the contract the images that the operation answers with besides."""
        for media_type in IMAGES:
            function = self.alt_response(200, schema=BINARY, content_type=media_type, success=True)(function)
        return function

    def also_documents(self, function: Callable[..., Any]) -> Any:
        """The same for a page and a PDF."""
        for media_type, schema in ((HTML, {"type": "string"}), (PDF, BINARY)):
            function = self.alt_response(200, schema=schema, content_type=media_type, success=True)(function)
        return function

    def _prepare_conditions_doc(
        self, doc: dict[str, Any], doc_info: dict[str, Any], *, method: str, **_: Any
    ) -> dict[str, Any]:
        """The conditional headers, beside whatever other parameters there are; every read with a key takes them."""
        conditions = doc_info.get("conditions", [])
        if method == "get" and doc_info["manual_doc"].get("security"):
            conditions = [*conditions, *IF_CHANGED]
            for status, response in doc["responses"].items():
                if str(status) == "200":
                    response["headers"] = {**response.get("headers", {}), **ETAG}
            doc["responses"] |= _answers_of(304, 412)
        if conditions:
            doc["parameters"] = [*doc.get("parameters", []), *conditions]
        return doc

    def _prepare_rate_limit_doc(self, doc: dict[str, Any], doc_info: dict[str, Any], **_: Any) -> dict[str, Any]:
        """What a key has left, in every answer with which its request succeeds (429 tells it too)."""
        if doc_info.get("manual_doc", {}).get("security"):
            for status, response in doc.get("responses", {}).items():
                if str(status).startswith("2"):
                    response.setdefault("headers", {}).update(_RATE_LIMIT_HEADERS)
        return doc


class Converter(OpenAPIConverter):
    """Describes each schema by the first line of its docstring."""

    def schema2jsonschema(self, schema: Any) -> dict[str, Any]:
        """The JSON schema, described."""
        found: dict[str, Any] = super().schema2jsonschema(schema)  # type: ignore[no-untyped-call]
        return {"description": (schema.__doc__ or "").partition("\n")[0], **found}


class Plugin(MarshmallowPlugin):
    """apispec's reading of marshmallow schemas, with descriptions."""

    Converter = Converter


class Api(flask_smorest.Api):
    """The contract, with problem documents for errors."""

    ERROR_SCHEMA = ProblemSchema
    DEFAULT_ERROR_RESPONSE_NAME = None  # every operation lists its own, as problem documents

    def _register_error_handlers(self) -> None:
        """Errors are answered by service.api.problems."""

    def init_app(self, app: Flask, **kwargs: Any) -> None:
        """Register the fields' types before any schema is read."""
        super().init_app(app, **kwargs)
        for field, (kind, form) in fields.TYPES.items():
            self.register_field(field, kind, form)
        self.ma_plugin.converter.add_attribute_function(fields.properties)
        # Leftovers of flask-smorest's own pages and errors, which this service has none of.
        for name in ("PaginationMetadata", "DEFAULT_ERROR"):
            self.spec.components.schemas.pop(name, None)
            self.spec.components.responses.pop(name, None)
        for name, header in rate_limit.HEADERS.items():
            self.spec.components.header(name, header)
        self.spec.components.security_scheme(
            "key",
            {
                "type": "http",
                "scheme": "bearer",
                "description": "A key of the workshop. To read in a browser it may come as the password of Basic "
                "(RFC 7617) as well, with any user name; that way nothing can be changed.",
            },
        )


ERRORS = {
    304: "It is still in the state that If-None-Match names.",
    400: "The body is not JSON (or CSV, where that is read) that this service reads.",
    401: "No key, or not a valid one.",
    403: "The key has not the scope this needs.",
    404: "Nothing of the workshop's has this address.",
    406: "Nothing that the Accept header admits.",
    408: "The body did not come in time; send it again.",
    409: "What is registered stands against it.",
    412: "It has changed since the state that the precondition names was read.",
    413: "The body is too large.",
    415: "The body is not of the media type that this operation reads.",
    422: "A member or parameter is wrong; each is named.",
    429: "The key has made too many requests; ask again after Retry-After.",
    502: "The feed answers what cannot be used; the last good rates stand.",
    503: "The database, or the feed, is busy or out of reach; try again after Retry-After.",
    504: "The feed takes too long to answer; the last good rates stand.",
}
_COMMON = (401, 403, 429, 503)
_TOO_LARGE = HTTPStatus.REQUEST_ENTITY_TOO_LARGE
_OF_BODIES = (HTTPStatus.REQUEST_TIMEOUT.value,)
"""Wherever a body may be too large, it may also not come."""


def _answers_of(*statuses: int) -> dict[str, dict[str, Any]]:
    """What these statuses mean, and that an error is a problem document."""
    problem = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
    return {
        str(status): {
            "description": ERRORS[status],
            **({"content": problem} if status >= HTTPStatus.BAD_REQUEST else {}),
        }
        for status in statuses
    }


def documented(
    operation_id: str, *statuses: int, security: bool = True, conditions: Sequence[Mapping[str, Any]] = ()
) -> Callable[[Callable[..., Any]], Any]:
    """Name the operation in the contract, with the problems it may answer with and the conditions it honours."""
    wanted = sorted({*(_COMMON if security else ()), *(_OF_BODIES if _TOO_LARGE in statuses else ()), *statuses})
    responses = _answers_of(*wanted)
    if security:
        responses["429"]["headers"] = {"Retry-After": rate_limit.RETRY_AFTER, **_RATE_LIMIT_HEADERS}
    keys: list[dict[str, list[str]]] = [{"key": []}] if security else []
    document = flask_smorest.Blueprint.doc(operationId=operation_id, responses=responses, security=keys)

    def decorate(function: Callable[..., Any]) -> Any:
        described = document(function)
        described._apidoc["conditions"] = list(conditions)
        return described

    return decorate
