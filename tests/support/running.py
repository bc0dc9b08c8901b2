"""The service in production form: `pugmill serve` in processes of its own, and raw connections to it."""

import contextlib
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from tests.support.processes import SECONDS

HERE = Path(__file__).resolve().parents[2]


class Running:
    """A running service.

    Attributes:
        port: its port on this machine.
        key: the key of its only workshop.
        errors: the file that receives its standard error.
    """

    def __init__(self, process: subprocess.Popen[bytes], port: int, key: str, errors: Path) -> None:
        self._process, self.port, self.key, self.errors = process, port, key, errors

    def stop(self) -> int:
        """Stop it with SIGTERM, as a service manager does; returns its exit status."""
        self._process.send_signal(signal.SIGTERM)
        return self.ended()

    def tell_to_stop(self) -> None:
        self._process.send_signal(signal.SIGTERM)

    def ended(self) -> int:
        return self._process.wait(SECONDS)

    def processes(self) -> list[int]:
        """The process ids of the main process and its workers."""
        children = Path(f"/proc/{self._process.pid}/task/{self._process.pid}/children").read_text().split()
        return [self._process.pid, *map(int, children)]

    def connect(self) -> socket.socket:
        return socket.create_connection(("127.0.0.1", self.port), timeout=SECONDS)

    def is_listening(self) -> bool:
        with contextlib.suppress(ConnectionError):
            self.connect().close()
            return True
        return False

    def head(self, method: str, path: str, *lines: str) -> bytes:
        """The request line and header of a request with the workshop's key."""
        told = [f"{method} {path} HTTP/1.1", "Host: service.example", f"Authorization: Bearer {self.key}", *lines]
        return "\r\n".join([*told, "", ""]).encode("latin-1")

    def ask(self, method: str, path: str, *lines: str, body: bytes = b"") -> bytes:
        """Send a request; returns everything received until the service closes the connection."""
        return self.tell(self.head(method, path, "Connection: close", *lines) + body)

    def tell(self, request: bytes) -> bytes:
        """Send bytes; returns everything received until the service closes the connection."""
        with self.connect() as connection:
            connection.sendall(request)
            return everything(connection)


def everything(connection: socket.socket) -> bytes:
    """Everything received until the other side closes the connection."""
    return b"".join(iter(lambda: connection.recv(65536), b""))


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@contextlib.contextmanager
def running(directory: Path, **environment: str) -> Iterator[Running]:
    """A running service with one workshop, on an SQLite database of its own or on DATABASE_URL if it is given."""
    url = environment.pop("DATABASE_URL", f"sqlite:///{directory / 'running.db'}")
    errors, port = directory / "stderr", free_port()
    database = Database(url)
    migrate(database)
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en_IE", time_zone="UTC")
    key = keys.create_workshop(database, workshop, "tests")
    database.dispose()
    with errors.open("wb") as stderr:
        process = subprocess.Popen(
            [sys.executable, "-m", "service.cli", "serve", "--port", str(port)],
            env={**os.environ, "DATABASE_URL": url, "TMPDIR": str(directory), **environment},
            stderr=stderr,
            cwd=HERE,
        )
    service = Running(process, port, key, errors)
    try:
        _await(service)
        yield service
    finally:
        process.terminate()
        process.wait(SECONDS)


def refused_at(port: int, directory: Path) -> str:
    """What `pugmill serve` says when it does not start at the port."""
    url = f"sqlite:///{directory / 'refused.db'}"
    migrate(Database(url))
    command = [sys.executable, "-m", "service.cli", "serve", "--port", str(port)]
    ended = subprocess.run(
        command,
        env={**os.environ, "DATABASE_URL": url},
        cwd=HERE,
        capture_output=True,
        text=True,
        timeout=SECONDS,
        check=False,
    )
    assert ended.returncode == 1
    return ended.stderr


def _await(service: Running) -> None:
    """Wait until the service answers."""
    for _ in range(SECONDS * 10):
        if service.is_listening():
            assert service.ask("GET", "/ready").startswith(b"HTTP/1.1 200"), service.errors.read_text()
            return
        time.sleep(0.1)
    raise AssertionError(service.errors.read_text())
