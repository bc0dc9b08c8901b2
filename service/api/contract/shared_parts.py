"""Shared parts of the contract: refusals, headers, variable parts of addresses."""

from copy import deepcopy
from typing import Any

import marshmallow as ma
from apispec import APISpec

from service.api.contract.addresses import PARTS
from service.api.http import rate_limit
from service.api.http.problems import MEDIA_TYPE
from service.api.http.retries import idempotency_key


class FieldProblemSchema(ma.Schema):
    """A member, parameter or line that is wrong."""

    pointer = ma.fields.String(metadata={"description": "JSON pointer (RFC 6901) to the member of the body."})
    parameter = ma.fields.String(metadata={"description": "Name of the query parameter."})
    line = ma.fields.Integer(metadata={"description": "Line number in a CSV file; the header is line 1."})
    detail = ma.fields.String(required=True, metadata={"description": "What is wrong, and the remedy."})


class ProblemSchema(ma.Schema):
    """A problem document (RFC 9457). Some types have further members, such as `loop` or `missing`."""

    class Meta:
        """Further members are RFC 9457's extension members."""

        unknown = ma.INCLUDE

    type = ma.fields.String(required=True, metadata={"description": "The kind of problem."})
    title = ma.fields.String(required=True, metadata={"description": "The reason phrase of the status."})
    status = ma.fields.Integer(required=True, metadata={"description": "The HTTP status."})
    detail = ma.fields.String(required=True, metadata={"description": "What is wrong, and the remedy."})
    errors = ma.fields.List(
        ma.fields.Nested(FieldProblemSchema), metadata={"description": "Every member, parameter or line that is wrong."}
    )


IF_MATCH = "IfMatch"
IF_PREVIEWED = "IfMatchPreview"
IF_CHANGED = "IfNoneMatch"
CREATE_ONLY = "IfNoneMatchAny"
ONCE = "IdempotencyKey"
MAY_BE_REPEATED = "OptionalIdempotencyKey"
CONDITIONS = frozenset({IF_MATCH, IF_PREVIEWED, CREATE_ONLY})
KEYS = frozenset({ONCE, MAY_BE_REPEATED})

_TEXT = {"type": "string"}
_HEADER_PARAMETERS: dict[str, dict[str, Any]] = {
    IF_MATCH: {"name": "If-Match", "description": "Change it only if its entity tag is this; * means any."},
    IF_PREVIEWED: {
        "name": "If-Match",
        "description": "The entity tag of the preview: apply exactly what it showed, or nothing.",
    },
    IF_CHANGED: {"name": "If-None-Match", "description": "Answer 304 if the entity tag is still this one."},
    CREATE_ONLY: {"name": "If-None-Match", "description": "* creates, and never replaces."},
    ONCE: idempotency_key(is_required=True),
    MAY_BE_REPEATED: idempotency_key(is_required=False),
}

ETAG = {"ETag": "ETag"}
LOCATION = {"Location": "Location"}
LINK = {"Link": "Link"}
PAPERS = {"Link": "LinkToPapers"}
NAMED = {"Content-Disposition": "Content-Disposition"}
RATE_LIMIT = {name: name for name in rate_limit.HEADERS}
_HEADERS: dict[str, dict[str, Any]] = {
    "ETag": {"description": "The entity tag of this state.", "schema": {"type": "string", "examples": ['"3"']}},
    "Location": {"description": "Its address.", "schema": {"type": "string", "examples": ["/v1/tariffs/grid"]}},
    "Link": {
        "description": 'The next page, rel="next" (RFC 8288); absent on the last one.',
        "schema": {"type": "string", "examples": ['</v1/materials?limit=100&cursor=cyXOqlEw>; rel="next"']},
    },
    "LinkToPapers": {
        "description": 'The same in other forms, rel="alternate" (RFC 8288).',
        "schema": {
            "type": "string",
            "examples": ['</v1/quotations/Q000001/quotation.pdf>; rel="alternate"; type="application/pdf"'],
        },
    },
    "Content-Disposition": {
        "description": "The name under which it is kept (RFC 6266).",
        "schema": {"type": "string", "examples": ['inline; filename="Q000001.pdf"']},
    },
    "WWW-Authenticate": {
        "description": "How to authenticate (RFC 9110, 11.6.1); to a read Basic as well as Bearer.",
        "schema": {"type": "string", "examples": ['Bearer realm="pugmill"']},
    },
    "Retry-After": rate_limit.RETRY_AFTER,
    **rate_limit.HEADERS,
}

_REFUSALS = {
    304: ("Unchanged", "Its entity tag is still the one in If-None-Match."),
    400: ("BadRequest", "The body is not well-formed JSON (or CSV, for an import), or a header is malformed."),
    401: ("Unauthorized", "No key, or not a valid one."),
    403: ("Forbidden", "The key lacks the scope that this operation needs."),
    404: ("NotFound", "The workshop has nothing at this address."),
    406: ("NotAcceptable", "The Accept header admits none of the media types on offer."),
    408: ("RequestTimeout", "The body did not arrive in time; send it again."),
    409: ("Conflict", "The present state does not allow it; the detail says why."),
    412: ("PreconditionFailed", "It has changed since you read it: the precondition does not hold."),
    413: ("ContentTooLarge", "The body is too large."),
    415: ("UnsupportedMediaType", "This operation does not read the body's media type or content coding."),
    422: ("UnprocessableContent", "A member or parameter is wrong; each is named."),
    429: ("TooManyRequests", "The key has made too many requests; ask again after Retry-After."),
    502: ("BadGateway", "The feed's answer cannot be used; the last good rates stay in use."),
    503: ("ServiceUnavailable", "The database, or the feed, is busy or out of reach; try again after Retry-After."),
    504: ("GatewayTimeout", "The feed takes too long to answer; the last good rates stay in use."),
    507: ("InsufficientStorage", "The workshop would store more than it may; nothing was stored."),
}
UNCHANGED, NO_KEY = 304, 401
_CHALLENGE, _AGAIN = {"WWW-Authenticate": "WWW-Authenticate"}, {"Retry-After": "Retry-After"}
_HEADERS_OF: dict[int, dict[str, str]] = {
    304: ETAG,
    401: _CHALLENGE,
    403: _CHALLENGE,
    409: _AGAIN,
    429: _AGAIN,
    503: _AGAIN,
    504: _AGAIN,
}
"""Headers of refusals, besides those of the rate limit."""
DONE = "Done"


def refusals(*statuses: int) -> dict[int, str]:
    """The name of the shared part for each status."""
    return {status: _REFUSALS[status][0] for status in sorted(statuses)}


def register(spec: APISpec) -> None:
    """Add the shared parts to the contract, which shows those that something refers to."""
    for name, part in _HEADER_PARAMETERS.items():
        spec.components.parameter(name, "header", {"schema": dict(_TEXT), **part}, lazy=True)
    for name, address in PARTS.items():
        told = {"name": name, "required": True, "description": address.description, "schema": dict(address.schema)}
        spec.components.parameter(address.component, "path", told, lazy=True)
    for name, header in _HEADERS.items():
        spec.components.header(name, deepcopy(header), lazy=True)
    spec.components.response(
        DONE, {"description": "Done; the answer has no body.", "headers": dict(RATE_LIMIT)}, lazy=True
    )
    for status, (name, meaning) in _REFUSALS.items():
        told = {"description": meaning}
        if status != UNCHANGED:
            told["content"] = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
        told["headers"] = {**_HEADERS_OF.get(status, {}), **({} if status == NO_KEY else RATE_LIMIT)}
        spec.components.response(name, told, lazy=True)
