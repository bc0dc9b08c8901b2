"""The project as installed from a wheel on another machine: its dependencies are there, the source tree is not."""

import os
import shutil
import subprocess
import sys
import sysconfig
import time
import venv
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import pytest

from tests.support.running import free_port

ROOT = Path(__file__).resolve().parents[2]
SOURCES = ("pyproject.toml", "service", "migrations", "openapi")
NOT_COPIED = shutil.ignore_patterns("__pycache__")
WORKSHOP = """
workshop: {name: Kiln Lane, time-zone: Europe/Dublin}
materials:
  hdpe:
    facts: {name: HDPE flakes, unit: kg, polymer: HDPE}
    rates: {2026-01-01: {price: {amount: 0.80, currency: EUR}}}
taxes:
  vat: {facts: {name: VAT, category: S}, rates: {2026-01-01: {rate_share: 0.21}}}
products:
  brick: {facts: {name: Brick, bill_of_materials: [{material: hdpe, quantity_per_piece: 1.5}]}}
"""
ORDER = """
customer: {name: Harbour Garden Trust}
lines: [{product: brick, quantity: 10, tax: vat, policy: {target: markup, value: 0.5}}]
"""
SECONDS = 30
# On Debian pip may exist only for the interpreter that this environment was made from.
PIP = [sys.executable if find_spec("pip") else getattr(sys, "_base_executable", sys.executable), "-m", "pip"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Installed:
    """A virtual environment with the project installed from a wheel; dependencies come from this environment.

    Attributes:
        binaries: the directory of its commands.
        environment: the environment variables to run them with.
    """

    binaries: Path
    environment: dict[str, str]

    def pugmill(self, *arguments: str, **environment: str) -> str:
        """The output of the command, run in the root directory. Fails if the command does."""
        ended = subprocess.run(
            [self.binaries / "pugmill", *arguments],
            env={**self.environment, **environment},
            cwd="/",
            capture_output=True,
            text=True,
            check=False,
        )
        assert ended.returncode == 0, ended.stderr
        return ended.stdout


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Installed:
    """The wheel is built from a copy of the sources, since a build leaves files beside them."""
    place = tmp_path_factory.mktemp("wheel")
    sources, home = place / "sources", place / "home"
    sources.mkdir()
    for name in SOURCES:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, sources / name, ignore=NOT_COPIED)
        else:
            shutil.copy(source, sources / name)
    venv.create(home, symlinks=True)
    build = f"from setuptools.build_meta import build_wheel; build_wheel({str(place)!r})"
    run([sys.executable, "-c", build], sources)
    (wheel,) = place.glob("*.whl")
    installing = ["install", "--no-deps", "--no-index", "--no-compile", str(wheel)]
    run([*PIP, "--python", str(home / "bin" / "python"), *installing], place)
    # The packages of this environment, without what its own .pth files add: the source tree is one of those.
    packages = home / "lib" / f"python{sysconfig.get_python_version()}" / "site-packages"
    (packages / "needed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("PUGMILL_", "PYTHON"))}
    url = f"sqlite:///{place / 'pugmill.db'}"
    return Installed(binaries=home / "bin", environment={**kept, "DATABASE_URL": url, "NO_PROXY": "127.0.0.1"})


def run(command: list[str], directory: Path) -> None:
    """Run the command to its end; its output is shown only if it fails."""
    ended = subprocess.run(command, cwd=directory, capture_output=True, text=True, check=False)
    assert ended.returncode == 0, ended.stdout + ended.stderr


@pytest.fixture(scope="module")
def key(installed: Installed) -> str:
    """The key of a workshop in a database that the installed command has created."""
    assert "tables are at revision 00" in installed.pugmill("migrate")
    return installed.pugmill("workshop", "create", "--name", "Kiln Lane", "--currency", "EUR").strip()


@pytest.fixture
def service(installed: Installed, key: str) -> Iterator[dict[str, str]]:
    """The owner's environment variables for the running service."""
    port = free_port()
    command = [installed.binaries / "pugmill", "serve", "--port", str(port), "--workers", "1"]
    process = subprocess.Popen(command, env=installed.environment, cwd="/", stderr=subprocess.PIPE, text=True)
    try:
        assert process.stderr is not None
        begun = time.monotonic()
        while "listening at " not in process.stderr.readline():
            assert process.poll() is None
            assert time.monotonic() - begun < SECONDS
        yield {"PUGMILL_URL": f"http://127.0.0.1:{port}", "PUGMILL_KEY": key}
    finally:
        process.terminate()
        process.communicate(timeout=SECONDS)


def test_migrates_serves_registers_and_quotes_from_any_directory(
    installed: Installed, service: dict[str, str], tmp_path: Path
) -> None:
    workshop, order = tmp_path / "workshop.yaml", tmp_path / "order.yaml"
    workshop.write_text(WORKSHOP)
    order.write_text(ORDER)

    registered = installed.pugmill("register", str(workshop), **service)
    quoted = installed.pugmill("quote", str(order), "--text", str(tmp_path / "quotation.txt"), **service)

    assert registered == "created: materials 1, taxes 1, products 1, rates 2.\n"
    assert "TOTAL" in quoted
    assert "Issued as Q000001." in quoted
    assert "Harbour Garden Trust" in (tmp_path / "quotation.txt").read_text()


def test_carries_the_contract(installed: Installed) -> None:
    contract = installed.binaries.parent / "share" / "pugmill" / "openapi" / "openapi.yaml"

    assert contract.read_bytes() == (ROOT / "openapi" / "openapi.yaml").read_bytes()


def test_what_is_installed_uses_nothing_of_the_source_tree(installed: Installed) -> None:
    python = [installed.binaries / "python", "-c", "import service; print(service.__file__)"]
    found = subprocess.run(python, env=installed.environment, cwd="/", capture_output=True, text=True, check=True)

    assert Path(found.stdout.strip()).is_relative_to(installed.binaries.parent)
