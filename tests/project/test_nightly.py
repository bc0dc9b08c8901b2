"""The nightly run keeps its time limit, and reports each failure with the command that reproduces it."""

import sys
import time
from collections.abc import Callable
from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path
from typing import Any

import pytest

from tests.support.demo import SCRIPTS


@pytest.fixture
def nightly(monkeypatch: pytest.MonkeyPatch) -> Any:
    """The script as a module, whose parts a test can replace."""
    loader = SourceFileLoader("nightly", str(SCRIPTS / "measure" / "nightly"))
    spec = spec_from_loader(loader.name, loader)
    assert spec is not None
    module = module_from_spec(spec)
    monkeypatch.setitem(sys.modules, loader.name, module)  # dataclasses look up their module in sys.modules
    loader.exec_module(module)
    return module


def says(code: str) -> Callable[[int, int], list[str]]:
    return lambda seed, _: [sys.executable, "-c", f"seed = {seed}; {code}"]


def run_of(nightly: Any, monkeypatch: pytest.MonkeyPatch, minutes: float, *parts: Any) -> int:
    monkeypatch.setattr(nightly, "parts", lambda: list(parts))
    monkeypatch.setattr(sys, "argv", ["nightly", "--minutes", str(minutes), "--seed", "7"])
    status: int = nightly.main()
    return status


def test_a_part_is_repeated_with_another_seed_while_there_is_time(
    nightly: Any, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    seeds = tmp_path / "seeds"
    part = nightly.Part(name="it", weight=1, command=says(f"print(seed, file=open({str(seeds)!r}, 'a'))"))

    assert run_of(nightly, monkeypatch, 0.05, part) == 0

    assert seeds.read_text().split()[:2] == ["7", "1007"]
    assert part.outcome == "nothing found"


def test_a_failure_is_reported_with_the_command_that_reproduces_it(
    nightly: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    part = nightly.Part(name="it", weight=1, command=says("print('the cup is broken'); exit(1)"))

    assert run_of(nightly, monkeypatch, 1, part) == 1

    told = capsys.readouterr().out
    assert "the cup is broken" in told
    assert told.splitlines()[-1].startswith(f"{sys.executable} -c ")
    assert part.rounds == 1, "it goes on to the next part"


@pytest.mark.parametrize(
    ("said", "status"), [("....", 0), ("FAILED tests/test_cup.py", 1)], ids=["nothing found", "something found"]
)
def test_a_part_still_running_at_the_time_limit_is_ended_and_counts_only_if_it_found_something(
    nightly: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], said: str, status: int
) -> None:
    end = f"lambda *_: (print({said!r}, flush=True), sys.exit(2))"
    waits = f"import signal, sys, time; signal.signal(signal.SIGINT, {end}); time.sleep(600)"
    part, begun = nightly.Part(name="it", weight=1, command=says(waits)), time.monotonic()

    assert run_of(nightly, monkeypatch, 0.05, part) == status

    assert time.monotonic() - begun < 60
    assert part.rounds == 0
    assert part.cut_off >= 1
    assert ("not once to the end" in capsys.readouterr().out) == (status == 0)


def test_the_parts_are_commands_that_exist(nightly: Any) -> None:
    root = SCRIPTS.parent
    commands = [part.command(1, 600) for part in nightly.parts()]

    named = [word for command in commands for word in command if word.startswith("scripts/")]
    assert len(commands) == 5
    assert [word for word in named if not (root / word).is_file()] == []
    assert len(named) == 3
