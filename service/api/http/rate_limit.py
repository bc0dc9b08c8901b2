"""The rate limit of a key: 429 (RFC 6585, section 4), and what remains, in every answer to a key.

RateLimit and RateLimit-Policy as in draft-ietf-httpapi-ratelimit-headers-10 (structured fields; an expired draft).
"""

from typing import Any

import flask

from service.api.http.operations import Request
from service.api.http.problems import ProblemError
from service.arrivals import WINDOW_SECONDS, Arrivals

_POLICY = "requests"
HEADERS: dict[str, dict[str, Any]] = {
    "RateLimit-Policy": {
        "description": "How many requests (q) this key may make within a window of w seconds; "
        "absent if the service runs without a limit.",
        "schema": {"type": "string", "examples": [f'"{_POLICY}";q=6000;w={WINDOW_SECONDS}']},
    },
    "RateLimit": {
        "description": "How many requests remain (r), and in how many seconds (t) all are available again.",
        "schema": {"type": "string", "examples": [f'"{_POLICY}";r=5999;t=1']},
    },
}
RETRY_AFTER = {"description": "Seconds after which to ask again.", "schema": {"type": "integer", "minimum": 1}}


def count(request: Request) -> None:
    """Count a request that came with a valid key; raises a problem 429 if there have been too many."""
    arrivals: Arrivals | None = request.extensions["pugmill.arrivals"]
    if arrivals is None or request.access is None:
        return
    allowance = request.allowance = arrivals.admit(request.access.key_id)
    if not allowance.is_allowed:
        seconds = allowance.retry_after_seconds
        raise ProblemError(
            429,
            "too-many-requests",
            f"this key may make {allowance.limit} requests a minute; ask again in {seconds} s",
            headers={"Retry-After": str(seconds)},
            limit=allowance.limit,
            retry_after_seconds=seconds,
        )


def tell(request: Request, response: flask.Response) -> flask.Response:
    """Add the rate-limit headers to every answer to a key."""
    allowance = request.allowance
    if allowance is not None:
        response.headers["RateLimit-Policy"] = f'"{_POLICY}";q={allowance.limit};w={WINDOW_SECONDS}'
        response.headers["RateLimit"] = f'"{_POLICY}";r={allowance.remaining};t={allowance.full_after_seconds}'
    return response
