"""A way to a database server that can be cut, or fall silent, while somebody is on it."""

import contextlib
import socket
from collections.abc import Iterator
from threading import Event, Thread

import sqlalchemy as sa


class Proxy:
    """Hands on what is sent to it; on this machine alone.

    Attributes:
        url: of the database, as it is reached through here.
    """

    def __init__(self, url: sa.URL) -> None:
        self._target = url
        self._listening = _listener(0)
        self._port: int = self._listening.getsockname()[1]
        self._open: list[socket.socket] = []
        self._is_silent = False
        self._comes_through = Event()  # set while something comes through
        self._comes_through.set()
        there = url.difference_update_query(["host", "port"]).set(host="127.0.0.1", port=self._port)
        self.url = there.render_as_string(hide_password=False)
        self._accept()

    def cut(self) -> None:
        """Nobody is on it any more, and nobody gets on."""
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self._drop()

    def fall_silent(self) -> None:
        """Who was on it is cut off; who comes is let in, and hears nothing."""
        self._is_silent = True
        self._drop()

    def hold(self) -> None:
        """Nothing comes through any more, and nobody is told."""
        self._comes_through.clear()

    def restore(self) -> None:
        """As it was; whoever waited in silence is sent away."""
        if self._listening.fileno() < 0:
            self._listening = _listener(self._port)
            self._accept()
        self._is_silent = False
        self._drop()
        self._comes_through.set()

    def _drop(self) -> None:
        while self._open:
            end = self._open.pop()
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _accept(self) -> None:
        Thread(target=self._accept_all, args=(self._listening,), daemon=True).start()

    def _accept_all(self, listening: socket.socket) -> None:
        with contextlib.suppress(OSError):  # it was closed
            while True:
                near, _ = listening.accept()
                self._open.append(near)
                if not self._is_silent:
                    far = self._connected()
                    self._open.append(far)
                    for one, other in ((near, far), (far, near)):
                        Thread(target=self._hand_on, args=(one, other), daemon=True).start()

    def _hand_on(self, one: socket.socket, other: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while part := one.recv(65536):
                self._comes_through.wait()
                other.sendall(part)
        for end in (one, other):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def _connected(self) -> socket.socket:
        host = self._target.host or str(self._target.query.get("host", "127.0.0.1"))
        port = self._target.port or int(str(self._target.query.get("port", "5432")))
        if not host.startswith("/"):
            return socket.create_connection((host, port))
        far = socket.socket(socket.AF_UNIX)
        far.connect(f"{host}/.s.PGSQL.{port}")
        return far


def _listener(port: int) -> socket.socket:
    return socket.create_server(("127.0.0.1", port))


@contextlib.contextmanager
def proxy_to(url: str) -> Iterator[Proxy]:
    """A proxy that is cut at the end."""
    found = Proxy(sa.make_url(url))
    yield found
    found.cut()
