"""The scripts: each runs by its name from any directory and says what it is for; style and types are held of all."""

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from tests.project.test_dependencies import modules
from tests.support.demo import SCRIPTS

ROOT = SCRIPTS.parent
TYPED = ("service", "migrations", "scripts")


def scripts() -> list[Path]:
    """Every file of the folder that can be run."""
    return sorted(path for path in SCRIPTS.rglob("*") if path.is_file() and os.access(path, os.X_OK))


def test_there_are_scripts_in_each_folder() -> None:
    assert {path.parent for path in scripts()} == {SCRIPTS, SCRIPTS / "demo", SCRIPTS / "measure"}


@pytest.mark.parametrize("script", scripts(), ids=lambda path: str(path.relative_to(SCRIPTS)))
def test_says_what_it_is_for_wherever_it_is_asked(script: Path) -> None:
    asked = subprocess.run([script, "--help"], cwd="/", capture_output=True, text=True, check=False)

    assert (asked.returncode, asked.stderr) == (0, "")
    assert len(asked.stdout.splitlines()) >= 3


def test_every_file_of_python_is_looked_at_for_style() -> None:
    ruff = [sys.executable, "-m", "ruff", "check", "--show-files"]
    seen = subprocess.run(ruff, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()

    ours = {str(path) for part in (*TYPED, "tests") for path in modules(part)}
    assert ours - {*seen} == set()


def test_every_file_of_python_but_the_tests_is_looked_at_for_types() -> None:
    patterns = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mypy"]["files"]
    named = [path for pattern in patterns for path in ROOT.glob(pattern)]

    seen = {path for each in named for path in ([each] if each.is_file() else each.rglob("*.py"))}
    assert {path for part in TYPED for path in modules(part)} - seen == set()
