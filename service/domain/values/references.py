"""References between registered things, and names for the parts of a resource."""

from collections.abc import Iterator
from dataclasses import dataclass, is_dataclass
from functools import cache
from typing import Any, NamedTuple, Protocol, get_args, get_origin

from service.domain.values.declared import field_types, optional_of, rules_and_type
from service.domain.values.errors import Path


class Thing(NamedTuple):
    """Something registered: its collection and its code."""

    collection: str
    code: str

    def __str__(self) -> str:
        return f"{self.collection}/{self.code}"

    @classmethod
    def of(cls, resource: str) -> "Thing":
        """Parses a text such as "tariffs/grid"."""
        collection, _, code = resource.partition("/")
        return cls(collection, code)


Reference = tuple[Path, Thing]
"""The location of a reference, and what it names."""


class Registered(Protocol):
    """Anything registered under a code of the workshop's own."""

    @property
    def name(self) -> str:
        """What the workshop calls it."""


@dataclass(frozen=True, slots=True)
class Names:
    """Marks a field that holds a code of this collection."""

    collection: str


@cache
def _plan(value_class: Any) -> tuple[tuple[tuple[str, str], ...], tuple[tuple[str, bool], ...]]:
    """The fields that hold codes, or lists of them, with their collections; the fields whose parts do, with is_list."""
    own, parts = [], []
    for name, hint in field_types(value_class).items():
        bare = optional_of(hint) or hint
        own += [(name, each.collection) for each in getattr(bare, "__metadata__", ()) if isinstance(each, Names)]
        _, bare = rules_and_type(bare)
        is_list = get_origin(bare) is tuple
        part: Any = get_args(bare)[0] if is_list else bare
        own += [(name, each.collection) for each in getattr(part, "__metadata__", ()) if isinstance(each, Names)]
        if isinstance(part, type) and is_dataclass(part) and any(_plan(part)):
            parts.append((name, is_list))
    return tuple(own), tuple(parts)


def references_in(value: Any, at: Path = ()) -> Iterator[Reference]:
    """Every reference in a declared value that stands at a path: its own first, then those of its parts."""
    value_class: Any = type(value)
    own, parts = _plan(value_class)
    for name, collection in own:
        named = getattr(value, name)
        if isinstance(named, tuple):
            for place, code in enumerate(named):
                yield (*at, name, place), Thing(collection, code)
        elif named is not None:
            yield (*at, name), Thing(collection, named)
    for name, is_list in parts:
        part = getattr(value, name)
        if is_list:
            for place, each in enumerate(part):
                yield from references_in(each, (*at, name, place))
        elif part is not None:
            yield from references_in(part, (*at, name))


WHOLE = ""


def part_of(resource: str, part: str) -> str:
    """The name of one part of a resource, for instance "tariffs/grid#day"."""
    return f"{resource}#{part}" if part else resource


def whole_of(part: str) -> str:
    """The resource of a part, for instance "tariffs/grid" of "tariffs/grid#day"."""
    return part.partition("#")[0]


def part_in(part: str) -> str:
    """The part's own name, for instance "day" of "tariffs/grid#day"; "" for the whole."""
    return part.partition("#")[2]
