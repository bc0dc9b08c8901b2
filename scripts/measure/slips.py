"""Slips (mutations that tests should notice): read from a file, and probes inserted before them."""

import ast
import re
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml


class UnfitSlipError(ValueError):
    """A slip cannot be made: its text does not occur exactly once, or nothing would change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slip:
    """A change of the code that tests should notice.

    Attributes:
        number: its place in the list, from 1.
        file: path within the tree.
        old: the text to replace.
        new: the replacement.
        note: what is wrong with the replacement.
    """

    number: int
    file: str
    old: str
    new: str
    note: str

    def place_in(self, text: str) -> int:
        """Offset of the first difference."""
        pairs = enumerate(zip(self.old, self.new, strict=False))
        alike = next((at for at, (old, new) in pairs if old != new), min(len(self.old), len(self.new)))
        rest = self.old[alike:]
        return text.index(self.old) + alike + len(rest) - len(rest.lstrip())


def read_slips(path: Path, tree: Path) -> list[Slip]:
    """The slips of a file, YAML or JSON.

    Raises:
        UnfitSlipError: if one cannot be made in the tree.
    """
    slips = [Slip(number=place, **each) for place, each in enumerate(yaml.safe_load(path.read_text()), 1)]
    for slip in slips:
        text = (tree / slip.file).read_text() if (tree / slip.file).is_file() else ""
        if (times := text.count(slip.old)) != 1:
            raise UnfitSlipError(f"slip {slip.number}: its text is {times} times in {slip.file}, not once")
        if slip.old == slip.new:
            raise UnfitSlipError(f"slip {slip.number}: it changes nothing")
    return slips


def write_anew(path: Path, text: str) -> None:
    """Write a module and delete its compiled form, which Python checks only by size and seconds."""
    path.write_text(text)
    for compiled in (path.parent / "__pycache__").glob(f"{path.stem}.*.pyc"):
        compiled.unlink()


def probed(text: str, slips: Sequence[Slip]) -> tuple[str, set[int]]:
    """A module with a probe before the statement of each slip, and the slips that only an import reaches."""
    lines, module = text.splitlines(keepends=True), ast.parse(text)
    of_imports, probes = set(), defaultdict(list)
    for slip in slips:
        before = text[: slip.place_in(text)]
        line = _statement_at(module, (before.count("\n") + 1, len(before.rpartition("\n")[2].encode())), lines)
        if line is None:
            of_imports.add(slip.number)
        else:
            probes[line].append(f'__import__("reached").reached({slip.number})\n')
    for line in sorted(probes, reverse=True):
        indent = re.match(" *", lines[line - 1])
        assert indent is not None  # this pattern matches every line
        lines[line - 1 : line - 1] = [indent[0] + probe for probe in probes[line]]
    return "".join(lines), of_imports


def _statement_at(module: ast.Module, place: tuple[int, int], lines: Sequence[str]) -> int | None:
    """First line of the innermost statement at a place that a probe can precede; None outside functions."""
    found: int | None = None
    node: ast.AST = module
    is_in_function = False
    while True:
        inner = next(((name, each) for name, each in _children(node) if _spans(each, place)), None)
        if inner is None:
            return found
        name, child = inner
        is_in_function |= isinstance(node, ast.FunctionDef) and name == "body"
        is_elif = name == "orelse" and lines[_first_line(child) - 1].lstrip().startswith("elif ")
        if is_in_function and isinstance(child, ast.stmt) and not is_elif:
            found = _first_line(child)
        node = child


def _children(node: ast.AST) -> list[tuple[str, Any]]:
    found: list[tuple[str, Any]] = []
    for name, field in ast.iter_fields(node):
        for each in field if isinstance(field, list) else [field]:
            if isinstance(each, ast.AST):
                # Nodes without a position, such as a function's arguments, are replaced by their children.
                found += [(name, each)] if hasattr(each, "lineno") else [(name, more) for _, more in _children(each)]
    return found


def _spans(node: Any, place: tuple[int, int]) -> bool:
    begin = (_first_line(node), 0) if isinstance(node, ast.stmt) else (node.lineno, node.col_offset)
    return begin <= place < (node.end_lineno, node.end_col_offset)


def _first_line(node: Any) -> int:
    """First line of a node, decorators included."""
    line: int = min([node.lineno, *(each.lineno for each in getattr(node, "decorator_list", ()))])
    return line
