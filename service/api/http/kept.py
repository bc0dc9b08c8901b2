"""Answers kept as bytes: a sheet follows from the workshop's revision, the question and the day alone."""

from collections.abc import Callable
from functools import wraps
from importlib.metadata import version
from typing import Any

import flask

from service.api.http.answers import revision_tag, unchanged
from service.api.http.auth import access
from service.memory import MemoryOfStates
from service.store.workshop.workshops import Workshop

MAX_BYTES = 32 * 1024 * 1024
_VERSION = version("pugmill")  # another version may show the same state otherwise

Answers = MemoryOfStates[bytes]
"""Answers by workshop, revision, state, address and media type."""


def state_of(workshop: Workshop) -> str:
    """All that an answer about a workshop's facts and rates follows from besides its address and media type."""
    return f"{_VERSION}-{revision_tag(workshop.revision)}-{workshop.today()}"


def tag_of(workshop: Workshop) -> str:
    """The state as the entity tag of an answer in the media type settled on: each form has a tag of its own."""
    return f"{state_of(workshop)}-{flask.g.media_type.rpartition('/')[2]}"


def tagged(response: flask.Response) -> flask.Response:
    """The answer under the tag of its state and form, or 304 if the client has it.

    Raises:
        ProblemError: 412, the client's If-Match has not the tag.
    """
    tag = tag_of(access().workshop)
    if same := unchanged(tag):
        return same
    response.set_etag(tag)
    return response


def kept(view: Callable[..., flask.Response]) -> Callable[..., flask.Response]:
    """Answer from memory, before anything is parsed, if nothing of the workshop's has changed since.

    For reads that follow from the address, the media type, the workshop's facts and rates, and today. The workshop's
    revision was read with the key, before anything else: what is computed now is never older than it.
    """

    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> flask.Response:
        workshop = access().workshop
        request = flask.request
        memory: Answers = flask.current_app.extensions["pugmill.answers"]
        key = (workshop.workshop_id, workshop.revision, tag_of(workshop), request.path, request.query_string)
        body = memory.find(key)
        if body is None:
            response = view(*args, **kwargs)
            memory.keep(key, response.get_data())
        else:
            response = flask.Response(body, content_type=flask.g.media_type)
        return tagged(response)

    return answer
