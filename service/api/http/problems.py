"""Problem documents (RFC 9457)."""

import json
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

import flask

from service.store.engine.database_faults import DatabaseFault

MEDIA_TYPE = "application/problem+json"
_TYPES = "tag:pugmill.example,2026:problem/"

# Where RFC 9110 renamed a status, the standard library may lag behind.
_TITLES = {413: "Content Too Large", 414: "URI Too Long", 422: "Unprocessable Content"}


def title_of(status: int) -> str:
    """The status's reason phrase, by RFC 9110."""
    return _TITLES.get(status) or HTTPStatus(status).phrase


class ProblemError(Exception):
    """A refusal that can be answered as a problem document.

    Attributes:
        detail: what is wrong and how to mend it.
        members: further facts, `errors` among them.
        headers: headers of the answer; a list makes one line of each text.
    """

    def __init__(
        self,
        status: int,
        kind: str,
        detail: str,
        *,
        headers: Mapping[str, str | list[str]] | None = None,
        **members: Any,
    ) -> None:
        super().__init__(detail)
        self.status, self.kind, self.detail = status, kind, detail
        self.members, self.headers = members, dict(headers or {})

    @classmethod
    def of_errors(cls, errors: Sequence[Mapping[str, Any]]) -> "ProblemError":
        """422, naming each member, parameter or line that is wrong."""
        shown = list(errors)[:MAX_ERRORS]
        named = "; ".join(f"{_place(error)}: {error['detail']}" for error in shown[:_NAMED])
        more = f"; and {len(errors) - _NAMED} more" if len(errors) > _NAMED else ""
        return cls(422, "invalid-request", named + more, errors=shown)

    def response(self) -> flask.Response:
        """The problem document."""
        document = {
            "type": _TYPES + self.kind,
            "title": title_of(self.status),
            "status": self.status,
            "detail": self.detail,
            **self.members,
        }
        body = json.dumps(document, ensure_ascii=False) + "\n"
        return flask.Response(
            body.encode("utf-8", "backslashreplace"), self.status, self.headers, content_type=MEDIA_TYPE
        )


MAX_BODY_BYTES = 1024 * 1024
MAX_ERRORS = 50
"""Most errors that a problem lists."""
_NAMED = 3


def error_at(location: str, path: tuple[str, ...], detail: str) -> dict[str, str]:
    """One error, by JSON pointer (RFC 6901) in a body and by name in a query string."""
    if location == "query":
        return {"parameter": "/".join(path)[:200], "detail": detail}
    pointer = "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in path)
    return {"pointer": pointer[:500], "detail": detail}


def _place(error: Mapping[str, Any]) -> str:
    if "line" in error:
        return f"line {error['line']}"
    return str(error.get("pointer") or error.get("parameter") or "the body")


def unable(fault: DatabaseFault) -> ProblemError:
    """The problem for a fault of the database, with Retry-After."""
    return ProblemError(503, fault.kind, fault.detail, headers={"Retry-After": str(fault.retry_after_seconds)})
