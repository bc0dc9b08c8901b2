"""Owners take turns, whatever the number of their items."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.serving.fair_queue import FairQueue

OWNERS = st.sampled_from("abcd")


def queue_of(items: list[tuple[str, int]], each: int) -> FairQueue[tuple[str, int]]:
    made = FairQueue[tuple[str, int]](lambda item: item[0], each)
    for item in items:
        made.append(item)
    return made


def test_one_item_is_taken_before_the_second_of_somebody_with_many() -> None:
    queue = queue_of([*(("many", each) for each in range(9)), ("one", 0)], each=9)

    assert [queue.popleft()[0] for _ in range(3)] == ["many", "one", "many"]


def test_an_owner_with_as_many_at_work_as_are_allowed_waits_until_one_is_done() -> None:
    queue = queue_of([("many", each) for each in range(3)], each=2)
    queue.popleft()
    queue.popleft()

    assert len(queue) == 0
    with pytest.raises(KeyError):
        queue.popleft()
    queue.done("many")
    assert queue.popleft() == ("many", 2)


def test_an_item_that_was_removed_is_not_taken() -> None:
    queue = queue_of([("a", 0), ("a", 1), ("b", 0)], each=1)
    queue.remove(("a", 0))
    queue.remove(("b", 0))

    assert queue.popleft() == ("a", 1)
    assert len(queue) == 0
    with pytest.raises(ValueError, match="not in deque"):
        queue.remove(("b", 0))


@given(st.lists(OWNERS, max_size=30), st.integers(1, 4), st.data())
def test_nothing_is_lost_and_nobody_has_more_at_work_than_allowed(
    owners: list[str], each: int, data: st.DataObject
) -> None:
    items = [(owner, place) for place, owner in enumerate(owners)]
    queue, taken, at_work = queue_of(items, each), list[tuple[str, int]](), Counter[str]()
    while len(taken) < len(items):
        if queue and (not at_work.total() or data.draw(st.booleans())):
            item = queue.popleft()
            taken.append(item)
            at_work[item[0]] += 1
            assert at_work[item[0]] <= each
        else:
            owner = data.draw(st.sampled_from(sorted(at_work.elements())))
            at_work[owner] -= 1
            queue.done(owner)

    assert sorted(taken) == sorted(items)
    for owner in set(owners):
        assert [item for item in taken if item[0] == owner] == [item for item in items if item[0] == owner]
