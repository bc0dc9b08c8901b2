"""Authentication by key: as bearer (RFC 6750) or, for reads, as Basic (RFC 7617)."""

import base64
from typing import cast

import flask

from service.api.http.operations import Request, current
from service.api.http.problems import ProblemError
from service.store.engine.database import Database
from service.store.workshop.workshops import Access, Workshop
from service.workflows.workshop.keys import open_with
from service.workflows.workspace import Workspace

READ, WRITE = "read", "write"
_MAX_KEY_LENGTH = 200
WORKSHOP = "pugmill.workshop"
"""Key in a request's environ for the id of the workshop whose key it has."""


def database() -> Database:
    """The application's database."""
    return cast(Database, flask.current_app.extensions["pugmill.database"])


def access() -> Access:
    """What the request's key gives access to."""
    return cast(Access, current().access)


def workspace() -> Workspace:
    """Database, workshop and actor of the request; made once for each request."""
    return cast(Workspace, current().workspace)


def workshop() -> Workshop:
    """The workshop of the request's key."""
    return access().workshop


def _refuse(detail: str, error: str = "") -> ProblemError:
    challenges = ['Bearer realm="pugmill"' + (f', error="{error}"' if error else "")]
    if current().is_read:
        # A browser then asks its user for the key. A header line of its own: Chromium reads only the first challenge
        # of a line.
        challenges.append('Basic realm="pugmill", charset="UTF-8"')
    return ProblemError(401, "unauthorized", detail, headers={"WWW-Authenticate": challenges})


def _password(credentials: str) -> str:
    """The password in Basic credentials; empty if there is none."""
    try:
        return base64.b64decode(credentials, validate=True).decode().partition(":")[2]
    except ValueError:  # no base64, no ASCII, or no UTF-8
        return ""


def _key(request: Request, header: str) -> str:
    """The key in an Authorization header: the bearer token, or the password of Basic; raises a problem 401.

    A browser adds stored Basic credentials to any request that a foreign page makes it send. A key sent as Basic
    therefore only reads: nothing is changed, and only the browser's user sees the answer.
    """
    scheme, _, told = header.partition(" ")
    told = told.lstrip(" ")  # one space or more (RFC 9110, 11.4)
    if scheme.lower() == "basic" and request.is_read:
        told = _password(told)
    elif scheme.lower() != "bearer":
        told = ""
    if not told or len(told) > _MAX_KEY_LENGTH:
        raise _refuse("the Authorization header must read Bearer, a space and the key", "invalid_request")
    return told


def authenticate(request: Request) -> None:
    """Find out whose request this is, before anything else under /v1; raises a problem 401 without a valid key."""
    if request.url_rule is None or not request.is_of_workshop:
        return
    header = request.headers.get("Authorization", "")
    if not header:
        raise _refuse("send your key in the header Authorization: Bearer …")
    opened: Database = request.extensions["pugmill.database"]
    found = open_with(opened, _key(request, header))
    if found is None:
        raise _refuse("this key is unknown or has been revoked", "invalid_token")
    request.access = found
    request.environ[WORKSHOP] = found.workshop.workshop_id
    request.workspace = Workspace(database=opened, workshop=found.workshop, actor=found.actor)


def authorise(request: Request) -> None:
    """Raises a problem 403 if the key's scopes do not allow the request."""
    if request.access is not None:
        asked = request.operation
        reads = request.is_read or (asked is not None and not asked.stores)
        _require(request.access, READ if reads else WRITE)


def require(scope: str) -> None:
    """Raises a problem 403 if the request's key does not have the scope."""
    _require(access(), scope)


def _require(found: Access, scope: str) -> None:
    if scope not in found.scopes:
        challenge = f'Bearer realm="pugmill", error="insufficient_scope", scope="{scope}"'
        raise ProblemError(
            403, "forbidden", f"this key has no scope '{scope}'", headers={"WWW-Authenticate": challenge}
        )
