"""What is expected in a field, in a few words: what it means, and an example of its form."""

import json
import re
from collections.abc import Mapping
from dataclasses import is_dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from functools import cache
from typing import Any, get_args, get_origin

from service.domain.values.declared import Bounds, field_types, is_required, marks_and_type, meanings, optional_of

_MOST_MEMBERS, _MOST_LEVELS = 4, 2
"""What an example shows of an object, and of objects within objects; the rest is left out."""
_LEFT_OUT = "…"
_WHOLE = ""
"""In place of a member: the whole object."""
_INSTANCE = re.compile(",? (for instance|such as) ")

_bodies: dict[type, Any] = {}
"""Example bodies of the contract."""


def learn(declared_class: type, body: Any) -> None:
    """Remember an example body, whose values then show what is expected in fields of its classes."""
    _bodies.setdefault(declared_class, body)
    _seen.cache_clear()


@cache
def _seen() -> dict[tuple[type, str], Any]:
    """The first value in the example bodies, by class and member."""
    found: dict[tuple[type, str], Any] = {}

    def look(hint: Any, value: Any) -> None:
        _, bare = _bare(hint)
        if get_origin(bare) is tuple:
            for each in value:
                look(get_args(bare)[0], each)
        elif get_origin(bare) is Mapping:
            for each in value.values():
                look(get_args(bare)[1], each)
        elif isinstance(bare, type) and is_dataclass(bare):
            found.setdefault((bare, _WHOLE), value)
            for name, part in field_types(bare).items():
                if name in value:
                    found.setdefault((bare, name), value[name])
                    look(part, value[name])

    for declared_class, body in _bodies.items():
        look(declared_class, body)
    return found


def _bare(hint: Any) -> tuple[tuple[Any, ...], Any]:
    """The annotations of a type, which may be optional, and the bare type."""
    return marks_and_type(optional_of(hint) or hint)


def _example(hint: Any) -> Any:
    """A value of the type, as JSON has it."""
    marks, bare = _bare(hint)
    if get_origin(bare) is tuple:
        return [_example(get_args(bare)[0])]
    if get_origin(bare) is Mapping:
        key, value = get_args(bare)
        return {str(_example(key)): _example(value)}
    if isinstance(bare, type) and is_dataclass(bare):
        made = {name: example_of(bare, name) for name in field_types(bare) if is_required(bare, name)}
        return _seen().get((bare, _WHOLE), made)
    if isinstance(bare, type) and issubclass(bare, StrEnum):
        return next(iter(bare)).value
    is_share = any(isinstance(mark, Bounds) and 1 in (mark.at_most, mark.below) for mark in marks)
    return {Decimal: "0.15" if is_share else "12.5", int: 20, date: "2026-11-30", bool: True}.get(bare, _LEFT_OUT)


def example_of(declared_class: type, name: str) -> Any:
    """A value for the field: the contract's own example if it has one, else one made from the type."""
    if (declared_class, name) in _seen():
        return _seen()[declared_class, name]
    return _example(field_types(declared_class)[name])


def _shortened(value: Any, levels: int = _MOST_LEVELS) -> Any:
    if isinstance(value, dict):
        if not levels and len(value) > _MOST_MEMBERS // 2:
            return {_LEFT_OUT: _LEFT_OUT}
        shown = {name: _shortened(each, levels - 1) for name, each in [*value.items()][:_MOST_MEMBERS]}
        return shown if len(value) <= _MOST_MEMBERS else {**shown, _LEFT_OUT: _LEFT_OUT}
    if isinstance(value, list):
        return [_shortened(each, levels) for each in value[:1]] + [_LEFT_OUT] * (len(value) > 1)
    return value


def _written(value: Any) -> str:
    """The example as JSON, with what is left out as dots."""
    text = json.dumps(_shortened(value), ensure_ascii=False)
    return text.replace(f'"{_LEFT_OUT}": "{_LEFT_OUT}"', _LEFT_OUT).replace(f'"{_LEFT_OUT}"', _LEFT_OUT)


def expected(declared_class: type, name: str) -> str:
    """What the field means, and its form; for instance 'the unit it is bought in, such as "kg"'."""
    meaning = _INSTANCE.split(meanings(declared_class)[name].partition(";")[0])[0].rstrip(".")
    example = example_of(declared_class, name)
    return meaning if example == _LEFT_OUT else f"{meaning}, such as {_written(example)}"


def form_of(declared_class: type) -> str:
    """The form of an object of the class; for instance '{"amount": "0.85", "currency": "EUR"}'."""
    return _written(_example(declared_class))
