"""The parent of all processes: starts and replaces those that answer, and lends jobs to those for long work.

It does no work of its own, has one thread and opens no database, so that it can fork at any time. What all processes
need is imported and made before the first fork, and is in memory once.
"""

import contextlib
import gc
import logging
import os
import select
import signal
import socket
import sys
import threading
import time
import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NoReturn
from uuid import UUID

from service.api.operating.metrics import SLOT
from service.serving.fair_queue import FairQueue
from service.serving.long_work import DONE, ORDER, end_with, size_of
from service.store.engine.database_faults import NO_ANSWER, TOO_LARGE, DatabaseFault

SPARE_SECONDS = 15
"""Time after the time limit of an answer for the work or its connection to notice it; then its process is ended."""
MOST_BYTES = 400 * 1024 * 1024
"""A process for long work that grows larger is ended."""
IDLE_SECONDS = 60
"""A process for long work that nobody needs for so long is ended."""
_LOOK_SECONDS = 0.25
_RESTART_SECONDS = 1.0
"""Least time between two starts in one place, so that a process which cannot start does not keep a processor busy."""
_STOPPING = (signal.SIGTERM, signal.SIGINT)
_logger = logging.getLogger("pugmill.serving")


@dataclass(eq=False, kw_only=True)
class Child:
    """A process, in its place.

    Attributes:
        control: the supervisor's end of its socket.
        free_since: when it was started, or had done its last job; on the monotonic clock.
        is_ending: whether it was told to end, and takes no more jobs.
    """

    slot: str
    pid: int
    control: socket.socket
    free_since: float = field(default_factory=time.monotonic)
    is_ending: bool = False

    def end(self, number: int) -> None:
        """Send it a signal that ends it."""
        self.is_ending = True
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, number)


@dataclass(eq=False, kw_only=True)
class Job:
    """A request for long work.

    Attributes:
        socket: the end of the process that does it; hung up if nobody waits for the answer any more.
        seconds: that it may take.
        child: the process that does it, if it is not waiting.
        begun: when that began, on the monotonic clock.
    """

    workshop: UUID
    seconds: float
    socket: socket.socket
    child: Child | None = None
    begun: float = 0


class Supervisor:
    """Keeps the processes of one service, until it is told to stop."""

    def __init__(
        self,
        *,
        answer: Callable[[socket.socket], None],
        work: Callable[[socket.socket], None],
        listening: socket.socket,
        processes: int,
        stop_seconds: float,
    ) -> None:
        """Prepare; nothing is started yet.

        Args:
            answer: what a process that answers runs, with its socket to the supervisor.
            work: what a process for long work runs, with its socket to the supervisor.
            listening: the socket of the service, closed here when it stops.
            processes: how many processes answer, and at most how many there are for long work.
            stop_seconds: time for them to finish when the service is stopped.
        """
        self._answer, self._work, self._listening = answer, work, listening
        self._slots, self._stop_seconds = range(processes), stop_seconds
        self._answering: dict[str, Child] = {}
        self._working: dict[str, Child] = {}
        self._restarts: dict[str, float] = {}  # when a place may be taken again
        self._jobs: dict[int, Job] = {}  # by the descriptor of their sockets
        self._queue = FairQueue[Job](lambda job: job.workshop, each=1)
        self._poll = select.poll()
        self._alive, self._lives = os.pipe()  # its other end closes when this process ends, however it ends
        self._is_stopping = False

    def run(self) -> None:
        """Keep the processes, until SIGTERM or SIGINT."""
        woken, wakes = socket.socketpair()
        for end in (woken, wakes):
            end.setblocking(False)
        signal.set_wakeup_fd(wakes.fileno(), warn_on_full_buffer=False)
        for number in _STOPPING:
            signal.signal(number, self._stop)
        signal.signal(signal.SIGCHLD, lambda *_: None)  # only to wake up
        self._poll.register(woken, select.POLLIN)
        while not self._is_stopping:
            self._keep_answering()
            self._hear(woken)
        self._listening.close()
        for child in self._answering.values():
            child.end(signal.SIGTERM)
        end_at = time.monotonic() + self._stop_seconds
        while self._answering and time.monotonic() < end_at:
            self._hear(woken)
        for child in self._children():
            child.end(signal.SIGKILL)

    def _stop(self, *_: object) -> None:
        self._is_stopping = True

    def _children(self) -> tuple[Child, ...]:
        return *self._answering.values(), *self._working.values()

    def _hear(self, woken: socket.socket) -> None:
        """Wait a moment for news, and look after the processes."""
        news = self._poll.poll(_LOOK_SECONDS * 1000)
        asked = dict(self._jobs)  # as the news has them: while it is heard, descriptors are closed and taken again
        for descriptor, _ in news:
            if descriptor == woken.fileno():
                with contextlib.suppress(BlockingIOError):
                    woken.recv(4096)
            elif (job := asked.get(descriptor)) is None:
                for child in self._children():
                    if child.control.fileno() == descriptor:
                        self._hear_of(child)
            elif self._jobs.get(descriptor) is job:  # nobody waits for it any more
                if job.child is not None:
                    job.child.end(signal.SIGKILL)
                self._forget(job)
        self._give_up_jobs()
        self._bury()
        self._lend()

    def _keep_answering(self) -> None:
        for slot in self._slots:
            name = f"answering-{slot}"
            if name not in self._answering and self._restarts.get(name, 0) <= time.monotonic():
                self._restarts[name] = time.monotonic() + _RESTART_SECONDS
                self._answering[name] = child = self._fork(name, self._answer)
                self._poll.register(child.control, select.POLLIN)

    def _fork(self, slot: str, run: Callable[[socket.socket], None]) -> Child:
        ours, theirs = socket.socketpair()
        gc.freeze()  # what exists now is never collected, so its memory stays shared
        signal.pthread_sigmask(signal.SIG_BLOCK, _STOPPING)  # until the child has its own handlers
        pid = os.fork()
        if not pid:
            self._become_child(slot, run, theirs)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOPPING)
        theirs.close()
        return Child(slot=slot, pid=pid, control=ours)

    def _become_child(self, slot: str, run: Callable[[socket.socket], None], control: socket.socket) -> NoReturn:
        """Run as a new process, which ends here."""
        status = 1
        try:
            signal.set_wakeup_fd(-1)
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            signal.signal(signal.SIGCHLD, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.SIG_IGN)  # a terminal sends it to all; the supervisor decides
            signal.pthread_sigmask(signal.SIG_UNBLOCK, _STOPPING)
            os.environ[SLOT] = slot
            os.close(self._lives)
            for inherited in (
                *(child.control for child in self._children()),
                *(job.socket for job in self._jobs.values()),
            ):
                inherited.close()
            if run == self._work:
                self._listening.close()
            threading.Thread(target=self._end_with_parent, daemon=True).start()
            run(control)
            status = 0
        except BaseException:  # whatever it is, this process must not go on as its parent would
            traceback.print_exc()
        finally:
            sys.stderr.flush()
            os._exit(status)

    def _end_with_parent(self) -> None:
        os.read(self._alive, 1)
        os.kill(os.getpid(), signal.SIGTERM)

    def _hear_of(self, child: Child) -> None:
        told, files = b"", list[int]()
        with contextlib.suppress(ConnectionError):  # it was ended with a job unread
            told, files, _, _ = socket.recv_fds(child.control, ORDER.size, 1)
        if not told:
            self._poll.unregister(child.control)  # it has ended, or is about to
        elif told == DONE:
            for job in tuple(self._jobs.values()):
                if job.child is child:
                    self._forget(job)
            child.free_since = time.monotonic()
        else:
            workshop, seconds = ORDER.unpack(told)
            job = Job(workshop=UUID(bytes=workshop), seconds=seconds, socket=socket.socket(fileno=files[0]))
            self._jobs[files[0]] = job
            self._poll.register(job.socket, 0)  # tells only that the other end hung up
            self._queue.append(job)

    def _lend(self) -> None:
        """Give the jobs whose turn it is to processes that have none."""
        busy = {job.child for job in self._jobs.values() if job.child is not None}
        for slot in self._slots:
            name = f"long-work-{slot}"
            if not self._queue:
                return
            child = self._working.get(name)
            if child is not None and (child in busy or child.is_ending):
                continue
            if child is None:
                child = self._working[name] = self._fork(name, self._work)
                self._poll.register(child.control, select.POLLIN)
            job = self._queue.popleft()
            job.child, job.begun = child, time.monotonic()
            with contextlib.suppress(OSError):  # it has just ended; the job is forgotten with it
                socket.send_fds(child.control, [DONE], [job.socket.fileno()])

    def _forget(self, job: Job, fault: DatabaseFault | None = None) -> None:
        """Close the job's socket, having said what was wrong."""
        if job.child is None:
            self._queue.remove(job)
        else:
            self._queue.done(job.workshop)
        if fault is not None:
            end_with(job.socket, fault)
        self._poll.unregister(job.socket)
        del self._jobs[job.socket.fileno()]
        job.socket.close()

    def _give_up_jobs(self) -> None:
        """End processes whose jobs take too long or grow too large, and those that nobody needs."""
        now, free = time.monotonic(), {child for child in self._working.values() if not child.is_ending}
        for job in tuple(self._jobs.values()):
            if job.child is None:
                continue
            free.discard(job.child)
            is_late = now - job.begun > job.seconds + SPARE_SECONDS
            if is_late or size_of(job.child.pid) > MOST_BYTES:
                fault = NO_ANSWER if is_late else TOO_LARGE
                _logger.warning("long work of workshop %s was given up: %s", job.workshop, fault.kind)
                job.child.end(signal.SIGKILL)
                self._forget(job, fault)
        for child in free:
            if now - child.free_since > IDLE_SECONDS:
                child.end(signal.SIGKILL)

    def _bury(self) -> None:
        while True:
            try:
                pid, status = os.waitpid(-1, os.WNOHANG)
            except ChildProcessError:
                return
            if not pid:
                return
            for children in (self._answering, self._working):
                for child in tuple(children.values()):
                    if child.pid == pid:
                        self._ended(children, child, status)

    def _ended(self, children: dict[str, Child], child: Child, status: int) -> None:
        del children[child.slot]
        with contextlib.suppress(KeyError):
            self._poll.unregister(child.control)
        child.control.close()
        for job in tuple(self._jobs.values()):
            if job.child is child:
                self._forget(job)
        if not child.is_ending and (status or children is self._answering):
            _logger.warning("process %s ended with %s and is replaced", child.pid, os.waitstatus_to_exitcode(status))
