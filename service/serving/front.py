"""Between the HTTP server and the application: reads a whole request before a thread works on it.

So clients that send their bodies slowly do not block others.
"""

import asyncio
import io
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from granian._granian import RSGIHTTPProtocol as HTTPProtocol
from granian._granian import RSGIProtocolClosed as ProtocolClosed
from granian.rsgi import Scope

from service.api.http.problems import MAX_BODY_BYTES, ProblemError, unable
from service.api.http.reading import UNREAD
from service.store.engine.database_faults import NO_ANSWER
from service.time_limit import ALLOWED

BODY_SECONDS = 20
"""Time for a client to send its body, whatever its length."""
HELD_BYTES = 64 * 1024 * 1024
"""Most bytes of unfinished bodies in one worker, all together."""
SPARE_SECONDS = 10
"""Extra time after the time limit of an answer, for the work to notice it."""
_MOST_BYTES = MAX_BODY_BYTES + 1
"""One byte more than allowed, so that the application sees that a body is too long."""
_WHOLE_BYTES = 256 * 1024
"""An answer that is not longer than this is sent in one piece."""

Headers = list[tuple[str, str]]
Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]


class Front:
    """An RSGI application: awaits bodies here, and has a few threads do the work."""

    def __init__(self, application: Application, *, threads: int, seconds: float) -> None:
        """Start the threads; the application may set another time limit than `seconds` for an answer."""
        self._application, self._seconds = application, seconds
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="answering")
        self._held = 0

    async def __rsgi__(self, scope: Scope, protocol: HTTPProtocol) -> None:
        """Answer one request."""
        environ = environ_of(scope)
        if "CONTENT_LENGTH" in environ or "HTTP_TRANSFER_ENCODING" in environ:
            try:
                environ["wsgi.input"] = io.BytesIO(await self._body(protocol, environ.get("CONTENT_LENGTH")))
            except ProblemError as problem:
                environ[UNREAD] = problem  # answered by the application, so that it is logged like others
        answer = await self._answer(environ)
        if answer.whole is None:
            await self._send(answer, protocol)
        else:
            protocol.response_bytes(answer.status, answer.headers, answer.whole)

    async def _answer(self, environ: dict[str, Any]) -> "_Answer":
        """The application's answer; 503 if it does not return in time because the database does not answer.

        A thread cannot be stopped from outside: it goes on until the database lets go of it.
        """
        loop, begun = asyncio.get_running_loop(), time.monotonic()
        work = loop.run_in_executor(self._threads, _Answer, self._application, environ)
        while (left := begun + environ.get(ALLOWED, self._seconds) + SPARE_SECONDS - time.monotonic()) > 0:
            done, _ = await asyncio.wait([work], timeout=left)
            if done:
                return work.result()
        work.add_done_callback(_close)
        environ = {**environ, UNREAD: unable(NO_ANSWER)}
        return await asyncio.to_thread(_Answer, self._application, environ)

    async def _body(self, protocol: HTTPProtocol, told_length: str | None) -> bytes:
        """The body, at most one byte too long; raises a problem: 400 if cut off, 408 if too slow, 503 if too many."""
        parts: list[bytes] = []
        try:
            async with asyncio.timeout(BODY_SECONDS):
                is_whole = await self._read(protocol, parts)
        except TimeoutError:
            told = f"the body did not arrive within {BODY_SECONDS} s; send it again, faster"
            raise ProblemError(408, "request-timeout", told, headers={"Connection": "close"}) from None
        finally:
            length = sum(map(len, parts))
            self._held -= length
        if not is_whole or (told_length is not None and length < min(int(told_length), _MOST_BYTES)):
            raise ProblemError(400, "incomplete-body", "the body broke off; send it again")
        return b"".join(parts)[:_MOST_BYTES]

    async def _read(self, protocol: HTTPProtocol, parts: list[bytes]) -> bool:
        """Read the parts; returns False if the body was visibly cut off."""
        length = ends = 0
        async for part in protocol:
            parts.append(part)
            length += len(part)
            self._held += len(part)
            if self._held > HELD_BYTES:
                told = "too many bodies are being sent at once; try again in a moment"
                raise ProblemError(503, "busy", told, headers={"Retry-After": "5", "Connection": "close"})
            if length >= _MOST_BYTES:
                return True
            ends += not part
        return ends <= 1  # the server ends a body with one empty part, and a body that broke off with two

    async def _send(self, answer: "_Answer", protocol: HTTPProtocol) -> None:
        """Send a long answer at the client's pace, without a thread waiting for it."""
        loop = asyncio.get_running_loop()
        transport = protocol.response_stream(answer.status, answer.headers)
        try:
            while part := await loop.run_in_executor(self._threads, answer.next_part):
                await transport.send_bytes(part)
        except ProtocolClosed:
            pass
        finally:
            await loop.run_in_executor(self._threads, answer.close)


class _Answer:
    """The application's answer; `whole` is its body, if it is short."""

    def __init__(self, application: Application, environ: dict[str, Any]) -> None:
        self.status, self.headers = 500, Headers()
        self._parts = application(environ, self._start)
        self._iterator: Iterator[bytes] = iter(self._parts)
        self.whole = b"".join(self._iterator) if self._is_short() else None
        if self.whole is not None:
            self.close()

    def _start(self, status: str, headers: Headers, _exc_info: Any = None) -> None:
        self.status, self.headers = int(status.partition(" ")[0]), headers

    def _is_short(self) -> bool:
        lengths = [value for name, value in self.headers if name.lower() == "content-length"]
        return not lengths or int(lengths[0]) <= _WHOLE_BYTES

    def next_part(self) -> bytes:
        """The next part; empty at the end."""
        return next((part for part in self._iterator if part), b"")

    def close(self) -> None:
        """Close what the body is read from."""
        close = getattr(self._parts, "close", None)
        if close is not None:
            close()


def _close(work: "asyncio.Future[_Answer]") -> None:
    """Close an answer that came too late."""
    if work.exception() is None:
        work.result().close()


def environ_of(scope: Scope) -> dict[str, Any]:
    """The WSGI environ of the request (PEP 3333), without its body."""
    host, _, port = scope.server.rpartition(":")
    environ: dict[str, Any] = {
        "REQUEST_METHOD": scope.method,
        "SCRIPT_NAME": "",
        "PATH_INFO": scope.path.encode().decode("latin-1"),
        "QUERY_STRING": scope.query_string,
        "SERVER_NAME": host,
        "SERVER_PORT": port,
        "SERVER_PROTOCOL": f"HTTP/{scope.http_version}",
        "REMOTE_ADDR": scope.client.rpartition(":")[0],
        "wsgi.version": (1, 0),
        "wsgi.url_scheme": scope.scheme,
        "wsgi.input": io.BytesIO(),
        "wsgi.input_terminated": True,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": True,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }
    for name, value in scope.headers.items():
        if "_" in name:  # would be taken for another header: Content_Length, X_Request_Id
            continue
        variable = name.upper().replace("-", "_")
        variable = variable if variable in ("CONTENT_TYPE", "CONTENT_LENGTH") else f"HTTP_{variable}"
        environ[variable] = f"{environ[variable]},{value}" if variable in environ else value
    if scope.authority and "HTTP_HOST" not in environ:
        environ["HTTP_HOST"] = scope.authority
    return environ
