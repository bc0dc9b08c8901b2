"""Answers remembered as bytes: a sheet depends only on the workshop's revision, the request and the day."""

from collections.abc import Callable
from functools import wraps
from importlib.metadata import version
from typing import Any

import flask

from service.api.http.answers import tagged
from service.api.http.auth import access
from service.api.http.operations import current
from service.memory import MemoryOfStates
from service.store.workshop.workshops import Workshop
from service.workflows.entity_tags import revision_tag, tag

MAX_BYTES = 32 * 1024 * 1024
_VERSION = version("pugmill")  # another version may show the same state differently

Answers = MemoryOfStates[bytes]
"""Answers by workshop, revision, state, address and media type."""


def state_tag(workshop: Workshop) -> str:
    """The tag of everything but the address that an answer about facts and rates depends on."""
    form = current().media_type.rpartition("/")[2]  # each media type has its own tag
    return tag(_VERSION, revision_tag(workshop, workshop.revision), workshop.today(), form)


def remembered(view: Callable[..., flask.Response]) -> Callable[..., flask.Response]:
    """Decorates a view: answers from memory, before anything is parsed, if the workshop has not changed since.

    For reads that depend only on the address, the media type, the workshop's facts and rates, and today. The
    revision was read with the key, before anything else, so a computed answer is never older than its revision.
    """

    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> flask.Response:
        workshop, request = access().workshop, current()
        memory: Answers = request.extensions["pugmill.answers"]
        state = state_tag(workshop)
        key = (workshop.workshop_id, workshop.revision, state, request.path, request.query_string)
        body = memory.find(key)
        if body is None:
            response = view(*args, **kwargs)
            memory.keep(key, response.get_data())
        else:
            response = flask.Response(body, content_type=request.media_type)
        return tagged(state, lambda: response)

    return answer
