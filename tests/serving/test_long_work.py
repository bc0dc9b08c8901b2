"""Long work whose other end ends, at any moment: nobody else notices, and whoever waits is told to try again."""

import contextlib
import io
import os
import select
import signal
import socket
from collections.abc import Iterator
from multiprocessing import Pipe
from threading import Thread
from typing import Any
from uuid import UUID

import flask
import pytest

from service.api.http.problems import ProblemError
from service.serving.long_work import ORDER, LongWork, work
from service.serving.supervisor import Supervisor
from tests.support.processes import SECONDS, ended, started

WORKSHOP = UUID(int=1)
READY = b'{"is_ready": true}'


@pytest.fixture
def supervised() -> Iterator[tuple[socket.socket, socket.socket]]:
    ours, theirs = socket.socketpair()
    with ours, theirs:
        yield ours, theirs


class TestAnAnswerThatIsWaitedFor:
    @pytest.mark.parametrize("said", [[], [len(READY).to_bytes(4, "little") + READY]], ids=["at once", "once ready"])
    def test_is_refused_for_now_if_the_process_ends_without_reading(
        self, supervised: tuple[socket.socket, socket.socket], said: list[bytes]
    ) -> None:
        ours, theirs = supervised
        environ = {"wsgi.input": io.BytesIO(bytes(4 * 1024 * 1024))}  # more than a socket holds

        def end_unread() -> None:
            _, files, _, _ = socket.recv_fds(theirs, ORDER.size, 1)
            with socket.socket(fileno=files[0]) as job:
                for part in said:
                    job.sendall(part)
                    job.recv(1)

        process = Thread(target=end_unread)
        process.start()

        with pytest.raises(ProblemError) as refused:
            LongWork(ours).answer(environ, "one", WORKSHOP, 1)

        process.join()
        assert refused.value.status == 503


class TestAProcessForLongWork:
    def test_ends_quietly_if_nobody_waits_for_the_answer_any_more(
        self, supervised: tuple[socket.socket, socket.socket]
    ) -> None:
        ours, theirs = supervised
        asking, answering = socket.socketpair()
        socket.send_fds(ours, [b"+"], [answering.fileno()])
        for gone in (asking, answering):
            gone.close()

        work(flask.Flask(__name__), theirs)

        assert not select.select([ours], [], [], 0)[0]


def supervise(told: Any) -> None:
    """A supervisor whose processes for long work end with their job unread; says what came of three jobs."""

    def ask(control: socket.socket) -> None:
        for _ in range(3):
            ours, theirs = socket.socketpair()
            with ours:
                with theirs:
                    socket.send_fds(control, [ORDER.pack(WORKSHOP.bytes, SECONDS)], [theirs.fileno()])
                told.send_bytes(b"ended" if ours.recv(1) == b"" else b"answered")
        os.kill(os.getppid(), signal.SIGTERM)
        with contextlib.suppress(OSError):
            control.recv(1)

    def end_unread(control: socket.socket) -> None:
        select.select([control], [], [])

    listening = socket.socket()
    Supervisor(answer=ask, work=end_unread, listening=listening, processes=1, stop_seconds=SECONDS).run()


def test_the_service_goes_on_when_processes_end_with_their_jobs_unread() -> None:
    heard, telling = Pipe(duplex=False)

    process = started(supervise, telling)

    telling.close()  # so that what is heard ends with the process
    assert [heard.recv_bytes() for _ in range(3)] == [b"ended"] * 3
    assert ended(process) == 0
