"""Retries that do no harm: the header Idempotency-Key (draft-ietf-httpapi-idempotency-key-header-07, 2025)."""

import hashlib
import logging
import re
from collections.abc import Callable
from typing import Any

import flask
from sqlalchemy.exc import SQLAlchemyError

from service.api.http.auth import workspace
from service.api.http.problems import ProblemError
from service.store.workshop.retries import Claim, StoredAnswer
from service.workflows.errors import StillRunningError
from service.workflows.workshop import retries
from service.workflows.workspace import Workspace

_HEADER = "Idempotency-Key"
_MAX_LENGTH = 255
_FORM = r'^"((?:[ !#-\[\]-~]|\\["\\])+)"$'
"""A String of RFC 9651 (Structured Field Values for HTTP, 2024, section 3.3.3) with something in it, for us and for the
contract."""
_KEPT_HEADERS = ("Content-Type", "Location", "ETag", "Link")
_logger = logging.getLogger("pugmill")

Make = Callable[[Workspace], flask.Response]
"""Does what a request asks for in the workspace that it is given, whose changes stand or fall with it, and answers."""
Again = Callable[[StoredAnswer], flask.Response]
"""Writes the body of an answer again, from what is on record."""


def idempotency_key(*, is_required: bool) -> dict[str, Any]:
    """The header as the contract has it."""
    needed = "" if is_required else " Needed where something is stored."
    return {
        "name": _HEADER,
        "required": is_required,
        "schema": {"type": "string", "pattern": _FORM, "maxLength": _MAX_LENGTH},
        "description": f"A key of this request's own, in quotes, such as a UUID.{needed} "
        "The same request with the same key is done once and answered alike for 24 hours.",
    }


def sent_key() -> str | None:
    """The key of the request, which is looked at wherever one may come.

    Raises:
        ProblemError: 400, it is none.
    """
    sent = flask.request.headers.get(_HEADER)
    if sent is None:
        return None
    sent = sent.strip(" \t")
    found = re.fullmatch(_FORM, sent)
    if found is None or len(sent) > _MAX_LENGTH:
        told = f"{_HEADER} must be a text in double quotes, of at most {_MAX_LENGTH} characters with them"
        raise ProblemError(400, "idempotency-key", told)
    return found[1]


def _required_key() -> str:
    key = sent_key()
    if key is None:
        told = f'send {_HEADER}: "…" with a key of this request\'s own, such as a UUID, so that it may be sent again'
        raise ProblemError(400, "idempotency-key", told)
    return key


def _fingerprint() -> str:
    """Of all that the request asks for."""
    request = flask.request
    asked = (request.method, request.full_path, flask.g.media_type, request.headers.get("If-Match", ""))
    told = "\n".join((*asked, flask.g.get("body_digest", "")))
    return hashlib.sha256(told.encode("utf-8", "surrogateescape")).hexdigest()


def once(make: Make, *, again: Again | None = None) -> flask.Response:
    """Do what the request asks for once, whatever the number of times it is sent; it must have a key.

    What is made and the answer to it are one transaction: after a crash there are both or neither.

    Args:
        again: writes an answer again that is too long to be kept; such answers are those that are streamed.

    Raises:
        ProblemError: 400, there is no key, or it is not in quotes.
        KeyUsedOtherwiseError: it came with another request before.
        StillRunningError: the first request with it is still being worked on.
    """
    return _once(_required_key(), make, again)


def once_if_keyed(make: Make) -> flask.Response:
    """The same for what may be done again without a key too."""
    key = sent_key()
    return make(workspace()) if key is None else _once(key, make, None)


def _once(key: str, make: Make, again: Again | None) -> flask.Response:
    claim = retries.claim(workspace(), key, _fingerprint())
    if claim.answer is not None:
        return _replayed(claim.answer, again)
    try:
        with workspace().until_answered() as joint:
            response = make(joint)
            retries.keep(joint, claim, _stored(response))
    except StillRunningError:
        raise
    except BaseException:
        _release(claim)
        raise
    return response


def _release(claim: Claim) -> None:
    """Leave the key free; where that cannot be, it becomes so by itself."""
    try:
        retries.release(workspace(), claim)
    except SQLAlchemyError as error:
        _logger.warning("an idempotency key could not be left free", exc_info=error)


def _stored(response: flask.Response) -> StoredAnswer:
    headers = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    body = None if response.is_streamed else response.get_data()
    return StoredAnswer(status=response.status_code, headers=headers, body=body)


def _replayed(answer: StoredAnswer, again: Again | None) -> flask.Response:
    if answer.body is None:
        assert again is not None  # what is streamed has a way to be written again
        response = again(answer)
    else:
        response = flask.Response(answer.body)
    response.status_code = answer.status
    response.headers.update(answer.headers)
    return response
