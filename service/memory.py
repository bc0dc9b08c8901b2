"""Caches between requests, of the values used last."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import RLock
from typing import Any, Generic, TypeVar

T = TypeVar("T")


class Memory(Generic[T]):
    """A thread-safe LRU cache. A key determines its value, so nothing ever needs to be invalidated."""

    def __init__(self, room: int, weigh: Callable[[T], int]) -> None:
        self._room, self._weigh, self._weight = room, weigh, 0
        self._values: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = RLock()

    def find(self, key: Hashable) -> T | None:
        """The value, or None."""
        with self._lock:
            found = self._values.get(key)
            if found is not None:
                self._values.move_to_end(key)
            return found

    def keep(self, key: Hashable, value: T) -> None:
        """Keep the value, and drop those least recently used."""
        with self._lock:
            if key in self._values:
                self._drop(key)
            self._values[key] = value
            self._weight += self._weigh(value)
            while self._weight > self._room:
                self._drop(next(iter(self._values)))

    def _drop(self, key: Hashable) -> None:
        self._weight -= self._weigh(self._values.pop(key))


class MemoryOfStates(Memory[T]):
    """A cache with keys (owner, revision, …) that keeps only the newest revision of each owner.

    Values of older revisions are never asked for again and would only take up room.
    """

    def __init__(self, room: int, weigh: Callable[[T], int]) -> None:
        super().__init__(room, weigh)
        self._kept: dict[Hashable, tuple[Any, set[Hashable]]] = {}

    def keep(self, key: Hashable, value: T) -> None:
        """Keep the value, unless there are values of a newer revision; drop those of older ones."""
        owner, revision = _owner_and_revision(key)
        with self._lock:
            newest, keys = self._kept.get(owner, (revision, set()))
            if revision < newest:
                return
            if revision > newest:
                for each in tuple(keys):
                    self._drop(each)
            super().keep(key, value)
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


class Remembered(dict[Any, Any]):
    """A cache for one piece of work; it is emptied when it is full."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        """The value, made if it is missing."""
        found: T | None = self.get(key)
        if found is None:
            if len(self) >= self._most:
                self.clear()
            found = self[key] = make()
        return found
