"""flask-smorest, set up once: strict parsing, and problem documents in the contract."""

from http import HTTPStatus
from threading import RLock
from typing import Any

import flask_smorest
import marshmallow as ma
from apispec.ext.marshmallow import MarshmallowPlugin
from apispec.ext.marshmallow.openapi import OpenAPIConverter
from flask import Flask
from flask.views import MethodView
from flask_smorest.spec.plugins import FlaskPlugin
from webargs.flaskparser import FlaskParser

from service.api.contract import fields, shared_parts
from service.api.contract.addresses import PARTS
from service.api.contract.document import finished
from service.api.contract.schemas import DeclaredSchema
from service.api.contract.shapes import learn
from service.api.contract.shared_parts import (
    CONDITIONS,
    DONE,
    ETAG,
    IF_CHANGED,
    KEYS,
    RATE_LIMIT,
    ProblemSchema,
    refusals,
)
from service.api.http.forms import FILES, IMAGES, JSON_LD, PDF
from service.api.http.operations import Operation, as_document, declared_in
from service.api.http.reading import Parser

SUMMARY = """\
What a workshop's product costs, what to ask for it, and a quotation that can be re-derived years later.

**Start here.** Groups are in the order in which one meets them, and every operation has an example that works on the
ones before it; on the demo workshop most work at once.

1. `Authorize` with the workshop's key (`scripts/start` puts the demo's in `var/demo.key`).
2. What a batch of bricks costs: `GET /v1/products/{code}/cost-sheet`, and with every formula as `.pdf`.
3. What to ask for it: `GET /v1/products/{code}/price-sheet`; what the stall asks: `GET /v1/price-list`.
4. A quotation: `POST /v1/quotations`, then `POST /v1/quotations/draft/issue`.
5. A workshop of your own: PUT its tariff, wages, machines, materials and products, from the top of this page on.

Try it with the demo's key. With your own, an example does to your workshop what it says: PUT replaces your `grid` by
the demo's, and `draft`, `issued` and `newest` are your own newest ones. A program names what it means, by id or number.

**Good to know.** Amounts are exact: every decimal is answered as a text, and may be sent as a text or a JSON number.
Members that an operation does not have are refused by name (422), also where it has no body at all. Every answer has
`X-Request-Id`, `Cache-Control` and headers against sniffing and embedding. Built-in tax rates, tariffs and prices are
illustrations; a price never implies that a product is fit for a use.
"""


_TEXT = {"type": "string"}
_BINARY = {"type": "string", "format": "binary"}
_SCHEMAS = {JSON_LD: {"type": "object"}, PDF: _BINARY, **dict.fromkeys(IMAGES, _BINARY)}
"""Schemas of the media types that are neither text nor described by the view's schema."""
_FORM = ("type", "format", "pattern", "minLength", "maxLength", "enum", "anyOf")
_SHARED_QUERIES = frozenset({"limit", "cursor", "as_of", "quantity", "first_day", "last_day"})
"""Query parameters that many operations take."""


_SHARED_LISTS = {
    "Implausibility": ("Warnings", "What looks implausible."),
    "Caution": ("Cautions", "Where somebody can be hurt."),
    "UsedRates": ("ExchangeRatesUsed", "Exchange rates that amounts were converted with."),
}
"""Lists that many answers have, by the schema of their entries."""
_OF_PUT = (
    "WarningsOnPut",
    "What looks implausible about what was sent: in answers to PUT alone, left out if nothing does, and never stored.",
)


class Blueprint(flask_smorest.Blueprint):
    """A blueprint that parses requests strictly, and documents what operations declare."""

    ARGUMENTS_PARSER: FlaskParser = Parser()

    def __init__(self, *args: Any, tag: str = "", **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.tag = tag or self.name
        self._prepare_doc_cbks += [self._prepare_operation_doc]

    def arguments(self, schema: Any, *, example: Any = None, examples: Any = None, **options: Any) -> Any:
        """Declare the body or the query string; its example, or the first by name, shows in refusals, too."""
        shown = next(iter(examples.values())) if examples else example
        if shown is not None and isinstance(schema, DeclaredSchema):
            learn(schema.declared_class, shown)
        named = {name: {"value": value} for name, value in (examples or {}).items()}
        one = {"examples": named} if len(named) > 1 else {"example": shown}
        return super().arguments(schema, **one, **options)

    def add_url_rule(
        self, rule: str, endpoint: str | None = None, view_func: Any = None, *args: Any, **options: Any
    ) -> None:
        """Register the views of an address, and each of their documents at an address with its file ending."""
        methods = {name.lower(): getattr(view_func, name.lower()) for name in view_func.methods}
        asked = {name: declared_in(method._apidoc) for name, method in methods.items()}
        if any(each.forms for each in asked.values()):
            self._add(rule, endpoint, view_func, *args, **options)
        for form in dict.fromkeys(form for each in asked.values() for form in each.documents):
            found = {name: as_document(methods[name], form) for name, each in asked.items() if form in each.documents}
            view = type(f"{view_func.__name__}As{FILES[form].ending.capitalize()}", (MethodView,), found)
            self._add(f"{rule}.{FILES[form].ending}", None, view)

    def _add(self, rule: str, *args: Any, **options: Any) -> None:
        """Register the rule, and document its variable parts."""
        parts = [part.component for name, part in PARTS.items() if f"<{name}>" in rule]
        super().add_url_rule(rule, *args, **(options | {"tags": [self.tag]}))
        documentation = self._docs[self._endpoints[-1]]
        for method in set(documentation) - {"parameters"}:
            documentation[method]["variables"] = parts

    def _prepare_operation_doc(
        self, doc: dict[str, Any], doc_info: dict[str, Any], *, method: str, **_: Any
    ) -> dict[str, Any]:
        """Complete the contract with what follows from the operation's declaration."""
        asked = declared_in(doc_info)
        is_read = method == "get" and asked.is_keyed
        responses = doc.setdefault("responses", {})
        for status in [each for each in responses if str(each).startswith("2")]:
            if status == HTTPStatus.NO_CONTENT:
                responses[status] = DONE
            else:
                _complete(responses[status], asked, is_tagged=is_read)
        has_body = "requestBody" in doc or "requestBody" in doc_info.get("manual_doc", {})
        responses |= refusals(*statuses_of(asked, method, variables=len(doc_info["variables"]), has_body=has_body))
        headers = [*asked.headers, *([IF_CHANGED] if is_read else [])]
        if parameters := [*doc_info["variables"], *doc.get("parameters", []), *headers]:
            doc["parameters"] = parameters
        doc["operationId"] = asked.id
        if not asked.is_keyed:
            doc["security"] = []
        return doc


def _complete(response: dict[str, Any], asked: Operation, *, is_tagged: bool) -> None:
    """Add the media types of a success, and its common headers."""
    if described := response.get("content"):
        found = {form: described.get(form, {"schema": dict(_SCHEMAS.get(form, _TEXT))}) for form in asked.forms}
        response["content"] = found
    if asked.is_keyed:
        tag = ETAG if is_tagged else {}
        response["headers"] = {**response.get("headers", {}), **tag, **RATE_LIMIT}


def statuses_of(asked: Operation, method: str, *, variables: int, has_body: bool) -> set[int]:
    """The statuses of refusals of an operation, from its method, the variable parts of its address, and its body."""
    if not asked.is_keyed:
        return set(asked.refuses)
    found = {401, 403, 406, 422, 429, 503, *asked.refuses}
    if method == "get":
        found |= {304, 412}
    if method in ("put", "post") and (asked.stores or KEYS & set(asked.headers)):
        found.add(507)
    if has_body:
        found |= {400, 408, 413, 415}
    # A PUT creates what the last part of its address names; only the parts before that may be missing.
    if variables > (1 if method == "put" else 0):
        found.add(404)
    if CONDITIONS & set(asked.headers):
        found.add(412)
    if KEYS & set(asked.headers):
        found |= {400, 409}
    return found


class Converter(OpenAPIConverter):
    """Schemas described by the first line of their docstrings, with shared parts."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._shared_as: dict[str, dict[str, Any]] = {}

    def schema2parameters(self, schema: Any, *, location: str, **options: Any) -> list[Any]:
        """The parameters; common ones refer to shared parts."""
        found = super().schema2parameters(schema, location=location, **options)
        return [self._shared(each) if each["name"] in _SHARED_QUERIES else each for each in found]

    def _shared(self, parameter: dict[str, Any]) -> Any:
        """The name of the shared part, or the parameter itself if its description differs."""
        name = "".join(word.capitalize() for word in parameter["name"].split("_"))
        told = {key: value for key, value in parameter.items() if key != "in"}
        shared = self._shared_as.setdefault(name, told)
        if shared is told:
            self.spec.components.parameter(name, parameter["in"], dict(told), lazy=True)
        return name if shared == told else parameter

    def field2property(self, field: ma.fields.Field[Any]) -> dict[str, Any]:
        """The field's JSON schema; common forms of text refer to shared parts."""
        told: dict[str, Any] = super().field2property(field)
        if isinstance(field, ma.fields.List) and (listed := self._shared_list(field, told)) is not None:
            return listed
        for name, form in fields.SHARED_FORMS.items():
            if {key: told.get(key) for key in _FORM} == {key: form.get(key) for key in _FORM}:
                if name not in self.spec.components.schemas:
                    self.spec.components.schema(name, {"description": "A form of text that many members have.", **form})
                reference = {"$ref": f"#/components/schemas/{name}"}
                return {**reference, **{key: value for key, value in told.items() if key not in _FORM}}
        return told

    def _shared_list(self, field: ma.fields.Field[Any], told: dict[str, Any]) -> dict[str, Any] | None:
        """A list that many answers have, by its name among the shared parts; None if it is another."""
        item = told["items"].get("$ref", "").rpartition("/")[2]
        name, description = _OF_PUT if field.dump_only else _SHARED_LISTS.get(item, ("", ""))
        if not name:
            return None
        if name not in self.spec.components.schemas:
            read_only = {"readOnly": True} if field.dump_only else {}
            form = {"type": "array", "description": description, "items": told["items"], **read_only}
            self.spec.components.schema(name, form)
        own = {"description": told["description"]} if "description" in told else {}
        return {"$ref": f"#/components/schemas/{name}", **own}

    def schema2jsonschema(self, schema: Any) -> dict[str, Any]:
        """The JSON schema, described."""
        found: dict[str, Any] = super().schema2jsonschema(schema)  # type: ignore[no-untyped-call]
        return {"description": (schema.__doc__ or "").partition("\n")[0], **found}


class Rules(FlaskPlugin):
    """Paths of the contract; `Blueprint.add_url_rule` documents their variable parts."""

    def path_helper(self, rule: Any, **_: Any) -> str:
        """The path in OpenAPI's notation."""
        return str(self.flaskpath2openapi(rule.rule))


class Plugin(MarshmallowPlugin):
    """apispec's plugin for marshmallow, with descriptions."""

    Converter = Converter


class Api(flask_smorest.Api):
    """The contract, with problem documents for errors.

    It describes the operations when somebody first asks for it, which takes longer than everything else at the start.
    """

    ERROR_SCHEMA = ProblemSchema
    DEFAULT_ERROR_RESPONSE_NAME = None  # every operation lists its own, as problem documents

    def __init__(self, app: Flask, **options: Any) -> None:
        self._undescribed: list[Blueprint] = []
        self._tags: set[str] = set()
        self._describing = RLock()
        super().__init__(app, **options)

    @property
    def spec(self) -> Any:
        """The OpenAPI document."""
        with self._describing:
            while self._undescribed:
                blueprint = self._undescribed.pop(0)
                blueprint.register_views_in_doc(self, self._app, self._spec, name=blueprint.name, parameters=None)
                if blueprint.tag not in self._tags:
                    self._tags.add(blueprint.tag)
                    self._spec.tag({"name": blueprint.tag, "description": blueprint.description})
            return self._spec

    @spec.setter
    def spec(self, document: Any) -> None:
        self._spec = document

    def document(self, *, with_answers: bool = True) -> dict[str, Any]:
        """The finished contract."""
        return finished(self.spec.to_dict(), with_answers=with_answers)

    def register_blueprint(self, blp: Blueprint, **options: Any) -> None:
        """Register the views of a blueprint, to be described later."""
        self._app.register_blueprint(blp, **options)
        self._undescribed.append(blp)

    def _register_responses(self) -> None:
        """Register our shared parts in place of flask-smorest's."""
        shared_parts.register(self.spec)

    def _register_error_handlers(self) -> None:
        """Does nothing: service.api.http.errors handles errors."""

    def init_app(self, app: Flask, **kwargs: Any) -> None:
        """Register the types of fields before any schema is read."""
        super().init_app(app, **kwargs)
        for field, (kind, form) in fields.TYPES.items():
            self.register_field(field, kind, form)
        self.ma_plugin.converter.add_attribute_function(fields.properties)
        # Parts of flask-smorest's own paging and errors, which this service does not use.
        self.spec.components.schemas.pop("PaginationMetadata", None)
        self.spec.components.schema("Problem", schema=ProblemSchema)
        self.spec.components.security_scheme(
            "key",
            {
                "type": "http",
                "scheme": "bearer",
                "description": "A key of the workshop. A browser may send it as the password of Basic authentication "
                "(RFC 7617) with any user name; it then only reads.",
            },
        )
