"""Shared parts of the contract: refusals, headers, variable parts of addresses."""

from copy import deepcopy
from typing import Any

from apispec import APISpec

from service.api.contract.addresses import PARTS
from service.api.http import rate_limit
from service.api.http.problems import MEDIA_TYPE
from service.api.http.retries import idempotency_key

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
RATE_LIMIT = {name: name for name in rate_limit.HEADERS}
_HEADERS: dict[str, dict[str, Any]] = {
    "ETag": {"description": "The entity tag of this state.", "schema": _TEXT},
    "Location": {"description": "Its address.", "schema": _TEXT},
    "Link": {"description": 'The next page, rel="next" (RFC 8288).', "schema": _TEXT},
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
UNCHANGED, TOO_MANY = 304, 429
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
        if status == TOO_MANY:
            told["headers"] = {"Retry-After": "Retry-After", **RATE_LIMIT}
        spec.components.response(name, told, lazy=True)
