"""An order as somebody writes it down: YAML, or a table of lines as CSV; what is sent to the service of it."""

import csv
import io
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from exact_yaml import read_yaml
from members import changed, path_of
from over_http import RefusedError

_SEVERAL = {"quantity_breaks", "supplied_materials"}
"""Columns that hold several values, with spaces between."""
_ENDINGS = {".yaml", ".yml", ".csv"}


def order_of(path: Path, given: Mapping[str, Any], for_each_line: Mapping[str, Any]) -> dict[str, Any]:
    """The request for a quotation.

    Args:
        path: of the file; what it is, its ending says.
        given: members of the request that count in place of the file's.
        for_each_line: members of every line that does not say otherwise.

    Raises:
        RefusedError: the file cannot be read, or is no order.
    """
    if path.suffix.lower() not in _ENDINGS:
        raise RefusedError(f"{path} must end in .yaml or .csv, to tell what it is")
    try:
        text = path.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RefusedError(f"{path} cannot be read: {error}") from None
    try:
        order = {"lines": list(_rows(text))} if path.suffix.lower() == ".csv" else _order(text)
    except (ValueError, csv.Error) as error:  # PathError is one
        raise RefusedError(f"{path}: {error}") from None
    defaults = {**order.pop("each_line", {}), **for_each_line}
    lines = [_with_defaults(line, defaults) for line in order.pop("lines")]
    return {**order, **given, "lines": lines}


def _order(text: str) -> dict[str, Any]:
    order = read_yaml(text)
    if not isinstance(order, dict) or not isinstance(order.get("lines"), list):
        raise ValueError("an order has members, and among them lines: a list of what is ordered")
    if not isinstance(order.get("each_line", {}), dict):
        raise ValueError("each_line has members: those of every line that does not say otherwise")
    return order


def _rows(text: str) -> Iterator[dict[str, Any]]:
    """The lines of a table; a column is named as the member is, those within it behind a slash: policy/value."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    header = [name.strip() for name in next(reader, [])]
    if not {"product", "quantity"} <= set(header):
        raise ValueError("the first line names the columns, product and quantity among them")
    paths = [path_of(name) for name in header]
    for row in reader:
        if not any(row):
            continue
        if len(row) != len(header):
            raise ValueError(f"line {reader.line_num} has {len(row)} values where there are {len(header)} columns")
        line: dict[str, Any] = {}
        for path, value in zip(paths, row, strict=True):
            if value.strip():
                line = changed(line, path, _value(path[0], value.strip()))
        yield line


def _value(member: Any, text: str) -> Any:
    if member in _SEVERAL:
        return [_whole(each) if member == "quantity_breaks" else each for each in text.split()]
    return _whole(text) if member == "quantity" else text


def _whole(text: str) -> Any:
    """A number of pieces as JSON has it; what is none is left for the service to refuse."""
    return int(text) if text.isascii() and text.isdecimal() else text


def _with_defaults(line: Any, defaults: Mapping[str, Any]) -> Any:
    """The line with what it does not say itself; it is for the service to say what is wrong with it."""
    if not isinstance(line, dict):
        return line
    together = {**defaults, **line}
    if isinstance(defaults.get("policy"), dict) and isinstance(line.get("policy"), dict):
        together["policy"] = {**defaults["policy"], **line["policy"]}
    return together
