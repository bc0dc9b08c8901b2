"""Who is asking: a bearer key, its workshop and its scopes (RFC 6750)."""

from typing import cast

import flask

from service.api.problems import ProblemError
from service.store.database import Database
from service.store.workshops import Access, Workshop
from service.workflows.keys import open_with

READ, WRITE = "read", "write"
_MAX_KEY_LENGTH = 200
_SAFE_METHODS = frozenset({"GET", "HEAD"})
READING_ENDPOINTS = frozenset(
    {
        "products-sheets.CostSheet",
        "products-sheets.Workings",
        "shipping.ShippingEstimates",
        "month.BreakEven",
        "repricings.Repricings",
    }
)
"""Endpoints that take a POST but store nothing, or ask for the scope themselves where they do."""


def database() -> Database:
    """The application's database."""
    return cast(Database, flask.current_app.extensions["pugmill.database"])


def access() -> Access:
    """What the request's key opens."""
    return cast(Access, flask.g.access)


def workshop() -> Workshop:
    """Whose things the request is about."""
    return access().workshop


def _refuse(detail: str, error: str = "") -> ProblemError:
    challenge = 'Bearer realm="pugmill"' + (f', error="{error}"' if error else "")
    return ProblemError(401, "unauthorized", detail, headers={"WWW-Authenticate": challenge})


def authenticate() -> None:
    """Find out whose request this is, before anything under /v1 is looked at.

    Raises:
        ProblemError: 401 without a valid key, 403 if the key may not do this.
    """
    if flask.request.url_rule is None or not flask.request.path.startswith("/v1/"):
        return
    header = flask.request.headers.get("Authorization", "")
    scheme, _, key = header.partition(" ")
    if not header:
        raise _refuse("send your key in the header Authorization: Bearer …")
    if scheme.lower() != "bearer" or not key or len(key) > _MAX_KEY_LENGTH:
        raise _refuse("the Authorization header must read Bearer, a space and the key", "invalid_request")
    found = open_with(database(), key)
    if found is None:
        raise _refuse("this key is unknown or has been revoked", "invalid_token")
    reads = flask.request.method in _SAFE_METHODS or flask.request.endpoint in READING_ENDPOINTS
    flask.g.access = found
    require(READ if reads else WRITE)


def require(scope: str) -> None:
    """Make sure that the request's key has a scope.

    Raises:
        ProblemError: 403, it has not.
    """
    if scope not in access().scopes:
        challenge = f'Bearer realm="pugmill", error="insufficient_scope", scope="{scope}"'
        raise ProblemError(
            403, "forbidden", f"this key has no scope '{scope}'", headers={"WWW-Authenticate": challenge}
        )
