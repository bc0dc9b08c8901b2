"""How things that a workshop registers name each other, and what a part of one is called."""

from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass
from functools import cache
from typing import Any, Protocol, get_args, get_origin

from service.domain.values.declared import field_types, optional_of, rules_and_type
from service.domain.values.errors import Path

Reference = tuple[Path, str, str]
"""Where something is named, the collection it is in, and its code."""


class Registered(Protocol):
    """Anything a workshop gives a code of its own."""

    @property
    def name(self) -> str:
        """What the workshop calls it."""


@dataclass(frozen=True, slots=True)
class Names:
    """That a field holds a code of this collection."""

    collection: str


@cache
def _plan(value_class: Any) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, bool], ...]]:
    """The fields that name something, each with its collection; those that have parts, and whether as a list."""
    own, parts = [], []
    for name, hint in field_types(value_class).items():
        bare = optional_of(hint) or hint
        own += [(name, each.collection) for each in getattr(bare, "__metadata__", ()) if isinstance(each, Names)]
        _, bare = rules_and_type(bare)
        is_list = get_origin(bare) is tuple
        if is_dataclass(get_args(bare)[0] if is_list else bare):
            parts.append((name, is_list))
    return tuple(own), tuple(parts)


def references_in(value: Any) -> Iterator[Reference]:
    """Everything that a value names, and where: first what it names itself, then what its parts name."""
    value_class: Any = type(value)
    own, parts = _plan(value_class)
    for name, collection in own:
        if (code := getattr(value, name)) is not None:
            yield (name,), collection, code
    for name, is_list in parts:
        part = getattr(value, name)
        places = (((name, place), each) for place, each in enumerate(part)) if is_list else [((name,), part)]
        for place, each in places:
            if each is not None:
                yield from (((*place, *path), collection, code) for path, collection, code in references_in(each))


WHOLE = ""


def collection_and_code(resource: str) -> tuple[str, str]:
    """Where it is registered, and as what."""
    collection, _, code = resource.partition("/")
    return collection, code


def part_of(resource: str, part: str) -> str:
    """The name of one part of a resource, for instance "tariffs/grid#day"."""
    return f"{resource}#{part}" if part else resource


def whole_of(part: str) -> str:
    """The resource that something is a part of, or the whole of."""
    return part.partition("#")[0]


def part_in(part: str) -> str:
    """Which part of its resource it is; "" for the whole."""
    return part.partition("#")[2]
