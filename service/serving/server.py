"""The HTTP server of an answering process: waitress, with deadlines, fair threads, and problem documents.

waitress reads a whole request before a thread works on it, and keeps an answer, on disk if it is long, until its
reader has it.
"""

import socket
import time
from collections.abc import Hashable
from typing import Any
from wsgiref.types import WSGIApplication

from waitress import wasyncore
from waitress.adjustments import Adjustments
from waitress.server import TcpWSGIServer
from waitress.task import ThreadedTaskDispatcher

from service.api.http.problems import MAX_BODY_BYTES, ProblemError
from service.serving.connections import HEADER_BYTES, Bodies, Connection, Owners
from service.serving.fair_queue import FairQueue
from service.serving.open_files import room_for

THREADS = 24
"""Threads of a process, for all workshops; most of them wait for the database or for long work."""
THREADS_EACH = 4
"""Most of them at work for one workshop, or for one address as long as its keys are unknown."""
TURN_SECONDS = 30
"""Longest wait for a thread; then a request is refused."""
STOP_SECONDS = 60
"""Time to finish running requests when the service is stopped."""
MAX_CONNECTIONS = 800
"""Open connections of a process, if it may open files enough."""
ACCEPTED_AT_ONCE = 64
"""Most new connections that are accepted before others are looked at again."""
BODY_BYTES_EACH = 32 * 1024 * 1024
"""Most bytes of bodies that are not answered yet, for one workshop or address."""
_BYTES_IN_MEMORY = 64 * 1024
"""A longer body or answer is kept on disk."""


class _Turn:
    """A connection whose next request waits for a thread."""

    def __init__(self, connection: Connection, threads: "_FairThreads") -> None:
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

    def add_task(self, connection: Connection) -> None:
        """Queue up a request, and wake a thread if the request may have one now."""
        with self.lock:
            self.queue.append(_Turn(connection, self))
            if self.queue:
                self.queue_cv.notify()

    def done(self, owner: Hashable) -> None:
        """Let the owner's next request have its turn; this thread looks for it at once, so no other need be woken."""
        with self.lock:
            self.queue.done(owner)


class Server(TcpWSGIServer):
    """Answers the requests that arrive at a listening socket, until it is told to stop."""

    channel_class = Connection

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

    def handle_accept(self) -> None:
        """Accept the connections that wait; with one at a time, each would wait for all that is read meanwhile."""
        for _ in range(ACCEPTED_AT_ONCE):
            known = len(self._map)
            super().handle_accept()
            if len(self._map) == known:
                return

    def add_task(self, connection: Connection) -> None:
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
        connection_limit=room_for(MAX_CONNECTIONS),
        expose_tracebacks=False,
        inbuf_overflow=_BYTES_IN_MEMORY,
        log_socket_errors=False,
        max_request_body_size=4 * MAX_BODY_BYTES,  # beyond that, it is not read to its end
        max_request_header_size=HEADER_BYTES,
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
