"""The attacks, each by clients of its own against a service on this machine, for a bounded time."""

import contextlib
import http.client
import json
import os
import random
import resource
import select
import socket
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from attack_ground import DAY, Ground, plan
from largest import money

MIB = 1024 * 1024
LOCALES = [
    "en_GB",
    "de_DE",
    "fr_FR",
    "es_ES",
    "pt_PT",
    "nl_NL",
    "en_IE",
    "en_US",
    "de_AT",
    "de_CH",
    "fr_CH",
    "fr_BE",
    "nl_BE",
    "es_MX",
    "pt_BR",
    "it_IT",
    "sv_SE",
    "da_DK",
    "nb_NO",
    "fi_FI",
    "pl_PL",
    "cs_CZ",
    "hu_HU",
    "el_GR",
    "ru_RU",
    "tr_TR",
    "he_IL",
    "ar_EG",
    "uk_UA",
    "ro_RO",
    "bg_BG",
    "hr_HR",
]
CLOSED_AFTER = 1.2
HELD = 25
"""Seconds for which a half-sent body is held: longer than the service waits for its rest."""
PAUSE = 0.05
"""Seconds between two requests of a client; the most that a hostile client gains by asking more is to be refused."""


@dataclass(slots=True)
class Hostile:
    """A client of an attack.

    Attributes:
        number: of the client, from 0.
        end: when the attack is over, on the monotonic clock.
        answers: number of answers by status; 'none' for a connection that ended without one.
    """

    port: int
    ground: Ground
    number: int
    end: float
    answers: Counter[str] = field(default_factory=Counter)

    @property
    def left(self) -> float:
        """Seconds until the attack is over; never 0, which would mean not to wait at all."""
        return max(0.1, self.end - time.monotonic())

    def ask(self, method: str, path: str, key: str = "", body: Any = None) -> int:
        """Send a request over a connection of its own, and read the whole answer; returns its status, or 0."""
        headers = {"Authorization": f"Bearer {key}"} if key else {}
        if method == "POST":
            headers["Idempotency-Key"] = f'"{uuid4()}"'
        sent = None
        if body is not None:
            headers["Content-Type"], sent = "application/json", json.dumps(body)
        connection, status = http.client.HTTPConnection("127.0.0.1", self.port, timeout=self.left), 0
        with contextlib.closing(connection), contextlib.suppress(OSError, http.client.HTTPException):
            connection.request(method, path, sent, headers)
            answer = connection.getresponse()
            while answer.read(MIB):
                pass
            status = answer.status
        if status or time.monotonic() < self.end:
            self.answers[str(status or "none")] += 1
        return status

    def opened(self, request: bytes, receiving: int | None = None) -> socket.socket | None:
        """A connection that has sent so much; None if the service does not take it."""
        connection = socket.socket()
        connection.settimeout(5)
        if receiving is not None:
            connection.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receiving)
        try:
            connection.connect(("127.0.0.1", self.port))
            connection.sendall(request)
        except OSError:
            connection.close()
            self.answers["none"] += 1
            return None
        return connection

    def held(self, connections: list[socket.socket | None], seconds: float) -> None:
        """Hold connections open until they are answered or the seconds are over, and read nothing but the statuses."""
        waiting = {each.fileno(): each for each in connections if each is not None}
        look = select.poll()
        for descriptor in waiting:
            look.register(descriptor, select.POLLIN)
        until = min(self.end, time.monotonic() + seconds)
        while waiting and time.monotonic() < until:
            for descriptor, _ in look.poll(max(0, until - time.monotonic()) * 1000):
                look.unregister(descriptor)
                self.answers[status_of(waiting.pop(descriptor))] += 1
        for each in connections:
            if each is not None:
                each.close()
        self.answers["unanswered"] += len(waiting)


def status_of(connection: socket.socket) -> str:
    """The status of the answer that has arrived; 'none' if the connection ended without one."""
    with contextlib.suppress(OSError):
        return connection.recv(12).decode(errors="replace").partition(" ")[2] or "none"
    return "none"


def get(path: str, key: str) -> bytes:
    """A GET request as it is sent."""
    told = f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: */*\r\nAuthorization: Bearer {key}\r\n\r\n"
    return told.encode()


def put(key: str, length: int) -> bytes:
    """The header of a PUT request with a body of so many bytes, with or without a key."""
    told = f"Authorization: Bearer {key}\r\n" if key else ""
    return (
        f"PUT /v1/materials/flakes HTTP/1.1\r\nHost: 127.0.0.1\r\n{told}"
        f"Content-Type: application/json\r\nContent-Length: {length}\r\n\r\n"
    ).encode()


def some_day() -> str:
    """A day whose answer is most likely not remembered."""
    return f"2026-{random.randrange(2, 13):02}-{random.randrange(1, 28):02}"


def nothing(client: Hostile) -> None:
    """Nothing: what the machine alone does to the figures."""
    time.sleep(client.left)


def price_list(client: Hostile) -> None:
    """The list of 1,000 listings on a channel of 50 fees × 50 bands."""
    client.ask("GET", f"/v1/price-list?channel=dear&as_of={some_day()}", client.ground.read_only)


def closed_price_lists(client: Hostile) -> None:
    """Twelve such lists, given up before they are answered."""
    path = f"/v1/price-list?channel=dear&as_of={some_day()}"
    connections = [client.opened(get(path, client.ground.read_only)) for _ in range(12)]
    client.held(connections, CLOSED_AFTER)


def best_mix(client: Hostile) -> None:
    """The best mix of a month of 200 lines."""
    client.ask("POST", "/v1/break-even", client.ground.read_only, plan())


def refresh(client: Hostile) -> None:
    """Fetch exchange rates from a feed that is silent."""
    client.ask("POST", "/v1/exchange-rates/refresh", client.ground.writing, {"span": "latest"})


def preview(client: Hostile) -> None:
    """Every listing on such channels, repriced as a preview."""
    body = {"as_of": some_day(), "include_unchanged": True}
    client.ask("POST", "/v1/repricings.ndjson", client.ground.read_only, body)


def papers(client: Hostile) -> None:
    """A PDF of a quotation of 200 lines, each time in another locale."""
    quotation, locale = random.choice(client.ground.quotations), random.choice(LOCALES)
    client.ask("GET", f"/v1/quotations/{quotation}/quotation.pdf?locale={locale}", client.ground.read_only)


def unread(client: Hostile) -> None:
    """A long answer that is never read."""
    request = get(f"{client.ground.repriced}.ndjson", client.ground.repricing)
    connection = client.opened(request, receiving=4096)
    if connection is None:
        return
    with connection:
        connection.settimeout(client.left)
        status = status_of(connection)
        client.answers[status] += 1
        gone = select.poll()
        gone.register(connection, 0)  # tells only that the other end hung up
        while status == "200" and time.monotonic() < client.end and not gone.poll(200):
            pass


def bodies(client: Hostile) -> None:
    """Bodies of 1 MiB without a key, every other one half-sent; the answers are not read."""
    body = b" " * MIB
    parts = [body[: MIB // 2] if each % 2 else body for each in range(50)]
    client.held([client.opened(put("", MIB) + part) for part in parts], 5)


def half_bodies(client: Hostile) -> None:
    """Bodies of which the second half never comes, with a key and without."""
    keys = (client.ground.read_only, "")
    client.held([client.opened(put(keys[each % 2], MIB) + b" " * (MIB // 2)) for each in range(16)], HELD)


def connections(client: Hostile) -> None:
    """Many connections, each with half a body that is just too long to be kept in memory."""
    client.held([client.opened(put("", MIB) + b" " * (66 * 1024)) for _ in range(100)], HELD)


def contract(client: Hostile) -> None:
    """The contract, without a key."""
    client.ask("GET", "/openapi.json")


def reprice(client: Hostile) -> None:
    """Change the price of electricity, and reprice every listing."""
    key, price = client.ground.repricing, f"0.{random.randrange(200, 500)}"
    client.ask("PUT", f"/v1/tariffs/grid/rates/{DAY}", key, {"price_per_kwh": {"day": money(price)}})
    client.ask("POST", "/v1/repricings", key, {"apply": True})


@dataclass(frozen=True, slots=True, kw_only=True)
class Attack:
    """An attack: what each of its clients does again and again."""

    does: Callable[[Hostile], None]
    clients: int


ATTACKS = {
    "nothing": Attack(does=nothing, clients=1),
    "price-lists": Attack(does=price_list, clients=4),
    "closed-price-lists": Attack(does=closed_price_lists, clients=1),
    "best-mix": Attack(does=best_mix, clients=4),
    "silent-feed": Attack(does=refresh, clients=8),
    "preview": Attack(does=preview, clients=2),
    "papers": Attack(does=papers, clients=4),
    "unread": Attack(does=unread, clients=25),
    "bodies": Attack(does=bodies, clients=10),
    "half-bodies": Attack(does=half_bodies, clients=8),
    "connections": Attack(does=connections, clients=6),
    "contract": Attack(does=contract, clients=100),
    "repricing": Attack(does=reprice, clients=1),
}


def attack(name: str, port: int, ground: Ground, seconds: float) -> Counter[str]:
    """Play an attack in this process; returns the numbers of answers."""
    os.nice(10)  # attackers come from other machines, so theirs must not take the service's processors
    _, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (most, most))
    end = time.monotonic() + seconds
    clients = [Hostile(port, ground, number, end) for number in range(ATTACKS[name].clients)]

    def play(client: Hostile) -> None:
        while time.monotonic() < end:
            ATTACKS[name].does(client)
            time.sleep(PAUSE)

    threads = [threading.Thread(target=play, args=(client,), daemon=True) for client in clients]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(max(0, end + 1 - time.monotonic()))
    return sum((client.answers for client in clients), Counter())


@contextlib.contextmanager
def silent_feed() -> Iterator[str]:
    """The address of a feed that takes connections and says nothing."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(1024)
        yield f"http://127.0.0.1:{listening.getsockname()[1]}/"
