"""What is registered, member by member: changed at a path, compared, and made ready to be sent again."""

import re
from collections.abc import Iterable, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any

Path = tuple[str | int, ...]
"""The way to a member: names, and places in lists, the first of them 0."""

_STEP = re.compile(r"([^/\[\]]+)((?:\[[0-9]{1,4}\])*)")


class PathError(ValueError):
    """There can be no member at a path.

    Attributes:
        path: where it would be, if that is known.
    """

    path: Path | None = None


def path_of(text: str) -> Path:
    """The path that is written like price_per_kwh/day or fees[0]/bands[1]/share.

    Raises:
        PathError: it is not written like that.
    """
    steps: list[str | int] = []
    for part in text.split("/"):
        step = _STEP.fullmatch(part)
        if step is None:
            raise PathError(f"'{text}' is no path to a member; write for instance price_per_kwh/day or fees[0]/share")
        steps += [step[1], *(int(place) for place in re.findall("[0-9]+", step[2]))]
    return tuple(steps)


def changed(members: Any, path: Path, value: Any) -> Any:
    """The members with the one at the path changed, those around it as they are; None takes it out.

    Raises:
        PathError: what is there already leaves no room for it.
    """
    step, *below = path
    if isinstance(step, int):
        return _changed_list(members, step, tuple(below), value)
    if not isinstance(members, dict):
        raise PathError(f"there are no members to name '{step}' among")
    inner = changed(_inner(members.get(step), below), tuple(below), value) if below else value
    return {**members, step: inner}


def _changed_list(items: Any, place: int, below: Path, value: Any) -> Any:
    if not isinstance(items, list):
        raise PathError(f"there is no list to have a place [{place}]")
    if place > len(items):
        raise PathError(f"the place [{place}] comes before there is a place [{len(items)}]")
    there = items[place] if place < len(items) else None
    inner = changed(_inner(there, below), below, value) if below else value
    return [*items[:place], inner, *items[place + 1 :]]


def _inner(there: Any, below: Sequence[str | int]) -> Any:
    """What the rest of the path leads into; empty where nothing is yet."""
    return ([] if isinstance(below[0], int) else {}) if there is None and below else there


def without_nothing(members: Any) -> Any:
    """The members that hold something; what is left out takes its default."""
    if isinstance(members, list):
        return [without_nothing(each) for each in members if each is not None]
    if not isinstance(members, dict):
        return members
    held = {name: without_nothing(each) for name, each in members.items()}
    return {name: each for name, each in held.items() if each not in (None, "", [], {})}


def lists_in(paths: Iterable[Path]) -> list[Path]:
    """The lists that the paths lead into, the outer ones first; not those within another list."""
    found = {path[: next(at for at, step in enumerate(path) if isinstance(step, int))] for path in paths if _has(path)}
    return sorted(found, key=len)


def _has(path: Path) -> bool:
    return any(isinstance(step, int) for step in path)


def are_same(one: Any, other: Any) -> bool:
    """Whether they say the same, however many zeros a figure ends in."""
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
