"""A plugin of pytest: says which test is under way, writes down what became of each, and runs those of a list alone.

What is made for several tests at once, such as the server of a module, counts for each of those tests.
"""

import json
import os
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest
import reached

_notes = Path(os.environ[reached.NOTES])
_under_way = _notes / f"{os.getpid()}.now"
os.environ[reached.UNDER_WAY] = str(_under_way)


def _follow(test: str) -> None:
    """A test's id; or, between tabs, a part of the suite and what is made there for all who use it."""
    reached.now = test
    whole = _under_way.with_suffix(".next")
    whole.write_text(test, encoding="utf-8")
    whole.replace(_under_way)


def _report(**facts: Any) -> None:
    with (_notes / f"{os.getpid()}.reports").open("a", encoding="utf-8") as lines:
        lines.write(json.dumps(facts) + "\n")


def _file_of(test: str) -> str:
    return test.partition("::")[0]


_follow("\t")


def pytest_collectstart(collector: pytest.Collector) -> None:
    """What a file does when it is imported counts for each of its tests."""
    if isinstance(collector, pytest.File):
        _follow(f"{collector.nodeid}\t")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave what is chosen, file by file in the order of the list."""
    if reached.CHOSEN in os.environ:
        chosen = dict.fromkeys(json.loads(Path(os.environ[reached.CHOSEN]).read_text(encoding="utf-8")))
        files = [*dict.fromkeys(map(_file_of, chosen))]
        config.hook.pytest_deselected(items=[each for each in items if each.nodeid not in chosen])
        items[:] = [each for each in items if each.nodeid in chosen]
        items.sort(key=lambda each: files.index(_file_of(each.nodeid)))
    for each in items:
        _report(test=each.nodeid, uses=[*getattr(each, "fixturenames", ())])


def pytest_runtest_logstart(nodeid: str) -> None:
    """From here on it is this test."""
    _follow(nodeid)


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(request: pytest.FixtureRequest) -> Generator[None, Any, Any]:
    """While something is made for several tests it is all of them that use it."""
    if request.scope == "function":
        return (yield)
    before = reached.now or ""
    _follow(f"{request.node.nodeid}\t{request.fixturename}")
    try:
        return (yield)
    finally:
        _follow(before)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """How it went and how long it took."""
    _report(test=report.nodeid, when=report.when, outcome=report.outcome, seconds=report.duration)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    """A file that cannot be imported is a failure too."""
    if report.failed:
        _report(test=report.nodeid, when="collect", outcome=report.outcome, seconds=0)
