"""The HTTP server of an answering process: waitress, with deadlines, fair threads, and problem documents.

waitress reads a whole request before a thread works on it, and keeps an answer, on disk if it is long, until its
reader has it.
"""

import re
import socket
import time
from collections.abc import Hashable, Iterable
from threading import Lock
from typing import Any
from wsgiref.types import WSGIApplication

from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.server import TcpWSGIServer
from waitress.task import ErrorTask, ThreadedTaskDispatcher
from waitress.utilities import Error

from service.api.http.auth import WORKSHOP
from service.api.http.problems import MAX_BODY_BYTES, ProblemError, title_of
from service.serving.fair_queue import FairQueue

THREADS = 24
"""Threads of a process, for all workshops; most of them wait for the database or for long work."""
THREADS_EACH = 4
"""Most of them at work for one workshop, or for one address as long as its keys are unknown."""
TURN_SECONDS = 30
"""Longest wait for a thread; then a request is refused."""
REQUEST_SECONDS = 20
"""Time for a client to send a request, from its first byte to its last."""
IDLE_SECONDS = 20
"""Time until the next request on an open connection."""
READING_SECONDS = 30
"""Time in which a client must have taken something of its answer."""
STOP_SECONDS = 60
"""Time to finish running requests when the service is stopped."""
MAX_CONNECTIONS = 800
"""Open connections of a process: fewer than the usual limit of 1,024 open files."""
BODY_BYTES_EACH = 32 * 1024 * 1024
"""Most bytes of bodies that are not answered yet, for one workshop or address."""
_HEADER_BYTES = 32 * 1024
_BYTES_IN_MEMORY = 64 * 1024
"""A longer body or answer is kept on disk."""
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


class _RefusedError(Error):
    """A request that is refused here, before the application sees it."""

    def __init__(self, problem: ProblemError) -> None:
        super().__init__(problem.detail)
        self.problem = problem


def _problem(error: Error) -> ProblemError:
    """The problem for what waitress or this module finds wrong with a request."""
    if isinstance(error, _RefusedError):
        return error.problem
    told = {
        400: f"this is not HTTP as RFC 9112 has it: {error.body}",
        413: f"send at most {MAX_BODY_BYTES:,} bytes",
        431: f"send at most {_HEADER_BYTES:,} bytes of address and header fields",
        501: "send the body as it is, or with Transfer-Encoding: chunked",
    }
    kind = title_of(error.code).lower().replace(" ", "-")
    return ProblemError(error.code, kind, told.get(error.code, "something went wrong on our side; the log has it"))


class _Request(HTTPRequestParser):
    """A request while it arrives; its body is counted until it is answered."""

    owner: Hashable = None
    held = 0
    path = ""
    error: Error | None
    completed: bool

    def __init__(self, adj: Adjustments, server: "Server", address: str) -> None:
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
        self.error, self.completed = _RefusedError(problem), True

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


class _Connection(HTTPChannel):
    """A connection with deadlines."""

    error_task_class = _Refusal
    request: _Request | None
    requests: list[_Request]
    total_outbufs_len: int
    close_when_flushed: bool

    def parser_class(self, adj: Adjustments) -> _Request:
        """A request that begins to arrive."""
        return _Request(adj, self.server, self.addr[0])

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


class _Turn:
    """A connection whose next request waits for a thread."""

    def __init__(self, connection: _Connection, threads: "_FairThreads") -> None:
        self._connection, self._threads = connection, threads
        self.owner, self._begun = connection.requests[0].owner, time.monotonic()

    def service(self) -> None:
        """Answer the request, in a thread of its own."""
        if time.monotonic() - self._begun > TURN_SECONDS:
            told = "there is too much to do, most of it yours; ask again in a moment"
            self._connection.requests[0].refuse(ProblemError(503, "busy", told, headers={"Retry-After": "5"}))
        try:
            self._connection.service()
        finally:
            self._threads.done(self.owner)

    def cancel(self) -> None:
        """Close the connection without an answer."""
        self._connection.cancel()


class _FairThreads(ThreadedTaskDispatcher):
    """Threads that owners get in turn."""

    def __init__(self, threads: int, each: int) -> None:
        super().__init__()
        self.queue = FairQueue[_Turn](lambda turn: turn.owner, each)
        self.set_thread_count(threads)

    def add_task(self, connection: _Connection) -> None:
        """Queue up a request."""
        super().add_task(_Turn(connection, self))

    def done(self, owner: Hashable) -> None:
        """Let the owner's next request have its turn."""
        with self.lock:
            self.queue.done(owner)
            self.queue_cv.notify()


class Server(TcpWSGIServer):
    """Answers the requests that arrive at a listening socket, until it is told to stop."""

    channel_class = _Connection

    def __init__(self, application: WSGIApplication, listening: socket.socket, watched: tuple[str, ...]) -> None:
        """Accept connections.

        Args:
            application: the WSGI application.
            listening: the socket, which other processes may listen at too.
            watched: paths that have a thread of their own, whatever else is going on.
        """
        self.bodies, self.owners = Bodies(BODY_BYTES_EACH), Owners()
        self._watched = {path: _FairThreads(1, 1) for path in watched}
        self._threads = _FairThreads(THREADS, THREADS_EACH)
        self._is_stopping = False
        listening.setblocking(False)
        super().__init__(
            self.owners.learning(application),
            _sock=listening,
            dispatcher=self._threads,
            adj=_adjustments(),
            sockinfo=(listening.family, listening.type, listening.proto, listening.getsockname()),
            bind_socket=False,
        )

    def add_task(self, connection: _Connection) -> None:
        """Queue up the first request of a connection."""
        self._watched.get(connection.requests[0].path, self._threads).add_task(connection)

    def maintenance(self, now: float) -> None:
        """Look at the deadlines of all connections; called every second."""
        for connection in tuple(self.active_channels.values()):
            connection.look_at_deadlines(now)

    def stop(self, *_: Any) -> None:
        """Accept no more connections and end once all requests are answered; may be a signal's handler."""
        self._is_stopping = True
        self.pull_trigger()

    def run(self) -> None:
        """Answer requests, until `stop` is called."""
        while not self._is_stopping:
            wasyncore.loop(timeout=1, use_poll=True, map=self._map, count=1)
        wasyncore.dispatcher.close(self)  # the listening socket alone
        end = time.monotonic() + STOP_SECONDS
        while time.monotonic() < end and self._finish_connections():
            wasyncore.loop(timeout=0.1, use_poll=True, map=self._map, count=1)
            self.maintenance(time.time())  # noqa: TID251  # waitress's own clock

    def _finish_connections(self) -> bool:
        """Close connections that have nothing under way; returns whether there are others."""
        for connection in tuple(self.active_channels.values()):
            if not connection.is_busy:
                connection.handle_close()
        return bool(self.active_channels)


def _adjustments() -> Adjustments:
    return Adjustments(
        ident="pugmill",
        channel_request_lookahead=1,  # so that it is noticed if the client goes away
        cleanup_interval=1,
        clear_untrusted_proxy_headers=False,  # the application reads none
        connection_limit=MAX_CONNECTIONS,
        expose_tracebacks=False,
        inbuf_overflow=_BYTES_IN_MEMORY,
        log_socket_errors=False,
        max_request_body_size=4 * MAX_BODY_BYTES,  # beyond that, it is not read to its end
        max_request_header_size=_HEADER_BYTES,
        outbuf_high_watermark=2**40,  # no thread waits for a reader
        outbuf_overflow=_BYTES_IN_MEMORY,
    )


def listening_at(host: str, port: int, backlog: int = 1024) -> socket.socket:
    """A listening socket; raises OSError if something listens there already."""
    family, _, _, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
    found = socket.socket(family, socket.SOCK_STREAM)
    try:
        found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        found.bind(address)
        found.listen(backlog)
    except OSError:
        found.close()
        raise
    return found
