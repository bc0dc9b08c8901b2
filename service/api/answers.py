"""Answers: JSON as exact as the domain, with entity tags, and no more than the client accepts."""

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import flask

from service.api.problems import ProblemError
from service.encoding import encoded

JSON = "application/json"


def accepted(offered: Sequence[str] = (JSON,)) -> str:
    """The media type to answer with, the first where the client does not mind.

    Raises:
        ProblemError: 406, none of them is acceptable.
    """
    accept = flask.request.headers.get("Accept")
    if accept is None or accept == "*/*":
        return offered[0]
    best = flask.request.accept_mimetypes.best_match(offered)
    if best is None:
        raise ProblemError(406, "not-acceptable", f"this resource is offered as {', '.join(offered)}")
    return best


def dumped(data: Any) -> bytes:
    """Plain data as JSON text."""
    return (json.dumps(data, ensure_ascii=False, separators=(",", ":")) + "\n").encode()


def answer(
    value: Any, status: int = 200, *, revision: int | None = None, headers: Mapping[str, str] | None = None
) -> flask.Response:
    """A domain value as JSON, with the row's revision as its entity tag."""
    accepted()
    response = flask.Response(dumped(encoded(value)), status, headers, content_type=JSON)
    if revision is not None:
        response.set_etag(str(revision))
        if flask.request.method in ("GET", "HEAD"):
            response.make_conditional(flask.request)
    return response


def precondition() -> Callable[[int | None], bool]:
    """The request's If-Match and If-None-Match as a question to the row's revision (RFC 9110, 13.1)."""
    if_match, if_none_match = flask.request.if_match, flask.request.if_none_match

    def may_go_ahead(revision: int | None) -> bool:
        tag = None if revision is None else str(revision)
        if "If-Match" in flask.request.headers and not (
            tag is not None and (if_match.star_tag or if_match.contains(tag))
        ):
            return False
        return not (
            "If-None-Match" in flask.request.headers
            and tag is not None
            and (if_none_match.star_tag or if_none_match.contains_weak(tag))
        )

    return may_go_ahead
