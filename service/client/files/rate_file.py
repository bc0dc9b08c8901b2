"""A CSV file of rates (RFC 4180); every line that is wrong is named."""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

from service.client import members
from service.client.ends import EndedError, RefusedError
from service.nearest import in_place_of

COLUMNS = ("resource", "valid_from", "member", "value", "currency")
_RESOURCE = re.compile(r"[a-z]+(?:-[a-z]+)*/[A-Za-z0-9][A-Za-z0-9._-]{0,63}")
_DAY = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")
_DECIMAL = re.compile(r"-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?")
_CURRENCY = re.compile("[A-Z]{3}")


class WrongLinesError(EndedError):
    """Lines of a file are wrong; nothing has been stored."""

    def __init__(self, problems: Sequence[tuple[int, str]]) -> None:
        told = "".join(f"\n  line {number}: {problem}" for number, problem in sorted(problems))
        lines = len({number for number, _ in problems})
        super().__init__(f"{lines} {'line is' if lines == 1 else 'lines are'} wrong, and nothing is stored:{told}")


@dataclass(frozen=True, slots=True, kw_only=True)
class FileRate:
    """A rate in the file.

    Attributes:
        resource: its resource.
        valid_from: its first day.
        changes: values by member.
        lines: line numbers by member.
    """

    resource: str
    valid_from: str
    changes: dict[members.Path, Any] = field(default_factory=dict)
    lines: dict[members.Path, int] = field(default_factory=dict)

    def line_of(self, path: Sequence[str | int]) -> int:
        """The line whose path shares most steps with this path; the first of several."""

        def steps_shared(other: members.Path) -> int:
            pairs = zip(map(str, path), map(str, other), strict=False)
            return next((at for at, (one, two) in enumerate(pairs) if one != two), min(len(path), len(other)))

        return self.lines[max(self.lines, key=lambda other: (steps_shared(other), -self.lines[other]))]

    def numbers(self) -> str:
        """Its line numbers, for instance 2-4, 9."""
        spans: list[list[int]] = []
        for number in sorted(self.lines.values()):
            if spans and number == spans[-1][-1] + 1:
                spans[-1] = [spans[-1][0], number]
            else:
                spans.append([number])
        return ", ".join("-".join(map(str, span)) for span in spans)


def read_file(path: Path) -> list[FileRate]:
    """The rates of a file, sorted by resource and day.

    Raises:
        RefusedError: if it cannot be read.
        WrongLinesError: if lines are wrong.
    """
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise RefusedError(f"{path} cannot be read: {error.strerror}") from None
    except UnicodeDecodeError:
        raise RefusedError(f"{path} is not UTF-8") from None
    rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        return _read(rows)
    except csv.Error as error:
        raise WrongLinesError([(rows.line_num, f"not CSV by RFC 4180: {error}")]) from None


def _read(rows: Any) -> list[FileRate]:
    header: list[str] = [name.strip() for name in next(rows, [])]
    if sorted(header) != sorted(COLUMNS):
        given = "".join(in_place_of(name, header) for name in COLUMNS if name not in header)
        raise WrongLinesError([(1, f"must name the columns {', '.join(COLUMNS)}, separated by commas{given}")])
    found: dict[tuple[str, str], FileRate] = {}
    problems: list[tuple[int, str]] = []
    number = 1 + rows.line_num
    for row in rows:
        if row:
            problems += ((number, problem) for problem in _problems(found, header, row, number))
        number = 1 + rows.line_num
    if not (found or problems):
        problems.append((number, "there is no line with a rate"))
    if problems:
        raise WrongLinesError(problems)
    return [found[key] for key in sorted(found)]


def _problems(found: dict[tuple[str, str], FileRate], header: list[str], row: list[str], number: int) -> Iterator[str]:
    """Add the line to its rate; yields what is wrong with it."""
    if len(row) != len(COLUMNS):
        yield f"has {len(row)} fields instead of {len(COLUMNS)}"
        return
    line = dict(zip(header, (cell.strip() for cell in row), strict=True))
    resource, day = line["resource"], line["valid_from"]
    problems = [*_of_the_rate(resource, day), *_of_the_value(line["value"], line["currency"])]
    path: members.Path = ()
    try:
        path = members.path_of(line["member"])
    except members.PathError as error:
        problems.append(f"member: {error}")
    if problems:
        yield from problems
        return
    rate = found.setdefault((resource, day), FileRate(resource=resource, valid_from=day))
    if path in rate.lines:
        yield f"member: {line['member']} of this rate is on line {rate.lines[path]} already"
        return
    rate.lines[path] = number
    rate.changes[path] = _value(line["value"], line["currency"])


def _of_the_rate(resource: str, day: str) -> Iterator[str]:
    if not _RESOURCE.fullmatch(resource):
        yield f"resource: '{resource}' is not a resource; write for instance materials/hdpe-flakes"
    try:
        if not _DAY.fullmatch(day):
            raise ValueError(day)
        date.fromisoformat(day)
    except ValueError:
        yield f"valid_from: '{day}' is not a day; write for instance 2026-11-30"


def _of_the_value(value: str, currency: str) -> Iterator[str]:
    if currency and not _CURRENCY.fullmatch(currency):
        yield f"currency: '{currency}' is not a currency code; write for instance EUR"
    if currency and not _DECIMAL.fullmatch(value):
        yield f"value: '{value}' is not an amount; write for instance 0.78"


def _value(value: str, currency: str) -> Any:
    return {"amount": value, "currency": currency} if currency else value or None
