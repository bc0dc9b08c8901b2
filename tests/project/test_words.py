"""Words that the project does not use."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PARTS = ("README.md", "DEVELOPERS.md", "pyproject.toml", ".ci", "service", "migrations", "tests", "openapi", "scripts")
UNWANTED = "raazab"[::-1]
"""A kind of marketplace; the demo's is called a market. Written backwards, or this file would hold the word."""


def files() -> list[Path]:
    """Every file of the project, at any depth."""
    found = [each for part in PARTS for each in (ROOT / part, *(ROOT / part).rglob("*")) if each.is_file()]
    return [each for each in found if "__pycache__" not in each.parts]


def test_no_file_and_no_file_name_holds_the_unwanted_word() -> None:
    found = [
        each for each in files() if UNWANTED in f"{each.relative_to(ROOT)} {each.read_text('utf-8', 'replace')}".lower()
    ]

    assert len(files()) > 400, "the files were not found"
    assert found == []
