"""The demo workshop, and pugmill's commands run as typed; only the network is replaced."""

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
    """The demo workshop as scripts/start creates it, still empty."""
    workshop = new_workshop(**{name.replace("-", "_"): text for name, text in _described().items()})
    key = keys.create_workshop(app.extensions["pugmill.database"], workshop, "tests")
    return Client(app=app, contract=contract, key=key, workshop=workshop)


@cache
def _described() -> dict[str, str]:
    described: dict[str, str] = yaml.safe_load((DEMO / "workshop.yaml").read_text())["workshop"]
    return described


def loaded_demo(app: flask.Flask, contract: Contract) -> Client:
    """The demo workshop with everything registered, but no prices in force; registered once, then copied."""
    client = new_demo(app, contract)
    _register_demo(client)
    return client


@furnishes
def _register_demo(client: Client) -> None:
    run_command(client, *REGISTER)


@contextmanager
def answered_by(client: Client, before: Callable[[Any], None] | None = None) -> Iterator[None]:
    """Pass requests that commands send to the service on to the application, without a network.

    Args:
        before: called with each request before it is answered; an error that it raises is a network error, and an
            answer that it returns is sent in place of the service's.
    """

    def answer(request: Any, context: Any) -> Any:
        if before is not None and (instead := before(request)) is not None:
            return instead
        response = client.request(request.method, request.path_url, request.body, headers=dict(request.headers))
        context.status_code, context.headers = response.status_code, dict(response.headers)
        return response.data

    # real_http: the service itself requests the tests' feed over the network.
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
    """Run a command of pugmill as the command line does, or another program's click command.

    Raises:
        SystemExit: the command ends with a status other than 0.
    """
    words = name.split() if command is main else []
    with answered_by(client, before):
        try:
            command.main([*words, "--url", f"{URL}/", "--key", key or client.key, *arguments], prog_name=PROGRAM)
        except SystemExit as stopped:
            if stopped.code:
                raise


@dataclass(frozen=True, slots=True)
class Ended:
    """The exit status of a command, and what it printed."""

    status: int
    out: str
    err: str


def end_of(client: Client, capsys: pytest.CaptureFixture[str], name: str, *arguments: str, **options: Any) -> Ended:
    """Run a command to its end; does not raise if it fails."""
    capsys.readouterr()
    code: Any = 0
    try:
        run_command(client, name, *arguments, **options)
    except SystemExit as stopped:
        code = stopped.code
    printed = capsys.readouterr()
    return Ended(int(code), printed.out, printed.err)


def items(client: Client, collection: str) -> list[dict[str, Any]]:
    """All items of a collection (at most 100)."""
    found: list[dict[str, Any]] = client.get(f"{collection}?limit=100").json["items"]
    return found
