"""A Flask view that returns a constant JSON body, the baseline of scripts/measure/benchmark."""

import json
import os
from pathlib import Path

import flask

app = flask.Flask(__name__)
_BODY = json.loads(Path(os.environ["CONSTANT_BODY"]).read_text())


@app.get("/constant")
def constant() -> flask.Response:
    """Encode the same data as JSON each time."""
    return flask.jsonify(_BODY)
