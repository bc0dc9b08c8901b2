"""A file of lines, in YAML or CSV, and the request made of it."""

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from service.client.ends import RefusedError
from service.client.files.exact_yaml import read_yaml
from service.client.members import changed, path_of
from service.nearest import in_place_of

_ENDINGS = {".yaml", ".yml", ".csv"}
_FLAGS = {"true": True, "false": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A kind of file.

    Attributes:
        name: its name, for instance "an order".
        lines: the meaning of its lines.
        required: required columns of a CSV file.
        whole: columns of whole numbers.
        flags: columns of true or false.
        several: columns of several values, separated by spaces.
    """

    name: str
    lines: str
    required: tuple[str, ...]
    whole: frozenset[str]
    flags: frozenset[str] = frozenset()
    several: frozenset[str] = frozenset()


ORDER = Kind(
    name="an order",
    lines="what is ordered",
    required=("quantity",),
    whole=frozenset({"quantity", "quantity_breaks"}),
    several=frozenset({"quantity_breaks", "supplied_materials"}),
)
PLAN = Kind(
    name="a plan",
    lines="what is made and sold",
    required=("pieces",),
    whole=frozenset({"pieces", "standard_batch", "least_per_month", "most_per_month"}),
    flags=frozenset({"in_whole_batches"}),
)


def request_of_file(
    kind: Kind, path: Path, given: Mapping[str, Any], for_each_line: Mapping[str, Any]
) -> dict[str, Any]:
    """The body of the request.

    Args:
        kind: the kind of file.
        path: path of the file; its ending says whether it is YAML or CSV.
        given: members that take precedence over the file's.
        for_each_line: members for every line that does not set them itself.

    Raises:
        RefusedError: if the file cannot be read, or is not of this kind.
    """
    if path.suffix.lower() not in _ENDINGS:
        raise RefusedError(f"{path} must end in .yaml or .csv")
    try:
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RefusedError(f"{path} cannot be read: {error}") from None
    try:
        found: dict[str, Any] = (
            {"lines": list(_rows(kind, text))} if path.suffix.lower() == ".csv" else _members(kind, text)
        )
    except (ValueError, csv.Error) as error:  # PathError is one
        raise RefusedError(f"{path}: {error}") from None
    defaults = {**found.pop("each_line", {}), **for_each_line}
    lines = [_with_defaults(line, defaults) for line in found.pop("lines")]
    return {**found, **given, "lines": lines}


def _members(kind: Kind, text: str) -> dict[str, Any]:
    found = read_yaml(text)
    if not isinstance(found, dict) or not isinstance(found.get("lines"), list):
        given = in_place_of("lines", map(str, found)) if isinstance(found, dict) and "lines" not in found else ""
        raise ValueError(f"{kind.name} must have the member lines: a list of {kind.lines}{given}")
    if not isinstance(found.get("each_line", {}), dict):
        raise ValueError("each_line must have members: those of every line that does not set them itself")
    return found


def _rows(kind: Kind, text: str) -> Iterator[dict[str, Any]]:
    """The lines of a CSV file; columns have the names of members, nested ones after a slash: policy/value."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    header = [name.strip() for name in next(reader, [])]
    if not set(kind.required) <= set(header):
        given = "".join(in_place_of(name, header) for name in kind.required if name not in header)
        raise ValueError(f"the first line must name the columns, among them {' and '.join(kind.required)}{given}")
    paths = [path_of(name) for name in header]
    for row in reader:
        if not any(row):
            continue
        if len(row) != len(header):
            raise ValueError(f"line {reader.line_num} has {len(row)} values for {len(header)} columns")
        line: dict[str, Any] = {}
        for path, value in zip(paths, row, strict=True):
            if value.strip():
                line = changed(line, path, _value(kind, str(path[0]), value.strip()))
        yield line


def _value(kind: Kind, member: str, text: str) -> Any:
    one = _whole if member in kind.whole else _flag if member in kind.flags else str
    return [one(each) for each in text.split()] if member in kind.several else one(text)


def _flag(text: str) -> Any:
    """True or false; any other text is left for the service to refuse."""
    return _FLAGS.get(text.lower(), text)


def _whole(text: str) -> Any:
    """A whole number; any other text is left for the service to refuse."""
    return int(text) if text.isascii() and text.isdecimal() else text


def _with_defaults(line: Any, defaults: Mapping[str, Any]) -> Any:
    """The line with defaults; the service checks it."""
    if not isinstance(line, dict):
        return line
    together = {**defaults, **line}
    if isinstance(defaults.get("policy"), dict) and isinstance(line.get("policy"), dict):
        together["policy"] = {**defaults["policy"], **line["policy"]}
    return together
