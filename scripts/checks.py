"""The parts of `scripts/test`: what each runs, how long it took, and its result.

The static checks run in parallel with the tests; all tests are one run of pytest on all processors, and the file of a
test decides its part. If all tests of `domain` and `workflows` are run without arguments for pytest, they must cover
every branch of `service/domain` and `service/workflows`.
"""

import os
import subprocess
import sys
import time
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from difflib import get_close_matches
from fnmatch import fnmatch
from pathlib import Path
from tempfile import TemporaryDirectory
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parents[1]
SLOWEST = 10
WRONG_USE = 2


@dataclass(frozen=True, kw_only=True)
class Part:
    """A part: a name and what it runs.

    Attributes:
        says: what it checks.
        commands: commands of the environment, run one after the other.
        tests: patterns of its test files; a file belongs to the first part with a matching pattern.
        is_measured: whether its tests count for the branch coverage of the core.
    """

    name: str
    says: str
    commands: tuple[str, ...] = ()
    tests: tuple[str, ...] = ()
    is_measured: bool = False


def _checked(name: str, says: str, *commands: str) -> Part:
    return Part(name=name, says=says, commands=commands)


def _tested(name: str, says: str, *tests: str, is_measured: bool = False) -> Part:
    return Part(name=name, says=says, tests=tests, is_measured=is_measured)


PARTS = (
    _checked("style", "Style and layout of the code.", "ruff check", "ruff format --check"),
    _checked("types", "Types.", "mypy"),
    _checked("layers", "Imports run one way.", "lint-imports"),
    _checked("contract", "The committed contract matches the code.", "pugmill openapi --check"),
    _tested("domain", "The trade's arithmetic: examples and laws.", "tests/domain/*", is_measured=True),
    _tested("published", "Published figures.", "tests/published/*"),
    _tested("workflows", "What the service does, without HTTP.", "tests/workflows/*", is_measured=True),
    _tested("browser", "Pages, opened in a real browser.", "tests/**/test_*_in_a_browser.py"),
    _tested("store", "Tables, migrations, backups, and moving to another engine.", "tests/store/*"),
    _tested("api", "Answers over HTTP, checked against the contract.", "tests/api/*"),
    _tested("documents", "Papers, pages and charts.", "tests/documents/*"),
    _tested("feeds", "Exchange rates, and feeds that misbehave.", "tests/feeds/*"),
    _tested("commands", "The owner's commands, and the server's.", "tests/client/*", "tests/cli/*"),
    _tested("serving", "The running service: started, used, stopped and killed.", "tests/serving/*"),
    _tested(
        "project",
        "The project's own promises: dependencies, deployment, threats, words, these parts.",
        "tests/project/*",
    ),
)


def processors() -> int:
    """The processors that this process may use."""
    return len(os.sched_getaffinity(0))


def part_of(path: str) -> Part | None:
    """The part of a test file; the path begins with tests/."""
    return next((part for part in PARTS if any(fnmatch(path, each) for each in part.tests)), None)


class UnknownPartError(LookupError):
    """No part has that name."""

    def __init__(self, name: str) -> None:
        (nearest,) = get_close_matches(name, [part.name for part in PARTS], n=1, cutoff=0)
        super().__init__(f"no part is called {name!r}; the nearest is {nearest!r} (scripts/test --list lists them all)")


def chosen(names: Sequence[str]) -> list[Part]:
    """The parts of these names, in the order of the table; all parts if there are no names."""
    known = {part.name: part for part in PARTS}
    for name in names:
        if name not in known:
            raise UnknownPartError(name)
    return [part for part in PARTS if not names or part.name in names]


def files_of(parts: Iterable[Part]) -> list[str]:
    """The test files of the parts."""
    every = sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "tests").rglob("test_*.py"))
    wanted = {part.name for part in parts}
    return [path for path in every if (part := part_of(path)) is not None and part.name in wanted]


@dataclass(kw_only=True)
class Outcome:
    """The result of a part.

    Attributes:
        seconds: wall-clock time of a check; for tests, the sum over the processes that ran them.
    """

    seconds: float = 0
    tests: int = 0
    is_passed: bool = True


@dataclass(frozen=True, kw_only=True)
class Tested:
    """One test with its fixtures, from pytest's report."""

    path: str
    name: str
    seconds: float
    is_passed: bool


def _sentence(where: str, name: str) -> str:
    """The test's name after that of its class."""
    about = where.rpartition(".")[2]
    return f"{about}::{name}" if about.startswith("Test") else name


def _file_of(where: str) -> str:
    """The file that a test was collected from; its function may be defined in another file."""
    modules = where.split(".")
    named = [place for place, each in enumerate(modules) if each.startswith("test_")]
    return "/".join(modules[: named[0] + 1]) + ".py" if named else "?"


def reported_in(report: Path) -> list[Tested]:
    """The tests in pytest's report; empty if there is no report."""
    if not report.exists():
        return []
    # Safe to parse, because pytest has just written it.
    cases = ElementTree.parse(report).iter("testcase")
    return [
        Tested(
            path=_file_of(case.get("classname") or case.get("name") or ""),
            name=_sentence(case.get("classname") or "", case.get("name") or "?"),
            seconds=float(case.get("time") or 0),
            is_passed=case.find("failure") is None and case.find("error") is None,
        )
        for case in cases
    ]


@dataclass(kw_only=True)
class Run:
    """A run of some parts, with the results so far."""

    parts: list[Part]
    arguments: list[str]
    outcomes: dict[str, Outcome] = field(default_factory=dict)
    slowest: list[Tested] = field(default_factory=list)

    @property
    def is_measured(self) -> bool:
        """Whether branch coverage is measured: only if all tests of all parts that count for it are run."""
        return not self.arguments and all(part in self.parts for part in PARTS if part.is_measured)

    def __call__(self) -> bool:
        """Run the parts; returns whether all passed."""
        begun = time.monotonic()
        tested = [part for part in self.parts if part.tests]
        with ThreadPoolExecutor(len(PARTS)) as beside:
            checks = [beside.submit(self._check, part.name, part.commands) for part in self.parts if part.commands]
            if tested:
                self._test(tested)
            for check in checks:
                check.result()
        if tested and self.is_measured:
            self._check("coverage", ("coverage report",))
        self._tell(time.monotonic() - begun)
        return all(outcome.is_passed for outcome in self.outcomes.values())

    def _check(self, name: str, commands: Iterable[str]) -> None:
        begun, said, is_passed = time.monotonic(), "", True
        for command in commands:
            done = subprocess.run(
                _of_environment(command.split()), cwd=ROOT, capture_output=True, text=True, check=False
            )
            said, is_passed = f"{said}{done.stdout}{done.stderr}", is_passed and done.returncode == 0
        self.outcomes[name] = Outcome(seconds=time.monotonic() - begun, is_passed=is_passed)
        print(f"\n==> {name}: {'passed' if is_passed else 'FAILED'}\n{said}", end="", flush=True)

    def _test(self, tested: list[Part]) -> None:
        with TemporaryDirectory() as place:
            report = Path(place) / "tests.xml"
            # All tests of a file run in one process; files start in the order of collection. Two processes more than
            # processors, because some tests wait: for a lock, a silent database, a server that starts.
            command = [
                "pytest",
                "--numprocesses",
                str(processors() + 2),
                "--dist",
                "loadfile",
                "--no-loadscope-reorder",
            ]
            command += [f"--junitxml={report}"]
            if self.is_measured:
                # Coverage of an earlier run must not count.
                (ROOT / ".coverage").unlink(missing_ok=True)
                command += ["--cov", "--cov-report=", "--cov-fail-under=0"]  # reported as a separate check
            is_all = len(tested) == sum(bool(part.tests) for part in PARTS)
            paths = [] if is_all else files_of(tested)
            done = subprocess.run(_of_environment([*command, *self.arguments, *paths]), cwd=ROOT, check=False)
            found = reported_in(report)
        for each in found:
            part = part_of(each.path)
            outcome = self.outcomes.setdefault("other tests" if part is None else part.name, Outcome())
            outcome.seconds += each.seconds
            outcome.tests += 1
            outcome.is_passed &= each.is_passed
        if done.returncode != 0 and all(each.is_passed for each in found):
            self.outcomes[f"pytest, which ended with {done.returncode}"] = Outcome(is_passed=False)
        self.slowest = sorted(found, key=lambda each: each.seconds, reverse=True)[:SLOWEST]

    def _tell(self, seconds: float) -> None:
        if self.slowest:
            print("\n==> the slowest tests, in seconds")
            for test in self.slowest:
                print(f"{test.seconds:8.1f}  {test.path}: {test.name}")
        print("\n==> seconds by part; for tests, the sum over the processes that ran them")
        order = [part.name for part in PARTS]
        for name in sorted(self.outcomes, key=lambda name: order.index(name) if name in order else len(order)):
            outcome = self.outcomes[name]
            tests = f"{outcome.tests} tests" if outcome.tests else ""
            print(f"{outcome.seconds:8.1f}  {name:<10} {tests:>12}  {'passed' if outcome.is_passed else 'FAILED'}")
        failed = [name for name, outcome in self.outcomes.items() if not outcome.is_passed]
        print(f"\n==> {'FAILED: ' + ', '.join(failed) if failed else 'all passed'}, in {seconds:.0f} s", flush=True)


def _of_environment(command: Sequence[str]) -> list[str]:
    return [str(Path(sys.executable).with_name(command[0])), *command[1:]]


def main(arguments: Sequence[str]) -> int:
    """Run the parts on the command line, with arguments for pytest after `--`; returns the exit status."""
    given = list(arguments)
    cut = given.index("--") if "--" in given else len(given)
    names, for_pytest = given[:cut], given[cut + 1 :]
    if names == ["--list"]:
        for part in PARTS:
            print(f"{part.name:<10} {part.says}")
        return 0
    try:
        parts = chosen(names)
    except UnknownPartError as error:
        print(f"scripts/test: {error}", file=sys.stderr)
        return WRONG_USE
    return 0 if Run(parts=parts, arguments=for_pytest)() else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
