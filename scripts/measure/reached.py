"""What a probe calls: notes, once for each test, that the test has come to the probe's place.

In the process of the tests `following.py` says which test is under way; any other process reads that from a file.
"""

import os
from pathlib import Path

NOTES = "MUTATIONS_NOTES"
"""Names the directory for notes and reports."""
CHOSEN = "MUTATIONS_CHOSEN"
"""Names a file with the tests to run, a list in JSON; all of them without it."""
UNDER_WAY = "MUTATIONS_UNDER_WAY"
"""Names the file that holds the test under way."""

now: str | None = None
"""The test under way; None in a process that is not the tests' own."""
_noted: set[tuple[int, str]] = set()


def reached(place: int) -> None:
    """Note that the test under way has come to the place."""
    test = now if now is not None else Path(os.environ[UNDER_WAY]).read_text(encoding="utf-8")
    if (place, test) not in _noted:
        _noted.add((place, test))
        with Path(os.environ[NOTES], f"{os.getpid()}.reached").open("a", encoding="utf-8") as notes:
            notes.write(f"{place}\t{test}\n")
