"""What many operations have in common, once in the contract: refusals, headers, variable parts of addresses."""

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
    IF_MATCH: {"name": "If-Match", "description": "Change only the state with this entity tag, or any with *."},
    IF_PREVIEWED: {
        "name": "If-Match",
        "description": "The entity tag of the preview: apply just what it showed, or nothing.",
    },
    IF_CHANGED: {"name": "If-None-Match", "description": "Answer 304 if the entity tag is still this."},
    CREATE_ONLY: {"name": "If-None-Match", "description": "* creates only."},
    ONCE: idempotency_key(is_required=True),
    MAY_BE_REPEATED: idempotency_key(is_required=False),
}

ETAG = {"ETag": "ETag"}
LOCATION = {"Location": "Location"}
LINK = {"Link": "Link"}
RATE_LIMIT = {name: name for name in rate_limit.HEADERS}
_HEADERS: dict[str, dict[str, Any]] = {
    "ETag": {"description": "The entity tag of this state.", "schema": _TEXT},
    "Location": {"description": "Where it is.", "schema": _TEXT},
    "Link": {"description": 'The next page, rel="next" (RFC 8288).', "schema": _TEXT},
    "Retry-After": rate_limit.RETRY_AFTER,
    **rate_limit.HEADERS,
}

_REFUSALS = {
    304: ("Unchanged", "It is still in the state that If-None-Match names."),
    400: ("BadRequest", "The body is not JSON (or CSV, where that is read) that this service reads."),
    401: ("Unauthorized", "No key, or not a valid one."),
    403: ("Forbidden", "The key has not the scope this needs."),
    404: ("NotFound", "Nothing of the workshop's has this address."),
    406: ("NotAcceptable", "Nothing that the Accept header admits."),
    408: ("RequestTimeout", "The body did not come in time; send it again."),
    409: ("Conflict", "What is registered stands against it."),
    412: ("PreconditionFailed", "It has changed since the state that the precondition names was read."),
    413: ("ContentTooLarge", "The body is too large."),
    415: ("UnsupportedMediaType", "The body is not of the media type that this operation reads."),
    422: ("UnprocessableContent", "A member or parameter is wrong; each is named."),
    429: ("TooManyRequests", "The key has made too many requests; ask again after Retry-After."),
    502: ("BadGateway", "The feed answers what cannot be used; the last good rates stand."),
    503: ("ServiceUnavailable", "The database, or the feed, is busy or out of reach; try again after Retry-After."),
    504: ("GatewayTimeout", "The feed takes too long to answer; the last good rates stand."),
}
UNCHANGED, TOO_MANY = 304, 429
DONE = "Done"


def refusals(*statuses: int) -> dict[int, str]:
    """The shared part for each status."""
    return {status: _REFUSALS[status][0] for status in sorted(statuses)}


def register(spec: APISpec) -> None:
    """Add the shared parts to the contract; each appears in it once something refers to it."""
    for name, part in _HEADER_PARAMETERS.items():
        spec.components.parameter(name, "header", {"schema": dict(_TEXT), **part}, lazy=True)
    for name, address in PARTS.items():
        told = {"name": name, "required": True, "description": address.description, "schema": dict(address.schema)}
        spec.components.parameter(address.component, "path", told, lazy=True)
    for name, header in _HEADERS.items():
        spec.components.header(name, deepcopy(header), lazy=True)
    spec.components.response(
        DONE, {"description": "Done; there is nothing to show.", "headers": dict(RATE_LIMIT)}, lazy=True
    )
    for status, (name, meaning) in _REFUSALS.items():
        told = {"description": meaning}
        if status != UNCHANGED:
            told["content"] = {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}}
        if status == TOO_MANY:
            told["headers"] = {"Retry-After": "Retry-After", **RATE_LIMIT}
        spec.components.response(name, told, lazy=True)
