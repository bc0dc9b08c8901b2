"""Files of a workshop, in YAML and CSV, together one document; everything in it has its file and line."""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NamedTuple

from service.client import members
from service.client.ends import EndedError, RefusedError
from service.client.files.exact_yaml import Marked, Steps, read_marked

WORKSHOP, EXCHANGE_RATES = "workshop", "exchange-rates"
FIRST_DAY = "valid_from"
MOST_BYTES = 4 * 1024 * 1024
_MONEY = re.compile(r"(\S+) +([A-Z]{3})")
_FLAGS = {"true": True, "false": False}
_SHOWN = 50


class Place(NamedTuple):
    """A line of a file."""

    path: Path
    line: int


class WrongFilesError(EndedError):
    """Lines of files are wrong; nothing has been stored."""

    def __init__(self, problems: Sequence[tuple[Place, str]]) -> None:
        ordered = sorted(dict.fromkeys(problems))
        told = "".join(f"\n  {place.path} line {place.line}: {problem}" for place, problem in ordered[:_SHOWN])
        more = f"\n  and {len(ordered) - _SHOWN} more" if len(ordered) > _SHOWN else ""
        number = "1 thing is wrong" if len(ordered) == 1 else f"{len(ordered)} things are wrong"
        super().__init__(f"{number}, and nothing is stored:{told}{more}")


@dataclass(kw_only=True)
class Together:
    """What files say together.

    Attributes:
        document: the entries by collection and code, as the service takes them.
        workshop: what a file says about the workshop itself; empty if none does.
        places: the place of each value of the document.
        problems: what is wrong.
    """

    document: dict[str, Any] = field(default_factory=dict)
    workshop: dict[str, Any] = field(default_factory=dict)
    places: dict[Steps, Place] = field(default_factory=dict)
    problems: list[tuple[Place, str]] = field(default_factory=list)

    def place_of(self, steps: Sequence[str]) -> Place:
        """The place of a value, or else of what it is missing in."""
        found = (self.places.get(tuple(steps[:length])) for length in range(len(steps), 0, -1))
        return next((place for place in found if place), self.places[()])

    def add(self, path: Path, read: Marked) -> None:
        """Add what a file says; entries of one code, and rates of one day, must not differ."""
        self.problems += [(Place(path, line), problem) for line, problem in read.problems]
        if not isinstance(read.data, dict):
            told = "must have collections, such as materials, each with entries by code"
            self.problems += [] if read.problems else [(Place(path, 1), told)]
            return
        places = {steps: Place(path, line) for steps, line in read.lines.items()}
        self._join(self.document, read.data, (), places)
        self.places = places | self.places

    def _join(self, into: dict[str, Any], data: dict[str, Any], above: Steps, places: Mapping[Steps, Place]) -> None:
        for name, value in data.items():
            steps = (*above, name)
            there = into.setdefault(name, value)
            if _is_joined(steps) and isinstance(there, dict) and isinstance(value, dict):
                self._join(there, value, steps, places)
            elif there != value:
                first = self.places.get(steps, places[steps])
                told = f"{'/'.join(steps)} is in {first.path} line {first.line} already, with other contents"
                self.problems.append((places[steps], told))


def _is_joined(steps: Steps) -> bool:
    """Whether files may each have a part of it: a collection, an entry, its rates."""
    match steps:
        case (str(),) | (str(), str(), "rates"):
            return True
        case (collection, str()):
            return collection != EXCHANGE_RATES
    return False


def read_files(paths: Iterable[Path]) -> Together:
    """What the files say together.

    Raises:
        RefusedError: if one cannot be read, or is too long.
        WrongFilesError: naming everything that is wrong.
    """
    together = Together()
    for path in paths:
        text = _text(path)
        for part in _rows(text) if path.suffix.lower() == ".csv" else (read_marked(text),):
            together.add(path, part)
    together.workshop = together.document.pop(WORKSHOP, {})
    if together.problems:
        raise WrongFilesError(together.problems)
    return together


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            content = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise RefusedError(f"{path} cannot be read: {error.strerror}") from None
    if len(content) > MOST_BYTES:
        told = f"is longer than {MOST_BYTES:,} bytes, and nothing is stored; send its collections one after another"
        raise RefusedError(f"{path} {told}, in files of their own")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise WrongFilesError([(Place(path, line), "is not UTF-8")]) from None


def _rows(text: str) -> Iterator[Marked]:
    """The rows of a table: a code, facts, then under `valid_from` a day and the terms from then on."""
    rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        header = [name.strip() for name in next(rows, [])]
        if problem := _header_problem(header):
            yield Marked(problems=[(1, problem)])
            return
        of_header: dict[str, Any] = {header[0]: {}}
        yield Marked(data=of_header, lines=dict.fromkeys(_steps(of_header), 1))
        number = rows.line_num + 1
        for row in rows:
            if any(cell.strip() for cell in row):
                yield _entry(header, row, number)
            number = rows.line_num + 1
    except csv.Error as error:
        yield Marked(problems=[(rows.line_num, f"not CSV by RFC 4180: {error}")])


def _header_problem(header: list[str]) -> str:
    if header[:1] == ["resource"]:
        return "is a file for `pugmill import-rates`; a table begins with the name of a collection, such as materials"
    if not header or not re.fullmatch("[a-z-]+", header[0]):
        return f"must name the columns, for instance materials,name,unit,{FIRST_DAY},price EUR"
    twice = [name for place, name in enumerate(header) if name in header[:place]]
    return f"has the column {twice[0]} twice" if twice else ""


def _entry(header: list[str], row: list[str], line: int) -> Marked:
    """A row as an entry of its collection."""
    found = Marked(data={})
    if len(row) != len(header):
        found.problems.append((line, f"has {len(row)} values for {len(header)} columns"))
        return found
    cells = [cell.strip() for cell in row]
    cut = header.index(FIRST_DAY) if FIRST_DAY in header else len(header)
    facts, terms = (_values(found, line, header[part], cells[part]) for part in (slice(1, cut), slice(cut + 1, None)))
    day = cells[cut] if cut < len(cells) else ""
    if terms and not day:
        found.problems.append((line, f"{FIRST_DAY} is missing"))
    entry = {"facts": facts} if facts else {}
    entry |= {"rates": {day: terms}} if day else {}
    found.data = {header[0]: {cells[0]: entry}}
    found.lines = dict.fromkeys(_steps(found.data), line)
    return found


def _values(found: Marked, line: int, names: list[str], cells: list[str]) -> dict[str, Any]:
    """Members by column: nested ones after a slash, amounts with their currency after the name; empty ones left out."""
    values: dict[str, Any] = {}
    for name, cell in zip(names, cells, strict=True):
        money = _MONEY.fullmatch(name)
        value: Any = {"amount": cell, "currency": money[2]} if money else _FLAGS.get(cell, cell)
        if cell:
            try:
                values = members.changed(values, members.path_of(money[1] if money else name), value)
            except members.PathError as error:
                found.problems.append((line, str(error)))
    return values


def _steps(data: Any, above: Steps = ()) -> Iterator[Steps]:
    """The way to each value."""
    yield above
    parts = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for name, value in parts:
        yield from _steps(value, (*above, str(name)))
