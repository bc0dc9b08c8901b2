"""The script for mutation testing, tried on a small project with known gaps in its tests."""

import json
import os
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.support.demo import SCRIPTS

with pytest.MonkeyPatch.context() as patch:
    patch.syspath_prepend(str(SCRIPTS / "measure"))
    slips = import_module("slips")

TARIFF = '''"""What electricity costs."""

FREE_KWH = 5
RATES = {
    "day": 3,
    "night": 2,
}


def price(kwh, band="day"):
    """The price of some electricity."""
    if kwh <= FREE_KWH:
        return 0
    elif band not in RATES:
        raise ValueError(band)
    return RATES[band] * (
        kwh
        - FREE_KWH
    )


def main():
    print(price(25))


if __name__ == "__main__":
    main()
'''
TESTS = '''"""Tests everything except the night rate and an unknown band."""

import subprocess
import sys

import pytest

from house.tariff import price


@pytest.fixture(scope="module")
def told():
    return subprocess.run([sys.executable, "-m", "house.tariff"], capture_output=True, text=True).stdout


def test_little_is_free():
    assert price(5) == 0


@pytest.mark.parametrize("kwh", [6, 7])
def test_more_costs(kwh):
    assert price(kwh) == 3 * (kwh - 5)


def test_the_command_begins_with_a_figure(told):
    assert told[:1].isdigit()


def test_the_command_tells_a_price(told):
    assert told.strip() == "60"
'''


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A project with a module and its tests."""
    place = tmp_path / "house"
    for name, text in (("house/__init__.py", ""), ("house/tariff.py", TARIFF), ("tests/test_tariff.py", TESTS)):
        (place / name).parent.mkdir(parents=True, exist_ok=True)
        (place / name).write_text(text)
    subprocess.run(["git", "init", "--quiet", str(place)], check=True)
    return place


def tried(house: Path, *found: dict[str, str]) -> tuple[int, list[dict[str, Any]], str]:
    """Run the script; returns its exit status, its findings, and its output."""
    file, out = house.parent / "slips.yaml", house.parent / "fates.json"
    file.write_text(yaml.safe_dump([{"file": "house/tariff.py", "note": "", **each} for each in found]))
    command = [sys.executable, str(SCRIPTS / "measure" / "mutations"), str(file), "--tree", str(house)]
    options, environment = (
        ["--out", str(out), "--processes", "1"],
        {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"},
    )
    done = subprocess.run([*command, *options], env=environment, capture_output=True, text=True, check=False)
    return done.returncode, json.loads(out.read_text()) if out.exists() else [], done.stdout + done.stderr


def test_a_slip_is_killed_by_the_first_failing_test_or_survives(house: Path) -> None:
    code, fates, told = tried(
        house,
        {"old": "kwh <= FREE_KWH", "new": "kwh <= 10 * FREE_KWH"},
        {"old": '"night": 2', "new": '"night": 3', "note": "the night costs what the day does"},
        {"old": "raise ValueError(band)", "new": "return 0"},
        {"old": "print(price(25))", "new": "print(price(26))"},
        {"old": "FREE_KWH = 5", "new": "FREE_KWH = nowhere"},
    )

    assert [(each["fate"], each["by"]) for each in fates] == [
        ("killed", "tests/test_tariff.py::test_more_costs[6]"),
        ("survived", ""),
        ("survived", ""),
        ("killed", "tests/test_tariff.py::test_the_command_tells_a_price"),
        ("killed", "tests/test_tariff.py"),
    ], told
    assert [each["reaching"] for each in fates] == [5, 5, 0, 2, 5]
    assert code == 1
    assert "survived: 2  the night costs what the day does" in told
    assert (house / "house/tariff.py").read_text() == TARIFF


@pytest.mark.parametrize("old", ["FREE_KWH", "FREE_GAS"], ids=["several times", "nowhere"])
def test_a_text_that_does_not_occur_exactly_once_is_refused(house: Path, old: str) -> None:
    code, fates, told = tried(house, {"old": old, "new": "0"})

    assert (code, fates) == (2, [])
    assert "not once" in told


def test_a_slip_within_a_statement_is_probed_before_the_whole_statement() -> None:
    probed, of_imports = slips.probed(
        TARIFF,
        [
            slips.Slip(number=1, file="", old="band not in RATES", new="band in RATES", note=""),
            slips.Slip(number=2, file="", old="        - FREE_KWH", new="", note=""),
            slips.Slip(number=3, file="", old="FREE_KWH = 5", new="FREE_KWH = 6", note=""),
        ],
    )

    probe = '    __import__("reached").reached({})\n    {}'
    assert probe.format(1, "if kwh <= FREE_KWH:") in probed
    assert probe.format(2, "return RATES[band] * (") in probed
    assert of_imports == {3}
