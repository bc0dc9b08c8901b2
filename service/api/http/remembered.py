"""Answers remembered as bytes: a sheet follows from the workshop's revision, the question and the day alone."""

from collections.abc import Callable
from functools import wraps
from importlib.metadata import version
from typing import Any

import flask

from service.api.http.answers import tagged
from service.api.http.auth import access
from service.memory import MemoryOfStates
from service.store.workshop.workshops import Workshop
from service.workflows.entity_tags import revision_tag, tag

MAX_BYTES = 32 * 1024 * 1024
_VERSION = version("pugmill")  # another version may show the same state otherwise

Answers = MemoryOfStates[bytes]
"""Answers by workshop, revision, state, address and media type."""


def state_tag(workshop: Workshop) -> str:
    """Of all that an answer about a workshop's facts and rates follows from besides its address, in this media type."""
    form = flask.g.media_type.rpartition("/")[2]  # each has a tag of its own
    return tag(_VERSION, revision_tag(workshop, workshop.revision), workshop.today(), form)


def remembered(view: Callable[..., flask.Response]) -> Callable[..., flask.Response]:
    """Answer from memory, before anything is parsed, if nothing of the workshop's has changed since.

    For reads that follow from the address, the media type, the workshop's facts and rates, and today. The workshop's
    revision was read with the key, before anything else: what is computed now is never older than it.
    """

    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> flask.Response:
        workshop = access().workshop
        request = flask.request
        memory: Answers = flask.current_app.extensions["pugmill.answers"]
        state = state_tag(workshop)
        key = (workshop.workshop_id, workshop.revision, state, request.path, request.query_string)
        body = memory.find(key)
        if body is None:
            response = view(*args, **kwargs)
            memory.keep(key, response.get_data())
        else:
            response = flask.Response(body, content_type=flask.g.media_type)
        return tagged(state, lambda: response)

    return answer
