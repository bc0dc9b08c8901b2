"""The command serve."""

import gc
import logging
import os
import signal
import socket
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import click

from service.api.operating.logs import configure
from service.api.operating.metrics import DIRECTORY as METRICS_DIRECTORY
from service.app import create_app
from service.arrivals import TABLE_BYTES, Arrivals
from service.cli.database import current_database, settings
from service.config import DEFAULT_HOST, DEFAULT_PORT, DEFAULT_WORKERS, Settings
from service.serving.long_work import LongWork, work
from service.serving.server import STOP_SECONDS, Server, listening_at
from service.serving.supervisor import Supervisor

GARBAGE_THRESHOLD = 20_000
"""New objects after which garbage is collected: most live as long as a request."""
_logger = logging.getLogger("pugmill.serving")
WATCHED = ("/health", "/ready", "/metrics")
"""Paths that are answered beside anything else."""


@click.command("serve")
@click.option("--host", default=DEFAULT_HOST, show_default=True)
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(1, 65535))
@click.option(
    "--workers",
    default=DEFAULT_WORKERS,
    show_default=True,
    type=click.IntRange(1, 64),
    help="Processes that answer; as many again are started for long work when there is some.",
)
def serve(host: str, port: int, workers: int) -> None:
    """Run the server; refuses to start if the tables are not up to date."""
    current_database().dispose()  # no connection may be shared by processes
    given = settings()
    configure(given.log_level)
    try:
        listening = listening_at(host, port)
    except OSError as error:
        told = f"cannot listen at {host}:{port}: {error.strerror}; end what listens there, or use another --port"
        raise click.ClickException(told) from None
    with listening, TemporaryDirectory(prefix="pugmill-") as directory:
        service = _Service(given, listening, Path(directory))
        _logger.info("listening at http://%s:%s", host, port)
        Supervisor(
            answer=service.answer, work=service.work, listening=listening, processes=workers, stop_seconds=STOP_SECONDS
        ).run()


class _Service:
    """What the processes of the service have in common, made before the first of them."""

    def __init__(self, given: Settings, listening: socket.socket, directory: Path) -> None:
        figures = directory / "metrics"
        figures.mkdir()
        os.environ[METRICS_DIRECTORY] = str(figures)
        self._arrivals = directory / "arrivals"
        self._arrivals.write_bytes(bytes(TABLE_BYTES))
        self._limit, self._listening = given.rate_limit, listening
        gc.set_threshold(GARBAGE_THRESHOLD)
        # Keys are counted where they are answered, through the table that those processes share.
        self._app = create_app(replace(given, rate_limit=None))
        gc.collect()

    def answer(self, supervisor: socket.socket) -> None:
        """Answer requests, in a process of its own, until SIGTERM."""
        self._app.extensions["pugmill.metrics"].begin()
        self._app.extensions["pugmill.long_work"] = LongWork(supervisor)
        if self._limit is not None:
            self._app.extensions["pugmill.arrivals"] = Arrivals(self._limit, self._arrivals)
        server = Server(self._app, self._listening, WATCHED)
        signal.signal(signal.SIGTERM, server.stop)
        server.run()
        self._app.extensions["pugmill.database"].dispose()

    def work(self, supervisor: socket.socket) -> None:
        """Do long work, in a process of its own."""
        self._app.extensions["pugmill.metrics"].begin()
        work(self._app, supervisor)
