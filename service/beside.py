"""The folders that lie beside the package in the source tree, and apart from it where it is installed from a wheel."""

import sys
from pathlib import Path

_SOURCES = Path(__file__).resolve().parents[1]
_INSTALLED = Path(sys.prefix) / "share" / "pugmill"


def beside(name: str) -> Path:
    """Where migrations or the contract are."""
    found = _SOURCES / name
    return found if found.is_dir() else _INSTALLED / name
