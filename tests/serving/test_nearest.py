"""The nearest name to one that is not there."""

import pytest

from service.nearest import did_you_mean

NAMES = ["bill_of_materials", "operations", "mass_kg", "note"]


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("materials", "bill_of_materials"),
        ("Bill Of-Materials", "bill_of_materials"),
        ("operation", "operations"),
        ("MASS_KG", "mass_kg"),
    ],
)
def test_suggests_what_is_much_alike_whatever_its_capitals_and_joints(name: str, meant: str) -> None:
    assert did_you_mean(name, NAMES) == f"; did you mean '{meant}'?"


@pytest.mark.parametrize("name", ["", "colour", "x" * 100_000, "\ud800"])
def test_suggests_nothing_that_is_not_alike(name: str) -> None:
    assert did_you_mean(name, NAMES) == ""


def test_suggests_nothing_where_there_is_nothing() -> None:
    assert did_you_mean("note", []) == ""
