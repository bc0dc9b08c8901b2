"""tests/THREATS.md names existing tests for each risk of OWASP's API Security Top 10 (2023)."""

import re

import pytest

from tests.support.pages import ROOT, THREATS

# The ten titles, from memory of the published list (owasp.org, API Security Top 10, 2023).
RISKS = {
    "API1:2023": "Broken object level authorization",
    "API2:2023": "Broken authentication",
    "API3:2023": "Broken object property level authorization",
    "API4:2023": "Unrestricted resource consumption",
    "API5:2023": "Broken function level authorization",
    "API6:2023": "Unrestricted access to sensitive business flows",
    "API7:2023": "Server side request forgery",
    "API8:2023": "Security misconfiguration",
    "API9:2023": "Improper inventory management",
    "API10:2023": "Unsafe consumption of APIs",
}


def rows() -> dict[str, list[str]]:
    """Each row of the table by its risk's number: the risk, the defence, its tests."""
    lines = THREATS.text.splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split(" | ")] for line in lines if line.startswith("| API")]
    return {each[0].partition(" ")[0]: each for each in cells}


def test_each_risk_has_a_row_of_three_cells() -> None:
    assert {number: row[0] for number, row in rows().items()} == {
        number: f"{number} {title}" for number, title in RISKS.items()
    }
    assert all(len(row) == 3 and all(row) for row in rows().values())


@pytest.mark.parametrize("risk", RISKS)
def test_the_tests_that_a_risk_names_exist(risk: str) -> None:
    named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", rows()[risk][2])

    assert named
    for file, function in named:
        assert re.search(rf"^ *def {function}\(", (ROOT / file).read_text(), re.MULTILINE), (file, function)
