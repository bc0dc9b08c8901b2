"""Answers kept as bytes: a sheet follows from the workshop's revision, the question and the day alone."""

from collections import OrderedDict
from collections.abc import Callable
from functools import wraps
from threading import Lock
from typing import Any

import flask

from service.api.answers import JSON, unchanged
from service.api.auth import access

MAX_BYTES = 32 * 1024 * 1024


class KeptAnswers:
    """The answers last used, at most so many bytes of them. Safe in threads."""

    def __init__(self, max_bytes: int = MAX_BYTES) -> None:
        self._max_bytes, self._bytes = max_bytes, 0
        self._answers: OrderedDict[tuple[Any, ...], bytes] = OrderedDict()
        self._lock = Lock()

    def get(self, key: tuple[Any, ...]) -> bytes | None:
        """The answer, if it is kept."""
        with self._lock:
            found = self._answers.get(key)
            if found is not None:
                self._answers.move_to_end(key)
            return found

    def put(self, key: tuple[Any, ...], body: bytes) -> None:
        """Keep the answer, and let go of those least lately used."""
        with self._lock:
            self._bytes += len(body) - len(self._answers.pop(key, b""))
            self._answers[key] = body
            while self._bytes > self._max_bytes:
                _, dropped = self._answers.popitem(last=False)
                self._bytes -= len(dropped)


def kept(view: Callable[..., flask.Response]) -> Callable[..., flask.Response]:
    """Answer from memory, before anything is parsed, if nothing of the workshop's has changed since.

    For reads that follow from the address, the workshop's facts and rates, and today. The workshop's revision
    was read with the key, before anything else: what is computed now is never older than it.
    """

    @wraps(view)
    def answer(*args: Any, **kwargs: Any) -> flask.Response:
        workshop = access().workshop
        request = flask.request
        memory: KeptAnswers = flask.current_app.extensions["pugmill.kept"]
        state = f"{workshop.revision}-{workshop.today()}"
        key = (workshop.workshop_id, state, request.path, request.query_string)
        body = memory.get(key)
        if body is None:
            body = view(*args, **kwargs).get_data()
            memory.put(key, body)
        if same := unchanged(state):
            return same
        response = flask.Response(body, content_type=JSON)
        response.set_etag(state)
        return response

    return answer
