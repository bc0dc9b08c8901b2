"""The WSGI application called without a server: the processor time of an answer, beside that of the constant view."""

import gc
import importlib
import io
import itertools
import os
import statistics
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import Any

import flask
from benchmark_server import ROOT, pugmill
from benchmark_workshop import EACH_LISTING, EACH_SHEET, LISTING, LISTINGS, SHEET, register

from service.api.operating.logs import configure
from service.app import create_app
from service.cli.serve import GARBAGE_THRESHOLD
from service.config import Settings

Application = Callable[[dict[str, Any], Callable[..., Any]], Iterable[bytes]]
ANSWERS = 300
"""Answers to each question in a round."""


class Client:
    """Calls an application with one key."""

    def __init__(self, application: Application, key: str) -> None:
        self._application, self._key = application, key
        self._status = ""

    def ask(self, address: str, method: str = "GET", body: bytes = b"") -> bytes:
        """The body of the answer; ends the benchmark if it is a refusal."""
        path, _, query = address.partition("?")
        parts = self._application(self._environ(method, path, query, body), self._begin)
        answer = b"".join(parts)
        close = getattr(parts, "close", None)
        if close is not None:
            close()
        if self._status[0] != "2":
            sys.exit(f"{self._status}: {answer.decode()}")
        return answer

    def put(self, path: str, body: Any) -> None:
        """Put a body at an address under /v1."""
        self.ask(f"/v1/{path}", "PUT", flask.json.dumps(body).encode())

    def _begin(self, status: str, _headers: list[tuple[str, str]], _fault: Any = None) -> None:
        self._status = status

    def _environ(self, method: str, path: str, query: str, body: bytes) -> dict[str, Any]:
        return {
            "REQUEST_METHOD": method,
            "SCRIPT_NAME": "",
            "PATH_INFO": path,
            "QUERY_STRING": query,
            "SERVER_NAME": "127.0.0.1",
            "SERVER_PORT": "80",
            "SERVER_PROTOCOL": "HTTP/1.1",
            "REMOTE_ADDR": "127.0.0.1",
            "HTTP_HOST": "127.0.0.1",
            "HTTP_AUTHORIZATION": f"Bearer {self._key}",
            **({"CONTENT_TYPE": "application/json", "CONTENT_LENGTH": str(len(body))} if body else {}),
            "wsgi.version": (1, 0),
            "wsgi.url_scheme": "http",
            "wsgi.input": io.BytesIO(body),
            "wsgi.input_terminated": True,
            "wsgi.errors": sys.stderr,
            "wsgi.multithread": True,
            "wsgi.multiprocess": True,
            "wsgi.run_once": False,
        }


def processor_time(client: Client, addresses: Iterator[str], answers: int = ANSWERS) -> float:
    """Microseconds of processor an answer."""
    begun = time.process_time()
    for address in itertools.islice(addresses, answers):
        client.ask(address)
    return (time.process_time() - begun) / answers * 1e6


def applications(url: str, directory: Path) -> dict[str, Application]:
    """The service with and without memory, as a worker of `pugmill serve` has it but for the log at level WARNING."""
    gc.set_threshold(GARBAGE_THRESHOLD)
    (directory / "metrics").mkdir()
    os.environ["PROMETHEUS_MULTIPROC_DIR"] = str(directory / "metrics")
    configure("WARNING")
    common: dict[str, Any] = {"database_url": url, "rate_limit": None}
    return {name: create_app(Settings(**common, has_memory=name == "kept")) for name in ("kept", "computed")}


def measure_in_process(url: str, directory: Path, rounds: int) -> None:
    """Measure, and print the processor time of each answer and what it adds to that of the constant view."""
    common = {"DATABASE_URL": url, "PYTHONPATH": str(ROOT)}
    pugmill(["migrate"], common)
    key = pugmill(["workshop", "create", "--name", "Benchmark", "--currency", "EUR"], common)
    clients = {name: Client(each, key) for name, each in applications(url, directory).items()}
    register(clients["kept"].put)
    body = directory / "body.json"
    body.write_bytes(clients["kept"].ask(SHEET))
    os.environ["CONSTANT_BODY"] = str(body)
    clients["constant"] = Client(importlib.import_module("constant_view").app, key)
    gc.collect()
    gc.freeze()
    compare(clients, rounds)


def compare(clients: dict[str, Client], rounds: int) -> None:
    """Ask each question in turn, and print the medians."""
    numbers = itertools.count(1000)
    each_sheet = (EACH_SHEET.format(number=number) for number in numbers)
    each_listing = (EACH_LISTING.format(listing=number % LISTINGS) for number in numbers)
    asked = {
        "constant view": ("constant", itertools.repeat("/constant")),
        "first time": ("kept", each_sheet),
        "repeated": ("kept", itertools.repeat(SHEET)),
        "memory off": ("computed", itertools.repeat(SHEET)),
        "listing, first time": ("kept", each_listing),
        "listing, repeated": ("kept", itertools.repeat(LISTING)),
        "listing, memory off": ("computed", itertools.repeat(LISTING)),
    }
    costs: dict[str, list[float]] = {name: [] for name in asked}
    for number in range(rounds + 1):
        day = f"exchange-rates/2026-01-{number + 1:02}"
        for name, (client, addresses) in asked.items():
            if addresses is each_listing:  # another state of the workshop, of which nothing is remembered
                clients[client].put(day, {"base": "EUR", "rates": {"CHF": "0.93"}})
            cost = processor_time(clients[client], addresses)
            if number:  # the first round warms up
                costs[name].append(cost)
    base = statistics.median(costs["constant view"])
    for name in asked:
        cost, ratio = statistics.median(costs[name]), ratio_of(costs[name], costs["constant view"])
        print(f"{name:20} {cost:6.0f} µs of processor an answer, × {ratio:5.2f}, + {cost - base:6.0f} µs")


def ratio_of(costs: list[float], of: list[float]) -> float:
    """The median of the ratios within each round: what else runs on the machine changes from round to round."""
    return statistics.median(one / other for one, other in zip(costs, of, strict=True))
