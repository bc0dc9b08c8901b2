"""Caches of the values used last, bounded by what they take in memory."""

import sys
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date
from decimal import Decimal
from enum import Enum
from functools import cache
from threading import RLock
from typing import Any, Generic, TypeVar

T = TypeVar("T")

MEGABYTE = 1024 * 1024
_LEAVES = frozenset({str, Decimal, int, bool, date, type(None)})
"""Types that most of a state consists of, and that refer to nothing."""


def size_of(value: Any) -> int:
    """Bytes that a value takes with all it consists of: texts, figures, collections and dataclasses of these."""
    found, seen, left = 0, set[int](), [value]
    while left:
        each = left.pop()
        kind: Any = type(each)
        if id(each) in seen or (kind not in _LEAVES and isinstance(each, Enum)):
            continue
        seen.add(id(each))
        found += sys.getsizeof(each)
        if kind in _LEAVES:
            continue
        if kind is dict or isinstance(each, Mapping):
            left += [*each.keys(), *each.values()]
        elif isinstance(each, (tuple, list, set, frozenset)):
            left += each
        elif is_dataclass(each):
            left += [getattr(each, name) for name in _members(kind)]
    return found


@cache
def _members(kind: Any) -> tuple[str, ...]:
    return tuple(field.name for field in fields(kind))


class Memory(Generic[T]):
    """A thread-safe LRU cache. A key determines its value, so nothing ever needs to be invalidated."""

    def __init__(self, room: int, weigh: Callable[[T], int] = size_of) -> None:
        """Give it room for so many bytes."""
        self._room, self._weigh, self._weight = room, weigh, 0
        self._values: OrderedDict[Hashable, tuple[T, int]] = OrderedDict()
        self._lock = RLock()

    def find(self, key: Hashable) -> T | None:
        """The value, or None."""
        with self._lock:
            found = self._values.get(key)
            if found is None:
                return None
            self._values.move_to_end(key)
            return found[0]

    def keep(self, key: Hashable, value: T, weight: int | None = None) -> None:
        """Keep the value, and drop those least recently used.

        Args:
            weight: the bytes that it takes, if they are known without weighing it.
        """
        if not self._room:
            return
        weight = self._weigh(value) if weight is None else weight
        with self._lock:
            if key in self._values:
                self._drop(key)
            self._values[key] = value, weight
            self._weight += weight
            while self._weight > self._room:
                self._drop(next(iter(self._values)))

    def _drop(self, key: Hashable) -> None:
        _, weight = self._values.pop(key)
        self._weight -= weight


class MemoryOfStates(Memory[T]):
    """A cache with keys (owner, revision, …) that keeps only the newest revision of each owner.

    Values of older revisions are never asked for again and would only take up room.
    """

    def __init__(self, room: int, weigh: Callable[[T], int] = size_of) -> None:
        super().__init__(room, weigh)
        self._kept: dict[Hashable, tuple[Any, set[Hashable]]] = {}

    def keep(self, key: Hashable, value: T, weight: int | None = None) -> None:
        """Keep the value, unless there are values of a newer revision; drop those of older ones."""
        owner, revision = _owner_and_revision(key)
        with self._lock:
            newest, keys = self._kept.get(owner, (revision, set()))
            if revision < newest:
                return
            if revision > newest:
                for each in tuple(keys):
                    self._drop(each)
            super().keep(key, value, weight)
            if key in self._values:
                self._kept.setdefault(owner, (revision, set()))[1].add(key)

    def _drop(self, key: Hashable) -> None:
        super()._drop(key)
        owner, _ = _owner_and_revision(key)
        if owner in self._kept:
            _, keys = self._kept[owner]
            keys.discard(key)
            if not keys:
                del self._kept[owner]


def _owner_and_revision(key: Hashable) -> tuple[Hashable, Any]:
    assert isinstance(key, tuple)
    return key[0], key[1]


class Remembered(dict[Any, T]):
    """A cache for one piece of work, for so many bytes; it is emptied when it is full."""

    def __init__(self, room: int, weigh: Callable[[T], int], find: Callable[[Any], T] | None = None) -> None:
        """Without `find`, each value is made by whoever asks `of` it; with it, `[key]` finds what is missing."""
        super().__init__()
        self._room, self._weigh, self._weight, self._find = room, weigh, 0, find

    def __missing__(self, key: Any) -> T:
        if self._find is None:
            raise KeyError(key)
        find = self._find
        return self.of(key, lambda: find(key))

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        """The value, made if it is missing."""
        found = self.get(key)
        if found is None:
            found = make()
            self._weight += self._weigh(found)
            if self._weight > self._room:
                self.clear()
                self._weight = self._weigh(found)
            self[key] = found
        return found
