"""A queue in which owners take turns, so that one with much work does not keep others waiting."""

from collections import OrderedDict, deque
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

T = TypeVar("T")


class FairQueue(Generic[T]):
    """Waiting items of several owners, each of whom has a bounded number of items taken at a time.

    Owners take turns, whatever the number of their items; the items of one owner keep their order. Not thread-safe.
    """

    def __init__(self, owner_of: Callable[[T], Hashable], each: int) -> None:
        """Make an empty queue.

        Args:
            owner_of: the owner of an item.
            each: most items of one owner that may be taken and not yet done.
        """
        self._owner_of, self._each = owner_of, each
        self._waiting: dict[Hashable, deque[T]] = {}
        self._taken: dict[Hashable, int] = {}
        self._turns: OrderedDict[Hashable, None] = OrderedDict()  # owners whose next item may be taken, in order

    def append(self, item: T) -> None:
        """Add an item after the others of its owner."""
        owner = self._owner_of(item)
        self._waiting.setdefault(owner, deque()).append(item)
        self._queue_up(owner)

    def __len__(self) -> int:
        """The number of owners whose next item may be taken now; 0 if nothing may."""
        return len(self._turns)

    def popleft(self) -> T:
        """Take the first item of the owner whose turn it is; raises KeyError if nothing may be taken."""
        owner, _ = self._turns.popitem(last=False)
        item = self._waiting[owner].popleft()
        if not self._waiting[owner]:
            del self._waiting[owner]
        self._taken[owner] = self._taken.get(owner, 0) + 1
        self._queue_up(owner)
        return item

    def done(self, owner: Hashable) -> None:
        """Say that an item which was taken is done."""
        self._taken[owner] -= 1
        if not self._taken[owner]:
            del self._taken[owner]
        self._queue_up(owner)

    def remove(self, item: T) -> None:
        """Remove an item that is still waiting; raises ValueError if it is not."""
        owner = self._owner_of(item)
        waiting = self._waiting.get(owner, deque[T]())
        waiting.remove(item)
        if not waiting:
            del self._waiting[owner]
            self._turns.pop(owner, None)

    def _queue_up(self, owner: Hashable) -> None:
        if owner in self._waiting and owner not in self._turns and self._taken.get(owner, 0) < self._each:
            self._turns[owner] = None
