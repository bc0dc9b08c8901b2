"""A feed of exchange rates: its files in the published format, and a local server that can misbehave."""

import gzip
import socket
import time
import tracemalloc
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from datetime import UTC, date, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from itertools import pairwise
from threading import Thread
from typing import Any

import pytest

from service.domain.currency.exchange_rates import DayRates
from service.feeds.patience import Patience
from service.feeds.reference_rates import ReferenceRates, read

DAILY, DAYS_90, HISTORY = "eurofxref-daily.xml", "eurofxref-hist-90d.xml", "eurofxref-hist.xml"
QUICK = Patience(
    connect_seconds=1, read_seconds=0.5, whole_seconds=1, retries=2, back_off_seconds=0.01, retry_after_seconds=0
)
AS_PATIENT_AS_THE_SERVICE = Patience(back_off_seconds=0.01, retry_after_seconds=0)
"""The service's own limits, except that it does not wait before it retries."""
MINUTE = 60
"""Seconds that a slow server keeps a client waiting: far more than any client's limit, even on a slow machine."""
HEAD = """<?xml version="1.0" encoding="UTF-8"?>
<gesmes:Envelope xmlns:gesmes="http://www.gesmes.org/xml/2002-08-01" \
xmlns="http://www.ecb.int/vocabulary/2002-08-01/eurofxref">
<gesmes:subject>Reference rates</gesmes:subject>
<gesmes:Sender><gesmes:name>European Central Bank</gesmes:name></gesmes:Sender>
<Cube>"""
TAIL = "</Cube></gesmes:Envelope>\n"
Rates = Mapping[str, str]

RATES: Rates = {
    "USD": "1.0772", "JPY": "164.52", "CZK": "25.208", "DKK": "7.4585", "GBP": "0.83135", "HUF": "407.48",
    "PLN": "4.3340", "RON": "4.9764", "SEK": "11.5965", "CHF": "0.9412", "ISK": "149.10", "NOK": "11.8095",
    "TRY": "36.9978", "AUD": "1.6322", "BRL": "6.1865", "CAD": "1.4988", "CNY": "7.7304", "ZAR": "18.8907",
}  # fmt: skip
"""Rates of an invented day, with enough currencies for the reader to accept the file."""


def day_of(days_before: int = 0, today: date | None = None) -> str:
    """The date so many days before today, in UTC, the time zone of the tests' workshops."""
    return ((today or datetime.now(UTC).date()) - timedelta(days=days_before)).isoformat()


def with_rates(**changes: str) -> Rates:
    """The usual rates with these changes."""
    return {**RATES, **changes}


def xml_of(days: Mapping[str, Rates]) -> bytes:
    """The feed's file for these days in the published format, newest day first."""
    cubes = (
        f'<Cube time="{day}">{"".join(f"""<Cube currency="{code}" rate="{rate}"/>""" for code, rate in rates.items())}'
        "</Cube>"
        for day, rates in sorted(days.items(), reverse=True)
    )
    return f"{HEAD}{''.join(cubes)}{TAIL}".encode()


def entities(last: str) -> str:
    """XML entity declarations of a "billion laughs" attack; `last` names the entity that expands to all of it."""
    names = ["a", "b", "c", "d", "e", "f", "g", "h", last]
    nested = (f'<!ENTITY {name} "{f"&{before};" * 10}">' for before, name in pairwise(names))
    return f'<!ENTITY a "ha">{"".join(nested)}'


def day_rates(day: date, **changes: str) -> DayRates:
    """The usual rates of a day with these changes, as the feed's reader returns them."""
    return read(xml_of({day.isoformat(): with_rates(**changes)}), day).days[0]


def feed_at(address: str, patience: Patience = QUICK) -> ReferenceRates:
    return ReferenceRates(base_address=address, patience=patience)


Answer = Callable[[BaseHTTPRequestHandler], None]


def sending(body: bytes, status: int = 200, **headers: str) -> Answer:
    """A correct answer with this body; header names are written with underscores in place of hyphens."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        _begin(handler, status, **{"Content_Length": str(len(body)), **headers})
        handler.wfile.write(body)

    return answer


BOMB = gzip.compress(b"\0" * 1_000_000) * 60
"""60 MB packed into 60 kB, which is below the size limit of a file."""


def endless(status: int = 200, piece: bytes = b"x" * 65_536, **headers: str) -> Answer:
    """An answer that continues until the client closes the connection."""

    def answer(handler: BaseHTTPRequestHandler) -> None:
        _begin(handler, status, **headers)
        while True:
            handler.wfile.write(piece)

    return answer


def endless_chunks(handler: BaseHTTPRequestHandler) -> None:
    endless(piece=b"1000\r\n" + b"x" * 4096 + b"\r\n", Transfer_Encoding="chunked")(handler)


def silent(handler: BaseHTTPRequestHandler) -> None:
    handler.connection.settimeout(MINUTE)
    handler.connection.recv(1)  # until the client closes the connection


def trickling(handler: BaseHTTPRequestHandler) -> None:
    _begin(handler, Content_Length="1000")
    for _ in range(MINUTE * 10):
        handler.wfile.write(b"<")
        time.sleep(0.1)


def trickling_header(handler: BaseHTTPRequestHandler) -> None:
    handler.wfile.write(b"HTTP/1.0 200 OK\r\nX-Slow: ")
    for _ in range(MINUTE * 10):
        handler.wfile.write(b"x")
        time.sleep(0.1)


def longer_than_told(handler: BaseHTTPRequestHandler) -> None:
    sending(b"x" * 10_000, Content_Length="10")(handler)


def no_http(handler: BaseHTTPRequestHandler) -> None:
    handler.wfile.write(b"220 ready\r\n")


def cut(handler: BaseHTTPRequestHandler) -> None:
    handler.connection.shutdown(socket.SHUT_RDWR)


def _begin(handler: BaseHTTPRequestHandler, status: int = 200, **headers: str) -> None:
    handler.send_response(status)
    for name, value in {"Content_Type": "text/xml", **headers}.items():
        handler.send_header(name.replace("_", "-"), value)
    handler.end_headers()


@contextmanager
def nobody_listening() -> Iterator[str]:
    """The address of a port that refuses connections."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        yield f"http://127.0.0.1:{taken.getsockname()[1]}/"


@contextmanager
def nobody_accepting() -> Iterator[str]:
    """The address of a port that neither accepts nor refuses connections, because its backlog is full."""
    with ExitStack() as opened:
        busy = opened.enter_context(socket.create_server(("127.0.0.1", 0), backlog=0))
        for _ in range(4):
            waiting = opened.enter_context(socket.socket())
            waiting.setblocking(False)
            waiting.connect_ex(busy.getsockname())
        yield f"http://127.0.0.1:{busy.getsockname()[1]}/"


def know_names(monkeypatch: pytest.MonkeyPatch, **known: list[str]) -> None:
    """Make the machine's resolver know only these names; only the network is replaced."""
    resolve = socket.getaddrinfo

    def resolved(host: str, port: int, *args: Any, **options: Any) -> list[Any]:
        if host[:1].isdecimal():
            return resolve(host, port, *args, **options)
        host.encode("idna")
        if host not in known:
            raise socket.gaierror(socket.EAI_AGAIN, "Temporary failure in name resolution")
        return [each for address in known[host] for each in resolve(address, port, type=socket.SOCK_STREAM)]

    monkeypatch.setattr(socket, "getaddrinfo", resolved)


@contextmanager
def memory() -> Iterator[Callable[[], int]]:
    """Yields a function that returns the peak memory in bytes, usable inside the block and after it."""
    most = 0

    def told() -> int:
        return max(most, tracemalloc.get_traced_memory()[1])

    tracemalloc.start()
    try:
        yield told
    finally:
        most = told()
        tracemalloc.stop()


def _today(handler: BaseHTTPRequestHandler) -> None:
    sending(xml_of({day_of(): RATES}))(handler)


class FeedServer:
    """A feed server on the loopback interface; by default it answers with today's usual rates.

    Attributes:
        url: the address of its files.
        answer: the function that answers every request; a test may replace it.
        requests: path and header fields of each request, oldest first.
    """

    def __init__(self) -> None:
        feed = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                feed.requests.append((self.path, dict(self.headers)))
                feed.answer(self)

            def log_message(self, *_: Any) -> None:
                """Write no log."""

        self.requests: list[tuple[str, dict[str, str]]] = []
        self._server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self._server.handle_error = lambda *_: None  # type: ignore[method-assign]  # clients cut off on purpose
        self.url = f"http://127.0.0.1:{self._server.server_port}/"
        self.reset()

    def reset(self) -> None:
        """Return to the default answer and forget the requests."""
        self.requests.clear()
        self.answer: Answer = _today

    @contextmanager
    def running(self) -> Iterator["FeedServer"]:
        thread = Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
        thread.start()
        yield self
        self._server.shutdown()
        self._server.server_close()
        thread.join()
