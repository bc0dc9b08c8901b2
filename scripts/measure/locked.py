"""Reads the lock and pyproject.toml, and compares them."""

import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

EXTRA = "test"
"""The one extra that the lock holds."""
_FIELDS = {"package": str, "vulnerability": str, "since": date, "until": date, "reason": str}
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pin:
    """A package and its locked version.

    Attributes:
        name: normalised name: lower case and hyphens.
        hashes: SHA-256 of each file allowed.
        asked_by: packages that need it; the project's own entries begin with its name and a space.
    """

    name: str
    version: Version
    hashes: frozenset[str]
    asked_by: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.name} {self.version}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """An exception: a vulnerability that somebody has examined and accepts until a date.

    Attributes:
        vulnerability: any of its identifiers.
        since: the day it was examined.
        until: the last day it is accepted.
    """

    package: str
    vulnerability: str
    since: date
    until: date
    reason: str

    def __str__(self) -> str:
        return f"the exception for {self.package}, {self.vulnerability}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Project:
    """The contents of pyproject.toml that matter here."""

    name: str
    requirements: tuple[Requirement, ...]
    exceptions: tuple[Allowance, ...]


class UnreadableError(Exception):
    """The lock or pyproject.toml has something that this script does not understand."""


def read_lock(path: Path) -> list[Pin]:
    """Every pin, as pip-compile writes it: name==version, hashes, and comments with the packages that need it.

    Raises:
        UnreadableError: if a line is of another form.
    """
    lines = path.read_text(encoding="utf-8").replace("\\\n", " ").splitlines()
    starts = [number for number, line in enumerate(lines) if re.match(r"[^#\s]", line)]
    return [
        _pin(lines[start], lines[start + 1 : end]) for start, end in zip(starts, [*starts[1:], len(lines)], strict=True)
    ]


def _pin(line: str, comments: Iterable[str]) -> Pin:
    found = re.fullmatch(r"([A-Za-z0-9._-]+)==(\S+)((?:\s+--hash=\S+)*)\s*", line)
    if not found:
        raise UnreadableError(f"the lock has a line that pins no version: {line[:80].strip()}")
    asked_by = [told[1] for each in comments if (told := re.fullmatch(r"    # (?:via |  )(\S.*)", each))]
    return Pin(
        name=canonicalize_name(found[1]),
        version=Version(found[2]),
        hashes=frozenset(_HASH.findall(found[3])),
        asked_by=tuple(asked_by),
    )


def read_project(path: Path) -> Project:
    """The requirements that the lock covers: the project's, the tests' and the build's.

    Raises:
        UnreadableError: if an exception is incomplete.
    """
    told = tomllib.loads(path.read_text(encoding="utf-8"))
    project = told["project"]
    asked = [
        *project.get("dependencies", ()),
        *project.get("optional-dependencies", {}).get(EXTRA, ()),
        *told["build-system"]["requires"],
    ]
    listed = told.get("tool", {}).get(project["name"], {}).get("audit", {}).get("exceptions", [])
    return Project(
        name=canonicalize_name(project["name"]),
        requirements=tuple(map(Requirement, asked)),
        exceptions=tuple(map(_exception, listed)),
    )


def _exception(told: Mapping[str, Any]) -> Allowance:
    # Compares types exactly, because a datetime is a date too.
    if {name: type(value) for name, value in told.items()} != _FIELDS or not told["reason"].strip():
        raise UnreadableError(
            f"an exception has {', '.join(_FIELDS)}, the days as TOML dates, and nothing else: {dict(told)}"
        )
    return Allowance(**{**told, "package": canonicalize_name(told["package"])})


def faults_of_the_lock(pins: Iterable[Pin], project: Project) -> Iterator[str]:
    """Where the lock does not fit pyproject.toml, or has no hash."""
    by_name = {pin.name: pin for pin in pins}
    yield from (f"{pin}: has no hash in the lock" for pin in by_name.values() if not pin.hashes)
    for asked in project.requirements:
        pin = by_name.get(canonicalize_name(asked.name))
        if pin is None:
            yield f"{asked}: is asked for in pyproject.toml and is not in the lock"
        elif not asked.specifier.contains(pin.version, prereleases=True):
            yield f"{pin}: is locked, and pyproject.toml asks for {asked}"
    needed = _needed(by_name, project)
    yield from (f"{pin}: nothing that is needed asks for it" for pin in by_name.values() if pin.name not in needed)


def _needed(pins: Mapping[str, Pin], project: Project) -> set[str]:
    """The pins that the project needs, directly or through others."""
    found: set[str] = {canonicalize_name(asked.name) for asked in project.requirements}
    while more := {name for name, pin in pins.items() if name not in found and found.intersection(pin.asked_by)}:
        found |= more
    return found


def faults_of_the_installation(pins: Iterable[Pin], installed: Mapping[str, str], project: Project) -> Iterator[str]:
    """Where the installed packages differ from the lock; pip is ignored, as it comes with Python."""
    by_name = {pin.name: pin for pin in pins}
    for pin in by_name.values():
        found = installed.get(pin.name)
        if found is None or Version(found) != pin.version:
            yield f"{pin}: is locked, and {found or 'no version'} is installed"
    for name in sorted(installed.keys() - by_name.keys() - {project.name, "pip"}):
        yield f"{name} {installed[name]}: is installed and not in the lock"


def faults_of_the_exceptions(exceptions: Iterable[Allowance], today: date) -> Iterator[str]:
    """The exceptions that have expired or not begun."""
    for each in exceptions:
        if not each.since <= today <= each.until:
            yield f"{each}: is valid from {each.since} to {each.until}"
