"""Members of JSON data: changed at a path, compared, and cleaned before they are sent."""

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

Path = tuple[str | int, ...]
"""The path to a member: names, and list indexes from 0."""

_STEP = re.compile(r"([^/\[\]]+)((?:\[[0-9]{1,4}\])*)")


class PathError(ValueError):
    """There can be no member at this path.

    Attributes:
        path: the path, if known.
    """

    path: Path | None = None


def path_of(text: str) -> Path:
    """Parse a path such as price_per_kwh/day or fees[0]/bands[1]/share.

    Raises:
        PathError: if it is malformed.
    """
    steps: list[str | int] = []
    for part in text.split("/"):
        step = _STEP.fullmatch(part)
        if step is None:
            raise PathError(f"'{text}' is not a member; write for instance price_per_kwh/day or fees[0]/share")
        steps += [step[1], *(int(place) for place in re.findall("[0-9]+", step[2]))]
    return tuple(steps)


def steps_of(pointer: str) -> list[str]:
    """The names in a JSON pointer (RFC 6901)."""
    return [step.replace("~1", "/").replace("~0", "~") for step in pointer.split("/")[1:]]


def changed(members: Any, path: Path, value: Any) -> Any:
    """A copy of the members with the one at the path changed; None stands for removal.

    Raises:
        PathError: if there can be no member at the path.
    """
    step, *below = path
    if isinstance(step, int):
        return _changed_list(members, step, tuple(below), value)
    if not isinstance(members, dict):
        raise PathError(f"there can be no member '{step}' here: it is not an object")
    inner = changed(_inner(members.get(step), below), tuple(below), value) if below else value
    return {**members, step: inner}


def _changed_list(items: Any, place: int, below: Path, value: Any) -> Any:
    if not isinstance(items, list):
        raise PathError(f"there can be no entry [{place}] here: it is not a list")
    if place > len(items):
        raise PathError(f"the entry [{place}] needs an entry [{len(items)}] before it")
    there = items[place] if place < len(items) else None
    inner = changed(_inner(there, below), below, value) if below else value
    return [*items[:place], inner, *items[place + 1 :]]


def _inner(there: Any, below: Sequence[str | int]) -> Any:
    """What the rest of the path leads into; an empty list or object if there is nothing yet."""
    return ([] if isinstance(below[0], int) else {}) if there is None and below else there


def without_nothing(members: Any) -> Any:
    """The members without empty values, which take their defaults."""
    if isinstance(members, list):
        return [without_nothing(each) for each in members if each is not None]
    if not isinstance(members, dict):
        return members
    held = {name: without_nothing(each) for name, each in members.items()}
    return {name: each for name, each in held.items() if each not in (None, "", [], {})}


def lists_in(paths: Iterable[Path]) -> list[Path]:
    """The outermost lists in the paths, shortest path first."""
    found = {path[: next(at for at, step in enumerate(path) if isinstance(step, int))] for path in paths if _has(path)}
    return sorted(found, key=len)


def _has(path: Path) -> bool:
    return any(isinstance(step, int) for step in path)


def are_same(one: Any, other: Any) -> bool:
    """Whether they are equal, ignoring trailing zeros of figures."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(are_same(each, other[name]) for name, each in one.items())
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(are_same, one, other))
    return one == other or (_figure(one) is not None and _figure(one) == _figure(other))


def _figure(text: Any) -> Decimal | None:
    try:
        return Decimal(text) if isinstance(text, str) else None
    except InvalidOperation:
        return None
