"""The command pugmill: its help, its start time, and its shell completion."""

import json
import subprocess
import sys

import click
import pytest
from click.testing import CliRunner

from service.cli import main
from service.cli.commands import Commands, Listed

HEAVY = ["alembic", "babel", "flask", "requests", "sqlalchemy", "tqdm", "typst", "vl_convert", "waitress"]
LOADED = f"""
import json, sys
from click.testing import CliRunner
from service.cli import main
for name in json.loads(sys.argv[1]):
    assert CliRunner().invoke(main, [*name, "--help"]).exit_code == 0, name
print(json.dumps([name for name in {HEAVY} if name in sys.modules]))
"""


def listed() -> dict[str, Listed]:
    assert isinstance(main, Commands)
    return {name: each for commands in main.sections.values() for name, each in commands.items()}


def loaded_by(*commands: list[str]) -> list[str]:
    """The heavy packages that are loaded by showing the help of these commands."""
    command = [sys.executable, "-c", LOADED, json.dumps(commands)]
    found: list[str] = json.loads(subprocess.run(command, capture_output=True, text=True, check=True).stdout)
    return found


def completed(*words: str, incomplete: str) -> list[str]:
    """The completions that bash is given for the words."""
    environment = {
        "_PUGMILL_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(["pugmill", *words, incomplete]),
        "COMP_CWORD": str(len(words) + 1),
    }
    told = CliRunner().invoke(main, prog_name="pugmill", env=environment)
    return [line.partition(",")[2] for line in told.output.splitlines()]


@pytest.mark.parametrize("name", ["", *listed()])
def test_every_help_fits_a_terminal(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    commands: list[list[str]] = [[name] if name else []]
    if name and isinstance(group := listed()[name].command(), click.Group):
        commands += [[name, each] for each in group.list_commands(click.Context(group))]

    for words in commands:
        told = CliRunner().invoke(main, [*words, "--help"]).output.splitlines()
        assert told[0].startswith("Usage: ")
        assert [line for line in told if len(line) > 80] == []


@pytest.mark.parametrize(("name", "command"), listed().items(), ids=listed())
def test_every_command_that_is_listed_is_there_under_its_name(name: str, command: Listed) -> None:
    assert command.command().name == name


def test_the_help_lists_every_command_under_the_workshop_or_the_server() -> None:
    told = CliRunner().invoke(main, ["--help"]).output

    owners, servers = told.partition("The workshop's commands:")[2].split("The server's commands:")
    for name, command in listed().items():
        part = owners if command.place.startswith("service.client.") else servers
        assert f"\n  {name} " in part


def test_the_help_and_that_of_the_owners_commands_load_no_slow_packages() -> None:
    owners = [[name] for name, command in listed().items() if command.place.startswith("service.client.")]

    assert loaded_by([], *owners) == []


def test_a_command_of_the_server_loads_what_it_needs() -> None:
    assert "sqlalchemy" in loaded_by(["migrate"])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["quotes"], "No such command 'quotes'. Did you mean 'quote'?"),
        (["workshop", "creat"], "No such command 'creat'. Did you mean 'create'?"),
        (["quote", "--custmer", "x"], "No such option '--custmer'. (Did you mean one of: '--customer', '--document'?)"),
    ],
)
def test_an_unknown_command_or_option_is_told_the_nearest(words: list[str], told: str) -> None:
    ended = CliRunner().invoke(main, words)

    assert ended.exit_code == 2
    assert told in ended.output


def test_completes_names_of_commands_and_options() -> None:
    assert completed(incomplete="re") == [
        "register",
        "reprice",
        "record",
        "refresh-exchange-rates",
        "restore",
        "recompute-quotations",
    ]
    assert completed("quote", incomplete="--dr") == ["--dry-run", "--draft"]
    assert completed("workshop", incomplete="ex") == ["export"]


def test_options_that_exclude_each_other_are_refused_together() -> None:
    command = listed()["quote"].command()

    assert isinstance(command, click.Command)
    for one, other in (("--margin", "--markup"), ("--markup", "--margin")):
        ended = CliRunner().invoke(command, ["order.yaml", "--key", "none", one, "0.1", other, "0.2"])
        assert ended.exit_code == 2
        assert "is not allowed with" in ended.output
