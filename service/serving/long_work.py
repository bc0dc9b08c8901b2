"""Long work: handed by a thread that answers to a process of its own, which can be ended.

Both ends of the conversation about one request, a job, over a pair of sockets: the process says that it is ready, gets
the request, and sends the head of the answer with a file that has its body. The supervisor lends sockets to processes,
and says why when it ends one.
"""

import contextlib
import io
import json
import resource
import select
import socket
import struct
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from threading import Lock
from typing import IO, Any
from uuid import UUID

import flask
from werkzeug.wsgi import ClosingIterator, wrap_file

from service.api.http.problems import ProblemError, unable
from service.store.engine.database_faults import INTERRUPTED, DatabaseFault

WAITING_EACH = 3
"""Most requests for long work of one workshop that wait in one process; further ones are refused."""
WAITING = 12
"""Most of all workshops together: threads that wait must leave enough others."""
KEPT_BYTES = 250 * 1024 * 1024
"""A process that is larger after its work ends, so that its memory is given back."""
ORDER = struct.Struct("=16sd")
"""What the supervisor is told of a job: the workshop's id, and the seconds that it may take."""
_LENGTH = struct.Struct("=I")
DONE = b"+"
"""What a process says once it has done a job and can take another."""
_BODY = "body"
_LOOK_MILLISECONDS = 200


class HandedOver(flask.Response):
    """An answer that another process made, complete with all headers but those about the rate limit."""


class LongWork:
    """The processes for long work, as a process that answers knows them."""

    def __init__(self, supervisor: socket.socket) -> None:
        """Hand over work through the supervisor at the other end of the socket."""
        self._supervisor, self._lock = supervisor, Lock()
        self._waiting = Counter[UUID]()

    def answer(self, environ: dict[str, Any], request_id: str, workshop: UUID, seconds: float) -> flask.Response:
        """The answer of another process.

        Raises:
            ProblemError: 503 if the workshop has too much such work already, or the process was ended.
        """
        told = {name: value for name, value in environ.items() if isinstance(value, str)}
        sent = environ["wsgi.input"].read()
        try:
            with self._counted(workshop), self._job(workshop, seconds) as job:
                _next_head(job, environ)  # the process is ready
                _send(job, {**told, "HTTP_X_REQUEST_ID": request_id}, sent)
                head, files = _next_head(job, environ)
        except ConnectionError:  # it was ended before it had read all
            raise unable(INTERRUPTED) from None
        body = open(files[0], "rb")  # noqa: SIM115  # closed by the server once it is sent
        body.seek(0)
        return HandedOver(wrap_file(environ, body), head["status"], head["headers"], direct_passthrough=True)

    @contextlib.contextmanager
    def _counted(self, workshop: UUID) -> Iterator[None]:
        with self._lock:
            if self._waiting[workshop] >= WAITING_EACH or self._waiting.total() >= WAITING:
                told = "too much long work is waiting already; send this when some of it is answered"
                raise ProblemError(503, "busy", told, headers={"Retry-After": "10"})
            self._waiting[workshop] += 1
        try:
            yield
        finally:
            with self._lock:
                self._waiting[workshop] -= 1
                self._waiting += Counter()  # drops those without any

    @contextlib.contextmanager
    def _job(self, workshop: UUID, seconds: float) -> Iterator[socket.socket]:
        ours, theirs = socket.socketpair()
        with ours:
            with theirs, self._lock:
                socket.send_fds(self._supervisor, [ORDER.pack(workshop.bytes, seconds)], [theirs.fileno()])
            yield ours


def _next_head(job: socket.socket, environ: dict[str, Any]) -> tuple[dict[str, Any], list[int]]:
    """What the process says next; raises a problem if it was ended, or the client goes away meanwhile."""
    has_left = environ.get("waitress.client_disconnected", lambda: False)
    look = select.poll()
    look.register(job, select.POLLIN)
    while not look.poll(_LOOK_MILLISECONDS):
        if has_left():
            raise unable(INTERRUPTED)
    head, files = _received(job)
    if not head or "fault" in head:
        raise unable(DatabaseFault(**head["fault"]) if head else INTERRUPTED)
    return head, files


def end_with(job: socket.socket, fault: DatabaseFault) -> None:
    """Say to the process that waits for the answer why there is none."""
    with contextlib.suppress(OSError):
        _send(job, {"fault": asdict(fault)})


def work(app: flask.Flask, supervisor: socket.socket) -> None:
    """Do what the supervisor lends sockets for, one job after the other, until there are no more."""
    while True:
        told, files, _, _ = socket.recv_fds(supervisor, 1, 1)
        if not told:
            return
        with socket.socket(fileno=files[0]) as job:
            asked = _asked(job)
            if asked is None:
                return  # nobody waits for it any more; the supervisor ends this process anyway
            with _answer(app, asked) as (head, body):
                # Said before the answer is sent: once its reader hangs up, this process would be ended.
                if is_kept := size_of("self") <= KEPT_BYTES:
                    supervisor.sendall(DONE)
                with contextlib.suppress(OSError):  # nobody waits for it any more
                    _send(job, head, file=body)
        if not is_kept:
            return


def _asked(job: socket.socket) -> dict[str, Any] | None:
    """The environ of the job's request; None if nobody waits for its answer any more."""
    try:
        _send(job, {"is_ready": True})
        told, _ = _received(job)
        if not told:
            return None
        sent = _exactly(job, told.pop(_BODY, 0))
    except ConnectionError:
        return None
    return {
        **told,
        "wsgi.version": (1, 0),
        "wsgi.input": io.BytesIO(sent),
        "wsgi.input_terminated": True,
        "wsgi.errors": sys.stderr,
        "wsgi.multithread": False,
        "wsgi.multiprocess": True,
        "wsgi.run_once": False,
    }


@contextlib.contextmanager
def _answer(app: flask.Flask, environ: dict[str, Any]) -> Iterator[tuple[dict[str, Any], IO[bytes]]]:
    """The head of the answer to a request, and a file with its body."""
    head: dict[str, Any] = {}

    def start(status: str, headers: list[tuple[str, str]], _exc_info: Any = None, /) -> Callable[[bytes], object]:
        head.update(status=status, headers=headers)
        return body.write

    with tempfile.TemporaryFile() as body:
        with contextlib.closing(ClosingIterator(app(environ, start))) as parts:
            body.writelines(parts)
        body.flush()
        yield head, body


def _send(job: socket.socket, head: dict[str, Any], body: bytes = b"", file: IO[bytes] | None = None) -> None:
    text = json.dumps({**head, _BODY: len(body)} if body else head).encode()
    socket.send_fds(job, [_LENGTH.pack(len(text))], [] if file is None else [file.fileno()])
    # In one, as the other side may hang up once it has read it all, and then even nothing cannot be sent.
    job.sendall(text + body)


def _received(job: socket.socket) -> tuple[dict[str, Any], list[int]]:
    """The head, and what came with it; empty if the other side is gone."""
    length, files, _, _ = socket.recv_fds(job, _LENGTH.size, 1)
    if not length:
        return {}, []
    return json.loads(_exactly(job, _LENGTH.unpack(length)[0])), files


def _exactly(job: socket.socket, length: int) -> bytes:
    parts = []
    while length:
        part = job.recv(min(length, 1 << 20))
        if not part:
            raise ConnectionError("the other side is gone")
        parts.append(part)
        length -= len(part)
    return b"".join(parts)


def size_of(process: int | str) -> int:
    """The bytes of memory that a process has in use (/proc/PID/statm); 0 if the system does not say."""
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text().split()[1])
    except (OSError, IndexError):
        return 0
    return pages * resource.getpagesize()
