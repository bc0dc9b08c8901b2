"""Folders that are beside the package in the source tree, and elsewhere if it was installed from a wheel."""

import sys
from pathlib import Path

_SOURCES = Path(__file__).resolve().parents[1]
_INSTALLED = Path(sys.prefix) / "share" / "pugmill"


def beside(name: str) -> Path:
    """The path of the folder of migrations or of the contract."""
    found = _SOURCES / name
    return found if found.is_dir() else _INSTALLED / name
