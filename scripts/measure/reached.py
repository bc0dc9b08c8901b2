"""Called by probes: notes, once for each test, that the test has reached the probe.

In the tests' process `following.py` sets the running test; any other process reads it from a file.
"""

import os
from pathlib import Path

NOTES = "MUTATIONS_NOTES"
"""Environment variable: directory for notes and reports."""
CHOSEN = "MUTATIONS_CHOSEN"
"""Environment variable: JSON file with the list of tests to run; all tests without it."""
UNDER_WAY = "MUTATIONS_UNDER_WAY"
"""Environment variable: file that holds the running test."""

now: str | None = None
"""The running test; None outside the tests' process."""
_noted: set[tuple[int, str]] = set()


def reached(place: int) -> None:
    """Note that the running test has reached this place."""
    test = now if now is not None else Path(os.environ[UNDER_WAY]).read_text(encoding="utf-8")
    if (place, test) not in _noted:
        _noted.add((place, test))
        with Path(os.environ[NOTES], f"{os.getpid()}.reached").open("a", encoding="utf-8") as notes:
            notes.write(f"{place}\t{test}\n")
