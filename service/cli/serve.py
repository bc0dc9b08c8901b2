"""The command serve, and the application that each worker runs."""

import gc
import os
from pathlib import Path
from tempfile import TemporaryDirectory

import click
from granian import Granian
from granian.constants import HTTPModes, Interfaces, Loops
from granian.http import HTTP1Settings

from service.api.operating.logs import SERVER_LOGS, configure
from service.api.operating.metrics import DIRECTORY as METRICS_DIRECTORY
from service.app import create_app
from service.arrivals import TABLE_BYTES
from service.cli.database import current_database
from service.config import ARRIVALS_VARIABLE, DEFAULT_HOST, DEFAULT_PORT, DEFAULT_WORKERS, settings_from_environment
from service.serving.front import Front

THREADS = 2
"""Threads of a worker: enough that one slow answer does not block others, and fewer than database connections."""
HEADER_SECONDS = 10
"""Time for a client to send a request's header, or the next request on an open connection."""
STOP_SECONDS = 60
"""Time for workers to finish running requests when the service is stopped; then they are killed."""
MAX_CONNECTIONS = 800
"""Open connections of a worker: fewer than the usual limit of 1,024 open files of a process."""
GARBAGE_THRESHOLD = 20_000


@click.command("serve")
@click.option("--host", default=DEFAULT_HOST, show_default=True)
@click.option("--port", default=DEFAULT_PORT, show_default=True, type=click.IntRange(1, 65535))
@click.option("--workers", default=DEFAULT_WORKERS, show_default=True, type=click.IntRange(1, 64))
def serve(host: str, port: int, workers: int) -> None:
    """Run the server; refuses to start if the tables are not up to date."""
    current_database()
    with TemporaryDirectory(prefix="pugmill-") as directory:
        table = Path(directory) / "arrivals"
        table.write_bytes(bytes(TABLE_BYTES))
        os.environ[ARRIVALS_VARIABLE] = str(table)
        figures = Path(directory) / "metrics"
        figures.mkdir()
        os.environ[METRICS_DIRECTORY] = str(figures)
        _serve(host, port, workers)


def _serve(host: str, port: int, workers: int) -> None:
    Granian(
        "service.cli.serve:application",
        address=host,
        port=port,
        interface=Interfaces.RSGI,
        workers=workers,
        backpressure=MAX_CONNECTIONS,
        workers_kill_timeout=STOP_SECONDS,
        http1_settings=HTTP1Settings(header_read_timeout=HEADER_SECONDS * 1000),
        http=HTTPModes.http1,
        loop=Loops.asyncio,
        factory=True,
        websockets=False,
        log_access=False,
        log_dictconfig=SERVER_LOGS,
    ).serve()


def application() -> Front:
    """The application of one worker."""
    given = settings_from_environment()
    configure(given.log_level)
    app = create_app(given)
    # These objects live as long as the process; without freezing, every garbage collection would scan them again.
    gc.collect()
    gc.freeze()
    gc.set_threshold(GARBAGE_THRESHOLD)
    return Front(app, threads=THREADS, seconds=given.time_limit)
