"""The scripts: each runs from any directory and explains itself with --help. Style and types are checked everywhere."""

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
    """Every executable file of the folder."""
    return sorted(path for path in SCRIPTS.rglob("*") if path.is_file() and os.access(path, os.X_OK))


def test_there_are_scripts_in_each_folder() -> None:
    assert {path.parent for path in scripts()} == {SCRIPTS, SCRIPTS / "demo", SCRIPTS / "measure"}


@pytest.mark.parametrize("script", scripts(), ids=lambda path: str(path.relative_to(SCRIPTS)))
def test_explains_itself_from_any_directory(script: Path) -> None:
    asked = subprocess.run([script, "--help"], cwd="/", capture_output=True, text=True, check=False)

    assert (asked.returncode, asked.stderr) == (0, "")
    assert len(asked.stdout.splitlines()) >= 3


def test_the_style_of_every_python_file_is_checked() -> None:
    ruff = [sys.executable, "-m", "ruff", "check", "--show-files"]
    seen = subprocess.run(ruff, cwd=ROOT, capture_output=True, text=True, check=True).stdout.splitlines()

    ours = {str(path) for part in (*TYPED, "tests") for path in modules(part)}
    assert ours - {*seen} == set()


def test_the_types_of_every_python_file_except_tests_are_checked() -> None:
    patterns = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["mypy"]["files"]
    named = [path for pattern in patterns for path in ROOT.glob(pattern)]

    seen = {path for each in named for path in ([each] if each.is_file() else each.rglob("*.py"))}
    assert {path for part in TYPED for path in modules(part)} - seen == set()
