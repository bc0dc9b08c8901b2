"""What holds for every command of the workshop: how refusals and a service without an answer are reported."""

import flask
import pytest

from service.cli import main
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, REGISTER, end_of, loaded_demo

COMMANDS = [
    REGISTER,
    ("quote", str(DEMO / "order.yaml"), "--dry-run"),
    ("month", str(DEMO / "month.yaml")),
    ("price", "brick-stall"),
    ("change-tariff", "grid", "--from", "2026-11-30", "--price", "day=0.39"),
    ("reprice", "--dry-run"),
    ("refresh-exchange-rates",),
    ("export-prices",),
    ("workshop set",),
    ("record", str(DEMO / "batches.csv")),
    ("variances", "2026-31"),
    ("learn", "brick"),
]


@pytest.fixture(scope="module")
def demo(app: flask.Flask, contract: Contract) -> Client:
    return loaded_demo(app, contract)


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_refused_request_is_reported_in_the_words_of_the_service(
    demo: Client, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]
) -> None:
    ended = end_of(demo, capsys, *command, key="none")

    assert ended.status == 1
    assert ended.err.startswith(f"pugmill {command[0]}: ")
    assert "refused with 401: " in ended.err


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_service_that_does_not_answer_is_named(command: tuple[str, ...], capsys: pytest.CaptureFixture[str]) -> None:
    name, *arguments = command

    with pytest.raises(SystemExit) as stopped:
        main([*name.split(), "--url", "http://127.0.0.1:1", "--key", "none", *arguments], prog_name="pugmill")

    assert stopped.value.code == 4
    assert f"pugmill {name}: no answer from http://127.0.0.1:1 " in capsys.readouterr().err
