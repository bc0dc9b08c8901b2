"""Which tests reach which slip, and in what order to run them, from the notes of a run with probes."""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

from slips import Slip

FIRST, NEXT = 40, 400
"""Sizes of the first two chunks of tests."""
SECONDS = 120
"""Length of the further chunks."""


def reports_in(notes: Path) -> Iterator[dict[str, Any]]:
    """The records of `following.py`."""
    for file in sorted(notes.glob("*.reports")):
        yield from map(json.loads, file.read_text(encoding="utf-8").splitlines())


def failed_in(notes: Path) -> list[str]:
    """Tests that failed and files that could not be imported, in order."""
    return list(dict.fromkeys(each["test"] for each in reports_in(notes) if each.get("outcome") == "failed"))


class Reaching:
    """Finds the tests that reach a slip.

    Attributes:
        seconds: duration of each test.
    """

    def __init__(self, notes: Path, tree: Path) -> None:
        """Read the notes of a run of all tests of a tree."""
        self._tree = tree
        self.seconds: dict[str, float] = {}
        self._uses: dict[str, set[str]] = {}
        phases: dict[tuple[str, str], float] = {}  # with several processes, each phase is reported twice
        for report in reports_in(notes):
            if "uses" in report:
                self._uses[report["test"]] = {"", *report["uses"]}
            else:
                phases[report["test"], report["when"]] = report["seconds"]
        for (test, _), seconds in phases.items():
            self.seconds[test] = self.seconds.get(test, 0) + seconds
        self._noted = {line for file in notes.glob("*.reached") for line in file.read_text().splitlines()}

    def leave_out(self, tests: Iterable[str]) -> None:
        """Leave out tests that fail without any slip."""
        for test in tests:
            self.seconds.pop(test, None)

    def chunks(self, slip: Slip, *, is_of_imports: bool) -> list[list[str]]:
        """The tests that reach a slip, in chunks that are run together.

        Tests that reach it directly come first, then those in files that mention its module, then others. One case of
        each function comes before the second of any, so that the first chunk is varied.
        """
        itself, reaching = self._reaching(slip)
        if is_of_imports:
            reaching = {*self.seconds}
        naming = self._naming(slip)
        ranks = {test: 0 if test in itself else 1 if test.partition("::")[0] in naming else 2 for test in reaching}
        cases: dict[str, int] = defaultdict(int)
        keys = {}
        for test in sorted(reaching, key=lambda test: (ranks[test], self.seconds[test], test)):
            function = test.partition("[")[0]
            keys[test] = ranks[test], cases[function], self.seconds[test]
            cases[function] += 1
        return self._cut(sorted(keys, key=keys.__getitem__))

    def _reaching(self, slip: Slip) -> tuple[set[str], set[str]]:
        """The tests that reach the slip directly, and all that may depend on it."""
        itself: set[str] = set()
        others: set[str] = set()
        for line in self._noted:
            number, *at = line.split("\t")
            if int(number) == slip.number:
                if len(at) == 1:
                    itself.add(at[0])
                else:  # reached in the set-up of a shared fixture
                    others |= {test for test, used in self._uses.items() if test.startswith(at[0]) and at[1] in used}
        return itself & self.seconds.keys(), (itself | others) & self.seconds.keys()

    def _naming(self, slip: Slip) -> set[str]:
        """Test files that mention the slip's module."""
        module = slip.file.removesuffix(".py").replace("/", ".")
        package, _, name = module.rpartition(".")
        told = (module, f"from {package} import {name}")
        files = {test.partition("::")[0] for test in self.seconds}
        return {
            file
            for file in files
            if Path(file).stem == f"test_{name}" or any(each in (self._tree / file).read_text() for each in told)
        }

    def _cut(self, tests: Sequence[str]) -> list[list[str]]:
        found = [[*tests[:FIRST]], [*tests[FIRST : FIRST + NEXT]]]
        rest: list[str] = []
        for test in tests[FIRST + NEXT :]:
            rest.append(test)
            if sum(map(self.seconds.__getitem__, rest)) > SECONDS:
                found.append(rest)
                rest = []
        return [each for each in (*found, rest) if each]
