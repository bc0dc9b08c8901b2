"""How things that a workshop registers name each other, and what a part of one is called."""

from collections.abc import Iterable
from typing import Protocol

Path = tuple[str | int, ...]
Reference = tuple[Path, str, str]
"""Where something is named, the collection it is in, and its code."""


class Registered(Protocol):
    """Anything a workshop gives a code of its own."""

    @property
    def name(self) -> str:
        """What the workshop calls it."""

    def references(self) -> Iterable[Reference]:
        """Everything it names, and where."""


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
