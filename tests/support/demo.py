"""The demo workshop and the workshop's commands, as they are typed; the network alone is stood in for."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import click
import flask
import pytest
import requests_mock as network
import yaml

from service.cli import main
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.furnishing import furnishes

SCRIPTS = Path(__file__).resolve().parents[2] / "scripts"
DEMO = SCRIPTS / "demo"
MEASURE = SCRIPTS / "measure"
REGISTER = ("register", str(DEMO / "workshop.yaml"))
URL = "http://pugmill.example"
PROGRAM = "pugmill"


def new_demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop as scripts/start makes it, with nothing in it yet."""
    workshop = new_workshop(**{name.replace("-", "_"): text for name, text in _described().items()})
    key = keys.create_workshop(app.extensions["pugmill.database"], workshop, "tests")
    return Client(app=app, contract=contract, key=key, workshop=workshop)


@cache
def _described() -> dict[str, str]:
    described: dict[str, str] = yaml.safe_load((DEMO / "workshop.yaml").read_text())["workshop"]
    return described


def loaded_demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop with everything in it, its prices not in force yet; registered once, then copied."""
    client = new_demo(app, contract)
    _register_demo(client)
    return client


@furnishes
def _register_demo(client: Client) -> None:
    run_command(client, *REGISTER)


@contextmanager
def answered_by(client: Client, before: Callable[[Any], None] | None = None) -> Iterator[None]:
    """What is sent to the service reaches the application.

    Args:
        before: called with each request before it is answered; what it raises is what the network does, and what it
            returns is answered in place of the service.
    """

    def answer(request: Any, context: Any) -> Any:
        if before is not None and (instead := before(request)) is not None:
            return instead
        response = client.request(request.method, request.path_url, request.body, headers=dict(request.headers))
        context.status_code, context.headers = response.status_code, dict(response.headers)
        return response.data

    # The service itself asks the tests' feed, over the network.
    with network.Mocker(real_http=True) as mocker:
        mocker.register_uri(network.ANY, re.compile(f"^{URL}/"), content=answer)
        yield


def run_command(
    client: Client,
    name: str,
    *arguments: str,
    key: str | None = None,
    before: Callable[[Any], None] | None = None,
    command: click.Command = main,
) -> None:
    """Run a command of pugmill as the command line does, or one that is not pugmill's.

    Raises:
        SystemExit: it ends with another status than 0.
    """
    words = [name] if command is main else []
    with answered_by(client, before):
        try:
            command.main([*words, "--url", f"{URL}/", "--key", key or client.key, *arguments], prog_name=PROGRAM)
        except SystemExit as stopped:
            if stopped.code:
                raise


@dataclass(frozen=True, slots=True)
class Ended:
    """How a command ended: its exit status, and what it printed."""

    status: int
    out: str
    err: str


def end_of(client: Client, capsys: pytest.CaptureFixture[str], name: str, *arguments: str, **options: Any) -> Ended:
    """Run a command to its end, whichever that is."""
    capsys.readouterr()
    code: Any = 0
    try:
        run_command(client, name, *arguments, **options)
    except SystemExit as stopped:
        code = stopped.code
    printed = capsys.readouterr()
    return Ended(int(code), printed.out, printed.err)


def items(client: Client, collection: str) -> list[dict[str, Any]]:
    """Everything in a collection."""
    found: list[dict[str, Any]] = client.get(f"{collection}?limit=100").json["items"]
    return found
