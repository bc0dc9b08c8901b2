"""Structured logs: one JSON object a line, with the request's id, and never a key."""

import json
import logging
import re
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from contextvars import ContextVar
from datetime import UTC, datetime

import flask
from uuid_utils import uuid4

from service import clock
from service.api.http.operations import Request

_REQUEST_ID: ContextVar[str | None] = ContextVar("request_id", default=None)
_ACCEPTABLE = re.compile(r"[A-Za-z0-9._-]{1,128}")
_KEY = re.compile(r"pugmill_[0-9a-f]{32}_[A-Za-z0-9_-]+")
_FACTS = ("fault",)
_logger = logging.getLogger("pugmill.requests")


class JsonFormatter(logging.Formatter):
    """Formats a record as one JSON object."""

    def format(self, record: logging.LogRecord) -> str:
        """Time, level, logger, message, request id and facts of the record."""
        facts = {name: getattr(record, name) for name in _FACTS if hasattr(record, name)}
        if record.exc_info:
            facts["exception"] = self.formatException(record.exc_info)
        at = datetime.fromtimestamp(record.created, UTC)
        return _line(at, record.levelname.lower(), record.name, record.getMessage(), facts)


def _line(at: datetime, level: str, logger: str, message: str, facts: Mapping[str, object]) -> str:
    entry = {"at": at.isoformat(timespec="milliseconds"), "level": level, "logger": logger, "message": message}
    if request_id := _REQUEST_ID.get():
        entry["request_id"] = request_id
    # In ASCII, because a path may hold surrogates. Keys are masked, because a client may put one into a path.
    return _KEY.sub("pugmill_(key)", json.dumps({**entry, **facts}))


_handler = logging.StreamHandler(sys.stderr)
_handler.setFormatter(JsonFormatter())


def configure(level: str) -> None:
    """Send all logs to standard error as JSON lines."""
    _handler.setStream(sys.stderr)
    root = logging.getLogger()
    root.handlers[:] = [_handler]
    root.setLevel(level)
    logging.getLogger("alembic").setLevel(logging.WARNING)
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # it warns whenever a request waits for a thread


def begin(request: Request) -> None:
    """Give the request an id: the client's if it is well-formed, else a new one."""
    sent = request.headers.get("X-Request-Id", "")
    request.request_id = sent if _ACCEPTABLE.fullmatch(sent) else uuid4().hex
    _REQUEST_ID.set(request.request_id)


def end(request: Request, response: flask.Response) -> flask.Response:
    """Log the request, and return its id to the client."""
    response.headers.add("X-Request-Id", request.request_id)
    if _logger.isEnabledFor(logging.INFO):
        facts: dict[str, object] = {
            "method": request.method,
            "path": request.path[:200],
            "status": response.status_code,
            "milliseconds": round((time.perf_counter() - request.begun) * 1000, 1),
        }
        if (access := request.access) is not None:
            facts |= {"workshop_id": str(access.workshop.workshop_id), "key_id": str(access.key_id)}
        # Not through the framework, whose way costs more than the line itself.
        with suppress(OSError):  # a full disk must not spoil an answer
            _handler.stream.write(f"{_line(clock.now(), 'info', _logger.name, 'answered', facts)}\n")
    return response
