"""A Flask view that returns a constant JSON body: what scripts/measure/benchmark holds the service against."""

import json
import os
from pathlib import Path

import flask

app = flask.Flask(__name__)
_BODY = json.loads(Path(os.environ["CONSTANT_BODY"]).read_text())


@app.get("/constant")
def constant() -> flask.Response:
    """The same data each time, made into JSON each time."""
    return flask.jsonify(_BODY)
