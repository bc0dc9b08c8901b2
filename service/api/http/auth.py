"""Who is asking: a key, its workshop and its scopes; as bearer (RFC 6750), or to read as Basic (RFC 7617)."""

import base64
from typing import cast

import flask

from service.api.http.operations import find_operation
from service.api.http.problems import ProblemError
from service.store.engine.database import Database
from service.store.workshop.workshops import Access, Workshop
from service.workflows.workshop.keys import open_with
from service.workflows.workspace import Workspace

READ, WRITE = "read", "write"
_MAX_KEY_LENGTH = 200
SAFE_METHODS = frozenset({"GET", "HEAD"})


def database() -> Database:
    """The application's database."""
    return cast(Database, flask.current_app.extensions["pugmill.database"])


def access() -> Access:
    """What the request's key opens."""
    return cast(Access, flask.g.access)


def workspace() -> Workspace:
    """Who is asking, and whose things the request is about; made once for a request."""
    return cast(Workspace, flask.g.workspace)


def workshop() -> Workshop:
    """Whose things the request is about."""
    return access().workshop


def _refuse(detail: str, error: str = "") -> ProblemError:
    challenges = ['Bearer realm="pugmill"' + (f', error="{error}"' if error else "")]
    if flask.request.method in SAFE_METHODS:
        # A browser then asks its user for the key. A line of its own: of several in one, Chromium reads the first.
        challenges.append('Basic realm="pugmill", charset="UTF-8"')
    return ProblemError(401, "unauthorized", detail, headers={"WWW-Authenticate": challenges})


def _password(credentials: str) -> str:
    """The password in the credentials of Basic; empty where there is none."""
    try:
        return base64.b64decode(credentials, validate=True).decode().partition(":")[2]
    except ValueError:  # no base64, no ASCII, or no UTF-8
        return ""


def _key(header: str) -> str:
    """The key in an Authorization header: the bearer's, or the password of whoever reads in a browser.

    A browser sends what it was given for a page along with whatever a foreign page makes it ask for. As Basic a key
    therefore only reads: nobody but the browser's user sees the answer, and nothing is changed.

    Raises:
        ProblemError: 401, there is none in it.
    """
    scheme, _, told = header.partition(" ")
    if scheme.lower() == "basic" and flask.request.method in SAFE_METHODS:
        told = _password(told)
    elif scheme.lower() != "bearer":
        told = ""
    if not told or len(told) > _MAX_KEY_LENGTH:
        raise _refuse("the Authorization header must read Bearer, a space and the key", "invalid_request")
    return told


def authenticate() -> None:
    """Find out whose request this is, before anything under /v1 is looked at.

    Raises:
        ProblemError: 401 without a valid key.
    """
    if flask.request.url_rule is None or not flask.request.path.startswith("/v1/"):
        return
    header = flask.request.headers.get("Authorization", "")
    if not header:
        raise _refuse("send your key in the header Authorization: Bearer …")
    found = open_with(database(), _key(header))
    if found is None:
        raise _refuse("this key is unknown or has been revoked", "invalid_token")
    flask.g.access = found
    flask.g.workspace = Workspace(database=database(), workshop=found.workshop, actor=found.actor)


def authorise() -> None:
    """Make sure that the key may do what the request is for.

    Raises:
        ProblemError: 403, it may not.
    """
    if "access" in flask.g:
        asked = find_operation()
        reads = flask.request.method in SAFE_METHODS or (asked is not None and not asked.stores)
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
