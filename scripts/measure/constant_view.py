"""A Flask view that returns a constant JSON body, on the service's own server: a baseline for benchmarks.

python constant_view.py PORT PROCESSES
"""

import json
import os
import signal
import socket
import sys
from pathlib import Path

import flask

from service.serving.server import STOP_SECONDS, Server, listening_at
from service.serving.supervisor import Supervisor

app = flask.Flask(__name__)
_BODY = json.loads(Path(os.environ["CONSTANT_BODY"]).read_text())


@app.get("/constant")
def constant() -> flask.Response:
    """Encode the same data as JSON each time."""
    return flask.jsonify(_BODY)


def main() -> None:
    """Serve the view until SIGTERM."""
    port, processes = map(int, sys.argv[1:])
    listening = listening_at("127.0.0.1", port)

    def answer(_: socket.socket) -> None:
        server = Server(app, listening, ())
        signal.signal(signal.SIGTERM, server.stop)
        server.run()

    def work(_: socket.socket) -> None:
        """There is no long work."""

    supervisor = Supervisor(
        answer=answer, work=work, listening=listening, processes=processes, stop_seconds=STOP_SECONDS
    )
    supervisor.run()


if __name__ == "__main__":
    main()
