"""What is kept in memory between requests: the values last used, as many as there is room for."""

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import RLock
from typing import Any, Generic, TypeVar

T = TypeVar("T")


class Memory(Generic[T]):
    """Values by a key that they follow from, so that nothing has ever to be taken back. Safe in threads."""

    def __init__(self, room: int, weigh: Callable[[T], int]) -> None:
        self._room, self._weigh, self._weight = room, weigh, 0
        self._values: OrderedDict[Hashable, T] = OrderedDict()
        self._lock = RLock()

    def find(self, key: Hashable) -> T | None:
        """The value, if it is kept."""
        with self._lock:
            found = self._values.get(key)
            if found is not None:
                self._values.move_to_end(key)
            return found

    def keep(self, key: Hashable, value: T) -> None:
        """Keep the value, and let go of those least lately used."""
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
    """Values by whose they are, the revision they follow from, and what else; only of the newest revision of each.

    Nobody asks for an older one again, so it would only take up room until something else needed it.
    """

    def __init__(self, room: int, weigh: Callable[[T], int]) -> None:
        super().__init__(room, weigh)
        self._kept: dict[Hashable, tuple[Any, set[Hashable]]] = {}

    def keep(self, key: Hashable, value: T) -> None:
        """Keep the value, unless something of a newer revision is there; let go of what follows from an older one."""
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
    """Values by what they follow from, within one piece of work; all are forgotten where there would be too many."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self._most = most

    def of(self, key: Hashable, make: Callable[[], T]) -> T:
        """The value, made if it is not there."""
        found: T | None = self.get(key)
        if found is None:
            if len(self) >= self._most:
                self.clear()
            found = self[key] = make()
        return found
