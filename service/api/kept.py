"""Answers kept as bytes: a sheet follows from the workshop's revision, the question and the day alone."""

from collections import OrderedDict
from collections.abc import Callable
from datetime import date
from threading import Lock
from typing import Any

import flask

from service.api.answers import dumped, unchanged
from service.encoding import encoded
from service.store.workshops import Workshop

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


def kept_answer(workshop: Workshop, as_of: date, compute: Callable[[], Any]) -> flask.Response:
    """The answer to this request, from memory if nothing of the workshop's has changed since.

    The revision was read with the key, before anything else: what is computed now is never older than it.
    """
    tag = f"{workshop.revision}-{as_of}"
    if same := unchanged(tag):
        return same
    kept: KeptAnswers = flask.current_app.extensions["pugmill.kept"]
    key = (workshop.workshop_id, workshop.revision, as_of, flask.request.path, flask.request.query_string)
    body = kept.get(key)
    if body is None:
        body = dumped(encoded(compute()))
        kept.put(key, body)
    response = flask.Response(body, content_type="application/json")
    response.set_etag(tag)
    return response
