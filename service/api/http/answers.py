"""Answers: JSON as exact as the domain, with entity tags, and no more than the client accepts."""

import hashlib
from collections.abc import Callable, Mapping
from http import HTTPStatus
from pathlib import Path
from typing import Any

import flask
from werkzeug.datastructures import MIMEAccept

from service.api.http.auth import workshop
from service.api.http.forms import JSON, QUOTATION_FORMS
from service.api.http.operations import find_operation
from service.api.http.problems import ProblemError
from service.encoding import encoded, to_bytes

_ENOUGH_DIGITS = 12
"""Of a workshop's id, from its end, where it is random: no two workshops have the same."""


def negotiate() -> None:
    """Settle the media type of the answer before anything is done (RFC 9110, 12.5.1).

    Raises:
        ProblemError: 406, nothing offered is acceptable.
    """
    offered = _offered()
    flask.g.is_negotiated = len(offered) > 1
    accept = flask.request.headers.get("Accept")
    if not accept or accept == "*/*" or not flask.request.path.startswith("/v1/"):
        flask.g.media_type = offered[0]
        return
    # Parameters of a media type are not negotiated: who asks for text/csv; charset=utf-8 gets text/csv.
    wanted = MIMEAccept([(each.partition(";")[0].strip(), quality) for each, quality in flask.request.accept_mimetypes])
    flask.g.media_type = wanted.best_match(offered)
    if flask.g.media_type is None:
        raise ProblemError(406, "not-acceptable", f"this resource is offered as {', '.join(offered)}")


def _offered() -> tuple[str, ...]:
    form = (flask.request.view_args or {}).get("form")
    asked = find_operation()
    return (QUOTATION_FORMS[form],) if form in QUOTATION_FORMS else asked.forms if asked else (JSON,)


def fonts() -> Path | None:
    """The directory with further fonts for documents, if the workshop has set one."""
    found: Path | None = flask.current_app.extensions["pugmill.fonts"]
    return found


def dumped(data: Any) -> bytes:
    """Plain data as JSON text."""
    return to_bytes(data) + b"\n"


def data_answer(data: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> flask.Response:
    """Plain data as JSON."""
    return flask.Response(dumped(data), status, headers, content_type=JSON)


def revision_tag(revision: int) -> str:
    """A row's revision as an entity tag: of this workshop's row alone, though others have the same address."""
    return f"{workshop().workshop_id.hex[-_ENOUGH_DIGITS:]}-{revision}"


def answer(
    value: Any, status: int = 200, *, revision: int | None = None, headers: Mapping[str, str] | None = None
) -> flask.Response:
    """A domain value as JSON, with the row's revision as its entity tag."""
    if revision is not None and flask.request.method in ("GET", "HEAD") and (same := unchanged(revision_tag(revision))):
        return same
    response = data_answer(encoded(value), status, headers)
    if revision is not None:
        response.set_etag(revision_tag(revision))
    return response


def nothing() -> flask.Response:
    """204: done, and nothing to show."""
    response = flask.Response(status=204)
    del response.headers["Content-Type"]
    return response


def is_expected(tag: str | None) -> bool:
    """Whether the state with this tag is one that the request's If-Match admits; there is none where it is None."""
    if "If-Match" not in flask.request.headers:
        return True
    if_match = flask.request.if_match
    return tag is not None and (if_match.star_tag or if_match.contains(tag))


def unchanged(tag: str) -> flask.Response | None:
    """304 if a read's If-None-Match has the tag; None if the state is to be shown.

    Raises:
        ProblemError: 412, the read's If-Match has not the tag.
    """
    request = flask.request
    if not is_expected(tag):
        raise ProblemError(412, "precondition-failed", "it is not in the state that If-Match names")
    if "If-None-Match" not in request.headers or not (
        request.if_none_match.star_tag or request.if_none_match.contains_weak(tag)
    ):
        return None
    response = flask.Response(status=304)
    del response.headers["Content-Type"]
    response.set_etag(tag)
    return response


def settle_condition(response: flask.Response) -> flask.Response:
    """A read that has no entity tag of a state gets one of its bytes, and is left out where the client has them."""
    request = flask.request
    is_read = request.method in ("GET", "HEAD") and request.path.startswith("/v1/")
    if not is_read or response.status_code != HTTPStatus.OK or "ETag" in response.headers or response.is_streamed:
        return response
    tag = hashlib.sha256(response.get_data()).hexdigest()[:32]
    try:
        same = unchanged(tag)
    except ProblemError as problem:
        return problem.response()
    if same is None:
        response.set_etag(tag)
    return same or response


def precondition() -> Callable[[int | None], bool]:
    """The request's If-Match and If-None-Match as a question to the row's revision (RFC 9110, 13.1)."""
    if_none_match = flask.request.if_none_match

    def may_go_ahead(revision: int | None) -> bool:
        tag = None if revision is None else revision_tag(revision)
        return is_expected(tag) and not (
            "If-None-Match" in flask.request.headers
            and tag is not None
            and (if_none_match.star_tag or if_none_match.contains_weak(tag))
        )

    return may_go_ahead
