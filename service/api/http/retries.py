"""Safe retries by the header Idempotency-Key (draft-ietf-httpapi-idempotency-key-header-07, 2025)."""

import hashlib
import logging
import re
from collections.abc import Callable
from typing import Any

import flask
from sqlalchemy.exc import SQLAlchemyError

from service.api.http.auth import workspace
from service.api.http.operations import current
from service.api.http.problems import ProblemError
from service.store.workshop.retries import Claim, StoredAnswer
from service.workflows.errors import StillRunningError
from service.workflows.workshop import retries
from service.workflows.workspace import Workspace

_HEADER = "Idempotency-Key"
_MAX_LENGTH = 255
_FORM = r'^"((?:[ !#-\[\]-~]|\\["\\])+)"$'
"""A non-empty String of RFC 9651 (Structured Field Values for HTTP, 2024, section 3.3.3); in the contract too."""
_KEPT_HEADERS = ("Content-Type", "Location", "ETag", "Link")
_logger = logging.getLogger("pugmill")

Make = Callable[[Workspace], flask.Response]
"""Does what a request asks for within the transaction of the given workspace, and returns the answer."""
Again = Callable[[StoredAnswer], flask.Response]
"""Writes a streamed answer again from the record."""


def idempotency_key(*, is_required: bool) -> dict[str, Any]:
    """The header in the contract."""
    needed = "" if is_required else " Required if something is stored."
    return {
        "name": _HEADER,
        "required": is_required,
        "schema": {"type": "string", "pattern": _FORM, "maxLength": _MAX_LENGTH},
        "description": f"A unique key for this request, in quotes, such as a UUID.{needed} "
        "For 24 hours, the same request with the same key is done only once and gets the same answer.",
    }


def sent_key() -> str | None:
    """The idempotency key of the request, or None; raises a problem 400 if it is malformed."""
    sent = flask.request.headers.get(_HEADER)
    if sent is None:
        return None
    sent = sent.strip(" \t")
    found = re.fullmatch(_FORM, sent)
    if found is None or len(sent) > _MAX_LENGTH:
        told = f"{_HEADER} must be in double quotes, and have at most {_MAX_LENGTH} characters including them"
        raise ProblemError(400, "idempotency-key", told)
    return found[1]


def _required_key() -> str:
    key = sent_key()
    if key is None:
        told = f'send {_HEADER}: "…" with a unique key, such as a UUID, so that this request can be repeated safely'
        raise ProblemError(400, "idempotency-key", told)
    return key


def _fingerprint() -> str:
    """A digest of everything that determines the request."""
    request = current()
    asked = (request.method, request.full_path, request.media_type, request.headers.get("If-Match", ""))
    told = "\n".join((*asked, request.body_digest))
    return hashlib.sha256(told.encode("utf-8", "surrogateescape")).hexdigest()


def once(make: Make, *, again: Again | None = None) -> flask.Response:
    """Do what the request asks for only once, however often it is sent; it must have a key.

    The changes and the stored answer are one transaction: after a crash there are both or neither.

    Args:
        again: writes a streamed answer again, which is too long to be stored.

    Raises:
        ProblemError: 400 if there is no key, or it is malformed.
        KeyUsedOtherwiseError: if another request had this key.
        StillRunningError: if the first request with this key is still being worked on.
    """
    return _once(_required_key(), make, again)


def once_if_keyed(make: Make) -> flask.Response:
    """Like `once`, but a request without a key is simply done."""
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
    """Free the key; if that fails, the claim expires by itself."""
    try:
        retries.release(workspace(), claim)
    except SQLAlchemyError as error:
        _logger.warning("an idempotency key could not be freed", exc_info=error)


def _stored(response: flask.Response) -> StoredAnswer:
    headers = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    body = None if response.is_streamed else response.get_data()
    return StoredAnswer(status=response.status_code, headers=headers, body=body)


def _replayed(answer: StoredAnswer, again: Again | None) -> flask.Response:
    if answer.body is None:
        assert again is not None  # every streamed answer has one
        response = again(answer)
    else:
        response = flask.Response(answer.body)
    response.status_code = answer.status
    response.headers.update(answer.headers)
    return response
