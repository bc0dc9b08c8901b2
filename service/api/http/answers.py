"""Answers: exact JSON, entity tags, and content negotiation."""

from collections.abc import Callable, Mapping
from http import HTTPStatus
from pathlib import Path
from typing import Any

import flask
from werkzeug.datastructures import MIMEAccept

from service.api.http.auth import workshop
from service.api.http.forms import JSON, PDF
from service.api.http.operations import Request, current
from service.api.http.problems import ProblemError
from service.documents.writing.typesetting import paper_locale
from service.encoding import encoded, to_bytes
from service.workflows.entity_tags import content_tag, revision_tag


def negotiate(request: Request) -> None:
    """Choose the media type of the answer, before anything is done (RFC 9110, 12.5.1); raises a problem 406."""
    offered = _offered(request)
    request.is_negotiated, request.media_type = len(offered) > 1, offered[0]
    accept = request.headers.get("Accept")
    if not accept or accept == "*/*" or not request.is_of_workshop:
        return
    # Parameters of a media type are not negotiated: a request for text/csv; charset=utf-8 gets text/csv.
    wanted = MIMEAccept([(each.partition(";")[0].strip(), quality) for each, quality in request.accept_mimetypes])
    chosen = wanted.best_match(offered)
    if chosen is None:
        raise ProblemError(406, "not-acceptable", f"this resource is offered as {', '.join(offered)}")
    request.media_type = chosen


def _offered(request: Request) -> tuple[str, ...]:
    return request.operation.forms if request.operation else (JSON,)


def fonts() -> Path | None:
    """The directory of further fonts for documents, if one is configured."""
    found: Path | None = flask.current_app.extensions["pugmill.fonts"]
    return found


def locale_for(media_type: str, locale: str) -> str:
    """The locale of a document: on paper, one that knows which characters its fonts have."""
    return paper_locale(locale, fonts()) if media_type == PDF else locale


def dumped(data: Any) -> bytes:
    """Plain data as UTF-8 JSON, with a line break."""
    return to_bytes(data) + b"\n"


def data_answer(data: Any, status: int = 200, headers: Mapping[str, str] | None = None) -> flask.Response:
    """A response with plain data as JSON."""
    return flask.Response(dumped(data), status, headers, content_type=JSON)


def tagged(tag: str, make: Callable[[], flask.Response]) -> flask.Response:
    """The response that `make` returns, with an entity tag; to a read 304 instead, if the client has this state.

    Raises a problem 412 if a read's If-Match does not contain the tag.
    """
    if current().is_read:
        if not is_expected(tag):
            raise ProblemError(
                412, "precondition-failed", "it has changed since you read it; If-Match names another state"
            )
        if _is_known(tag):
            return _unchanged(tag)
    response = make()
    response.set_etag(tag)
    return response


def _unchanged(tag: str) -> flask.Response:
    response = flask.Response(status=304)
    del response.headers["Content-Type"]
    response.set_etag(tag)
    return response


def answer(
    value: Any, status: int = 200, *, revision: int | None = None, headers: Mapping[str, str] | None = None
) -> flask.Response:
    """A domain value as JSON, with the row's revision as its entity tag."""

    def make() -> flask.Response:
        return data_answer(encoded(value), status, headers)

    return make() if revision is None else tagged(revision_tag(workshop(), revision), make)


def nothing() -> flask.Response:
    """A 204 response."""
    response = flask.Response(status=204)
    del response.headers["Content-Type"]
    return response


def is_expected(tag: str | None) -> bool:
    """Whether the request's If-Match, if it has one, admits this tag; None means that there is no state."""
    request = current()
    if "HTTP_IF_MATCH" not in request.environ:
        return True
    if_match = request.if_match
    return tag is not None and (if_match.star_tag or if_match.contains(tag))


def _is_known(tag: str | None) -> bool:
    """Whether the request's If-None-Match names this tag."""
    request = current()
    if tag is None or "HTTP_IF_NONE_MATCH" not in request.environ:
        return False
    if_none_match = request.if_none_match
    return if_none_match.star_tag or if_none_match.contains_weak(tag)


def may_be_put(tag: str | None) -> bool:
    """Whether If-Match and If-None-Match admit a change of the state with this tag (RFC 9110, 13.1)."""
    return is_expected(tag) and not _is_known(tag)


def settle_condition(request: Request, response: flask.Response) -> flask.Response:
    """Give a read without an entity tag one of its bytes, and answer 304 if the client has them."""
    is_read = request.is_read and request.is_of_workshop
    if not is_read or response.status_code != HTTPStatus.OK or "ETag" in response.headers or response.is_streamed:
        return response
    try:
        return tagged(content_tag(response.get_data()), lambda: response)
    except ProblemError as problem:
        return problem.response()
