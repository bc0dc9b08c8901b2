"""A pytest plugin: notes which test is running, records results, and can run only the tests of a list.

Fixtures shared by several tests, such as the server of a module, count for each of those tests.
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
    """Note the test that is running: its id or, separated by a tab, a part of the suite and a shared fixture."""
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
    """The import of a file counts for each of its tests."""
    if isinstance(collector, pytest.File):
        _follow(f"{collector.nodeid}\t")


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep only the chosen tests, file by file in the order of the list."""
    if reached.CHOSEN in os.environ:
        chosen = dict.fromkeys(json.loads(Path(os.environ[reached.CHOSEN]).read_text(encoding="utf-8")))
        files = [*dict.fromkeys(map(_file_of, chosen))]
        config.hook.pytest_deselected(items=[each for each in items if each.nodeid not in chosen])
        items[:] = [each for each in items if each.nodeid in chosen]
        items.sort(key=lambda each: files.index(_file_of(each.nodeid)))
    for each in items:
        _report(test=each.nodeid, uses=[*getattr(each, "fixturenames", ())])


def pytest_runtest_logstart(nodeid: str) -> None:
    """Note the test that begins."""
    _follow(nodeid)


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(request: pytest.FixtureRequest) -> Generator[None, Any, Any]:
    """The set-up of a shared fixture counts for all tests that use it."""
    if request.scope == "function":
        return (yield)
    before = reached.now or ""
    _follow(f"{request.node.nodeid}\t{request.fixturename}")
    try:
        return (yield)
    finally:
        _follow(before)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Record the outcome and duration of a test."""
    _report(test=report.nodeid, when=report.when, outcome=report.outcome, seconds=report.duration)


def pytest_collectreport(report: pytest.CollectReport) -> None:
    """Record a file that cannot be imported as a failure."""
    if report.failed:
        _report(test=report.nodeid, when="collect", outcome=report.outcome, seconds=0)
