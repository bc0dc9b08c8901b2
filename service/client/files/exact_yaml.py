"""YAML as data with the line of each value: numbers and days as they are written, so that the service reads them."""

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

# libyaml, where installed, is seven times as fast.
_Loader: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_MOST_LEVELS = 20
_MOST_VALUES = 200_000
"""With aliases, a short file may have any number of values."""
_WORDS = {"null": None, "true": True, "false": False}
_PLAIN = {"": None, "~": None} | {
    form: value for word, value in _WORDS.items() for form in (word, word.title(), word.upper())
}
"""Texts without quotes that stand for something else, by YAML 1.2's core schema; `no` is a text."""
_WHOLE = re.compile("-?(?:0|[1-9][0-9]{0,17})")
_KINDS = ("null", "bool", "int", "float", "timestamp", "str", "value", "merge", "map", "seq")
_DATA = frozenset(f"tag:yaml.org,2002:{kind}" for kind in _KINDS)

Steps = tuple[str, ...]
"""The way to a value: names, and places in lists, from 0."""


@dataclass(slots=True)
class Marked:
    """What a text has.

    Attributes:
        data: of objects, lists, texts, whole numbers, true, false and None; None if it is not YAML.
        lines: the line of each value, from 1.
        problems: what is wrong, each with its line.
    """

    data: Any = None
    lines: dict[Steps, int] = field(default_factory=dict)
    problems: list[tuple[int, str]] = field(default_factory=list)


class _TooMuchError(Exception):
    """Values that are not read any further."""


def read_yaml(text: str) -> Any:
    """The data in a YAML text.

    Raises:
        ValueError: if it is not YAML, or more than data; the message names the lines.
    """
    read = read_marked(text)
    if read.problems:
        raise ValueError("; ".join(f"line {line}: {problem}" for line, problem in read.problems))
    return read.data


def read_marked(text: str) -> Marked:
    """The data in a YAML text, with its lines and everything that is wrong."""
    found = Marked()
    try:
        node = yaml.compose(text, _Loader)
        found.data = None if node is None else _value(found, node, ())
    except yaml.YAMLError as error:
        found.problems.append(_told(error, text))
    except (_TooMuchError, RecursionError) as error:
        found.problems += [] if isinstance(error, _TooMuchError) else [(1, "too many levels")]
    return found


def _told(error: yaml.YAMLError, text: str) -> tuple[int, str]:
    """The line of an error, and what is wrong there."""
    mark = getattr(error, "problem_mark", None)
    if mark is None:  # a character that no YAML has
        before = text[: getattr(error, "position", 0)]
        return before.count("\n") + 1, "has a control character"
    lines = text.splitlines() or [""]
    line = lines[min(mark.line, len(lines) - 1)]
    if "\t" in line[: mark.column + 1]:
        return mark.line + 1, "has a tab; indent with spaces"
    parts = getattr(error, "context", None), getattr(error, "problem", None)
    return mark.line + 1, ": ".join(part for part in parts if part)


def _value(found: Marked, node: yaml.Node, steps: Steps) -> Any:
    line = node.start_mark.line + 1
    found.lines[steps] = line
    if len(steps) > _MOST_LEVELS:
        _stop(found, line, f"nested deeper than {_MOST_LEVELS} levels")
    if len(found.lines) > _MOST_VALUES:
        _stop(found, found.lines[steps[:2]], f"has more than {_MOST_VALUES} values, with what its aliases repeat")
    if node.tag not in _DATA:
        kind = node.tag.replace("tag:yaml.org,2002:", "!!")
        found.problems.append((line, f"tags such as {kind} are not read; leave it out"))
        return None
    if isinstance(node, yaml.MappingNode):
        return _members(found, node, steps)
    if isinstance(node, yaml.SequenceNode):
        return [_value(found, each, (*steps, str(place))) for place, each in enumerate(node.value)]
    return _scalar(node)


def _stop(found: Marked, line: int, problem: str) -> None:
    found.problems.append((line, problem))
    raise _TooMuchError


def _members(found: Marked, node: yaml.MappingNode, steps: Steps) -> dict[str, Any]:
    members: dict[str, Any] = {}
    for key, value in node.value:
        line = key.start_mark.line + 1
        if not isinstance(key, yaml.ScalarNode):
            found.problems.append((line, "a name must be a text"))
        elif key.tag.endswith(":merge"):
            found.problems.append((line, "<< is not read; write the members out"))
        elif key.value in members:
            first = found.lines[*steps, key.value]
            found.problems.append((line, f"'{key.value}' occurs twice; it is on line {first} already"))
        else:
            members[key.value] = _value(found, value, (*steps, key.value))
            found.lines[*steps, key.value] = line
    return members


def _scalar(node: Any) -> Any:
    text: str = node.value
    if node.style:  # in quotes, or a block
        return text
    if text in _PLAIN:
        return _PLAIN[text]
    return int(text) if _WHOLE.fullmatch(text) else text
