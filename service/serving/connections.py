"""A connection to a client: a request while it arrives, its deadlines, and refusals before the application sees it."""

import re
import time
from collections.abc import Hashable, Iterable
from threading import Lock
from typing import Any
from wsgiref.types import WSGIApplication

from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.task import ErrorTask
from waitress.utilities import Error

from service.api.http.auth import WORKSHOP
from service.api.http.problems import MAX_BODY_BYTES, ProblemError, title_of

REQUEST_SECONDS = 20
"""Time for a client to send a request, from its first byte to its last."""
IDLE_SECONDS = 20
"""Time until the next request on an open connection."""
READING_SECONDS = 30
"""Time in which a client must have taken something of its answer."""
HEADER_BYTES = 32 * 1024
_KEYS_REMEMBERED = 10_000
_HOST = re.compile(r"(?:\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._~!$&'()*+;=%-]*)(?::[0-9]*)?")
"""RFC 9110, 7.2: host [ ":" port ], with the characters of RFC 3986, 3.2.2; no comma, which would join two."""


class Bodies:
    """The bytes of bodies that are not answered yet, by owner."""

    def __init__(self, most_each: int) -> None:
        self._most_each, self._held, self._lock = most_each, dict[Hashable, int](), Lock()

    def hold(self, owner: Hashable, length: int) -> bool:
        """Count further bytes; returns whether the owner is within its bound."""
        with self._lock:
            self._held[owner] = self._held.get(owner, 0) + length
            return self._held[owner] <= self._most_each

    def let_go(self, owner: Hashable, length: int) -> None:
        """Count bytes that are held no longer."""
        with self._lock:
            self._held[owner] -= length
            if not self._held[owner]:
                del self._held[owner]


class Owners:
    """Whose a request is: its workshop's, if a request with its key was answered before; else its address's."""

    def __init__(self) -> None:
        self._workshops: dict[str, Hashable] = {}

    def of(self, authorization: str, address: str) -> Hashable:
        """The owner of a request with this header and address."""
        return self._workshops.get(authorization, address)

    def learning(self, application: WSGIApplication) -> WSGIApplication:
        """The application; learns which keys are whose from the requests that it answers."""

        def answer(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
            parts = application(environ, start_response)
            if WORKSHOP in environ:
                if len(self._workshops) >= _KEYS_REMEMBERED:
                    self._workshops.clear()
                self._workshops[environ["HTTP_AUTHORIZATION"]] = environ[WORKSHOP]
            return parts

        return answer


class RefusedError(Error):
    """A request that is refused here, before the application sees it."""

    def __init__(self, problem: ProblemError) -> None:
        super().__init__(problem.detail)
        self.problem = problem


def _problem(error: Error) -> ProblemError:
    """The problem for what waitress or this module finds wrong with a request."""
    if isinstance(error, RefusedError):
        return error.problem
    told = {
        400: f"this is not HTTP as RFC 9112 has it: {error.body}",
        413: f"send at most {MAX_BODY_BYTES:,} bytes",
        431: f"send at most {HEADER_BYTES:,} bytes of address and header fields",
        501: "send the body as it is, or with Transfer-Encoding: chunked",
    }
    kind = title_of(error.code).lower().replace(" ", "-")
    return ProblemError(error.code, kind, told.get(error.code, "something went wrong on our side; the log has it"))


class Request(HTTPRequestParser):
    """A request while it arrives; its body is counted until it is answered."""

    owner: Hashable = None
    held = 0
    path = ""
    error: Error | None
    completed: bool

    def __init__(self, adj: Adjustments, server: Any, address: str) -> None:
        super().__init__(adj)
        self._server, self._address, self.begun = server, address, time.monotonic()

    def parse_header(self, header_plus: bytes) -> None:
        """Read the header; raises ParsingError for a missing, doubled or malformed Host (RFC 9112, 3.2)."""
        super().parse_header(header_plus)
        self.owner = self._server.owners.of(self.headers.get("AUTHORIZATION", ""), self._address)
        host = self.headers.get("HOST")
        if (host is None and self.version == "1.1") or (host is not None and not _HOST.fullmatch(host)):
            raise ParsingError("a request has one Host header, of the form name or name:port")

    def received(self, data: bytes) -> int:
        """Take what belongs to this request; returns its length."""
        taken: int = super().received(data)
        arrived = self.body_bytes_received - self.held
        if arrived and self.error is None:
            self.held += arrived
            if not self._server.bodies.hold(self.owner, arrived):
                told = "too many bodies of yours wait for their answers; send the next ones when you have these"
                self.refuse(ProblemError(503, "busy", told, headers={"Retry-After": "5"}))
        return taken

    def refuse(self, problem: ProblemError) -> None:
        """Answer with a problem, whatever else arrives."""
        self.error, self.completed = RefusedError(problem), True

    def close(self) -> None:
        """Forget the body, once it is answered or given up."""
        super().close()
        if self.held:
            self._server.bodies.let_go(self.owner, self.held)
            self.held = 0


class _Refusal(ErrorTask):
    """The answer to a request that the application never sees."""

    def execute(self) -> None:
        """Send a problem document, and close the connection."""
        problem = _problem(self.request.error).response()
        body = problem.get_data()
        self.status = f"{problem.status_code} {title_of(problem.status_code)}"
        self.response_headers.extend([*problem.headers.items(), ("Cache-Control", "no-store")])
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(body)


class Connection(HTTPChannel):
    """A connection with deadlines."""

    error_task_class = _Refusal
    request: Request | None
    requests: list[Request]
    total_outbufs_len: int
    close_when_flushed: bool

    def parser_class(self, adj: Adjustments) -> Request:
        """A request that begins to arrive."""
        return Request(adj, self.server, self.addr[0])

    @property
    def is_busy(self) -> bool:
        """Whether a request is arriving or being answered."""
        return bool(self.request is not None or self.requests or self.total_outbufs_len)

    def look_at_deadlines(self, now: float) -> None:
        """Give up a client that sends or reads too slowly, or asks nothing; `now` is on the wall clock."""
        quiet = now - self.last_activity
        if self.total_outbufs_len or self.close_when_flushed:
            if quiet > READING_SECONDS:
                self.handle_close()
        elif self.requests:
            pass  # being answered; the work has a time limit of its own
        elif self.request is not None and time.monotonic() - self.request.begun > REQUEST_SECONDS:
            with self.requests_lock:
                request, self.request = self.request, None
                told = f"the request did not arrive within {REQUEST_SECONDS} s; send it again, faster"
                request.refuse(ProblemError(408, "request-timeout", told))
                self.requests.append(request)
            self.server.add_task(self)
        elif self.request is None and quiet > IDLE_SECONDS:
            self.handle_close()

    def handle_close(self) -> None:
        """Close the connection, and forget the bodies that nobody waits for any more."""
        super().handle_close()
        if self.request is not None:
            self.request.close()
            self.request = None
