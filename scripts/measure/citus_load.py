"""Clients of several workshops that write without a pause while nodes of the database fail, and what became of it."""

import contextlib
import threading
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import requests
from citus_nodes import Node
from crash_ledger import Asking, Check, Ledger, register, write

CLIENTS = 2
"""Of each workshop: one reprices, the other registers, quotes, issues and accepts."""
MATERIALS = 5
CUT_OFF = 12
"""Seconds after which a request that was cut off may be repeated with its key, plus a margin."""
PATIENCE = 300
PAUSE = 0.3
"""Seconds of a client between a refusal and its next request."""
SETTLED = 3
"""Seconds of load before and after what is tried."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A request: when it began, how long it took, and its status; 0 without an answer."""

    begun: float
    seconds: float
    status: int

    @property
    def is_answered(self) -> bool:
        """Whether it was done; 409 is told to a request whose predecessor is still running."""
        return self.status in (200, 201, 304, 409)


class Timed(Asking):
    """A session that records each request, until it is over."""

    def __init__(self, url: str, key: str) -> None:
        super().__init__(url, key)
        self.asked: list[Asked] = []
        self.is_over = threading.Event()

    def send(self, method: str, path: str, body: Any = None, key: str | None = None) -> requests.Response:
        """Send a request; raises if the session is over."""
        if self.is_over.is_set():
            raise requests.ConnectionError("the session is over")
        begun, status = time.monotonic(), 0
        try:
            answer = super().send(method, path, body, key)
            status = answer.status_code
            return answer
        finally:
            self.asked.append(Asked(begun, time.monotonic() - begun, status))
            if status == 503:
                time.sleep(PAUSE)


@dataclass
class Workshop:
    """A workshop under load.

    Attributes:
        home: the node that holds it.
    """

    id: str
    key: str
    home: Node
    ledger: Ledger = field(default_factory=Ledger)
    sessions: list[Timed] = field(default_factory=list)

    def asked(self, since: float, until: float) -> list[Asked]:
        """Its requests that began in a period."""
        return [each for session in self.sessions for each in session.asked if since <= each.begun < until]


class Load:
    """The clients of all workshops of a service."""

    def __init__(self, url: str, workshops: list[Workshop]) -> None:
        self.url, self.workshops = url, workshops
        for each in workshops:
            asking = Asking(url, each.key)
            register(asking)
            for number in range(MATERIALS):  # a client's; what follows on a refused one would be refused too
                body = {"name": "Material", "unit": "kg"}
                each.ledger.put(asking, f"/v1/materials/c{CLIENTS - 1}-{number}", body)
        self._checks = [Check(each.ledger, Asking(url, each.key)) for each in workshops]

    @contextlib.contextmanager
    def running(self) -> Iterator[None]:
        """Have them write during the with-block."""
        clients = []
        for workshop in self.workshops:
            workshop.sessions = [Timed(self.url, workshop.key) for _ in range(CLIENTS)]
            clients += [
                threading.Thread(target=write, args=(workshop.ledger, session, number, f"{workshop.id} {number}"))
                for number, session in enumerate(workshop.sessions)
            ]
        for client in clients:
            client.start()
        try:
            time.sleep(SETTLED)
            yield
            time.sleep(SETTLED)
        finally:
            for workshop in self.workshops:
                for session in workshop.sessions:
                    session.is_over.set()
            for client in clients:
                client.join()

    def wrong(self) -> list[str]:
        """Repeat what was not answered, check every acknowledged write; returns what is wrong."""
        end = time.monotonic() + PATIENCE
        for workshop, check in zip(self.workshops, self._checks, strict=True):
            check()
            while not check.is_settled and time.monotonic() < end:
                time.sleep(CUT_OFF)
                check()
            workshop.ledger.expect(check.is_settled, f"{len(workshop.ledger.unanswered)} creations were never answered")
        return [told for workshop in self.workshops for told in workshop.ledger.wrong]

    @property
    def counts(self) -> Counter[str]:
        """What all workshops have done."""
        return sum((workshop.ledger.counts for workshop in self.workshops), Counter())


def described(asked: list[Asked]) -> str:
    """Number of requests, failures by status, and the slowest."""
    seconds = sorted(each.seconds for each in asked) or [0.0]
    failed = Counter(each.status for each in asked if not each.is_answered)
    p99 = seconds[-(-len(seconds) * 99 // 100) - 1]
    refusals = ", ".join(f"{count} × {status or 'no answer'}" for status, count in sorted(failed.items()))
    return f"{len(asked)} requests, {refusals or 'none failed'}; p99 {p99:.2f} s, slowest {seconds[-1]:.2f} s"


class Probe:
    """Asks an address every quarter of a second."""

    def __init__(self, url: str, timeout: float = 60) -> None:
        self._url, self._timeout = url, timeout
        self.asked: list[Asked] = []

    @contextlib.contextmanager
    def running(self) -> Iterator["Probe"]:
        """Ask during the with-block."""
        is_over = threading.Event()

        def ask() -> None:
            while not is_over.wait(0.25):
                begun, status = time.monotonic(), 0
                with contextlib.suppress(requests.RequestException):
                    status = requests.get(self._url, timeout=self._timeout).status_code
                self.asked.append(Asked(begun, time.monotonic() - begun, status))

        asking = threading.Thread(target=ask)
        asking.start()
        try:
            yield self
        finally:
            is_over.set()
            asking.join()
