"""The folders that lie beside the package in the source tree and in it where it is installed from a wheel."""

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent


def beside(name: str) -> Path:
    """Where migrations or the contract are."""
    installed = _PACKAGE / name
    return installed if installed.is_dir() else _PACKAGE.parent / name
