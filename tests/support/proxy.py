"""A proxy for a database server, whose connections a test can cut or silence while they are in use."""

import contextlib
import socket
from collections.abc import Iterator
from threading import Event, Thread

import sqlalchemy as sa


class Proxy:
    """Forwards connections to the server; listens on this machine only.

    Attributes:
        url: the address of the database through this proxy.
    """

    def __init__(self, url: sa.URL) -> None:
        self._target = url
        self._listening = _listener(0)
        self._port: int = self._listening.getsockname()[1]
        self._open: list[socket.socket] = []
        self._is_silent = False
        self._comes_through = Event()  # set while data is forwarded
        self._comes_through.set()
        there = url.difference_update_query(["host", "port"]).set(host="127.0.0.1", port=self._port)
        self.url = there.render_as_string(hide_password=False)
        self._accept()

    def cut(self) -> None:
        """Close all connections and refuse new ones."""
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self._drop()

    def fall_silent(self) -> None:
        """Close all connections; accept new ones, but never answer them."""
        self._is_silent = True
        self._drop()

    def hold(self) -> None:
        """Stop forwarding data without closing any connection."""
        self._comes_through.clear()

    def restore(self) -> None:
        """Forward again as at the start; close the connections that are open."""
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
        with contextlib.suppress(OSError):  # the listening socket was closed
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
    """A running proxy for the database at the address; cut at the end."""
    found = Proxy(sa.make_url(url))
    yield found
    found.cut()
