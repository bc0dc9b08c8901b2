"""The rate limit of a key, by a clock that the test sets, within one process and across several."""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.arrivals import TABLE_BYTES, Arrivals
from tests.support.processes import SECONDS, context, ended, started

SECOND = 1_000_000_000
KEY, OTHER = UUID(int=1), UUID(int=2)


class Clock:
    """A clock in nanoseconds that the test sets."""

    def __init__(self) -> None:
        self.now = 5 * SECOND

    def __call__(self) -> int:
        return self.now

    def forward(self, seconds: float) -> None:
        self.now += int(seconds * SECOND)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "arrivals"
    path.write_bytes(bytes(TABLE_BYTES))
    return path


def admitted(arrivals: Arrivals, times: int, key: UUID = KEY) -> int:
    return sum(arrivals.admit(key).is_allowed for _ in range(times))


def test_a_whole_minutes_requests_may_arrive_at_once_and_not_one_more(clock: Clock) -> None:
    arrivals = Arrivals(60, clock=clock)

    told = [arrivals.admit(KEY) for _ in range(61)]

    assert [each.remaining for each in told] == [*range(59, -1, -1), 0]
    assert [each.is_allowed for each in told] == [True] * 60 + [False]
    assert (told[0].full_after_seconds, told[0].retry_after_seconds) == (1, 0)
    assert (told[60].full_after_seconds, told[60].retry_after_seconds) == (60, 1)


def test_a_client_that_waits_as_told_is_answered_and_one_that_waits_less_is_not(clock: Clock) -> None:
    arrivals = Arrivals(6, clock=clock)
    admitted(arrivals, 6)
    wait = arrivals.admit(KEY).retry_after_seconds

    clock.forward(wait - 0.001)
    assert not arrivals.admit(KEY).is_allowed
    clock.forward(0.001)
    assert wait == 10
    assert admitted(arrivals, 2) == 1


def test_repeated_refusals_do_not_lengthen_the_wait(clock: Clock) -> None:
    arrivals = Arrivals(6, clock=clock)
    admitted(arrivals, 1000)

    clock.forward(10)

    assert arrivals.admit(KEY).is_allowed


def test_a_quiet_minute_restores_the_whole_limit_and_a_quiet_day_no_more(clock: Clock) -> None:
    arrivals = Arrivals(60, clock=clock)
    admitted(arrivals, 60)

    for quiet in (60, 24 * 3600):
        clock.forward(quiet)
        assert admitted(arrivals, 100) == 60


def test_keys_do_not_use_up_each_others_limit(clock: Clock) -> None:
    arrivals = Arrivals(3, clock=clock)
    admitted(arrivals, 3)

    assert admitted(arrivals, 5, OTHER) == 3
    assert not arrivals.admit(KEY).is_allowed


@given(limit=st.integers(1, 1_000_000), waits=st.lists(st.integers(0, 30 * SECOND), max_size=30))
def test_a_period_has_at_most_the_limit_plus_what_its_length_restores(limit: int, waits: list[int]) -> None:
    clock = Clock()
    arrivals = Arrivals(limit, clock=clock)
    begun, answered = clock.now, 0

    for wait in waits:
        clock.now += wait
        told = arrivals.admit(KEY)
        answered += told.is_allowed
        assert told.is_allowed == (told.retry_after_seconds == 0 or (told.remaining == 0 and told.is_allowed))
        assert 0 <= told.remaining < limit
        assert 0 < told.full_after_seconds <= 60

    assert answered <= limit + (clock.now - begun) * limit // (60 * SECOND) + 1


def test_where_there_are_too_many_keys_those_with_most_left_are_forgotten_first(clock: Clock) -> None:
    """Ids with the same ending share a bucket of sixteen rows."""
    arrivals = Arrivals(10, clock=clock)
    admitted(arrivals, 10)

    for other in range(1, 40):
        arrivals.admit(UUID(int=(other << 64) + KEY.int))

    assert not arrivals.admit(KEY).is_allowed


def test_threads_together_get_no_more_than_the_limit(clock: Clock) -> None:
    arrivals = Arrivals(100, clock=clock)

    with ThreadPoolExecutor(8) as threads:
        answered = sum(threads.map(lambda _: admitted(arrivals, 50), range(8)))

    assert answered == 100


def test_several_processes_on_one_table_count_together(table: Path, clock: Clock) -> None:
    one, other = (Arrivals(10, table, clock) for _ in range(2))

    assert admitted(one, 6) == 6
    assert other.admit(KEY).remaining == 3
    assert admitted(other, 9) == 3
    assert not one.admit(KEY).is_allowed


def standing_still() -> int:
    return 5 * SECOND


def ask(table: Path, begin: Any, answers: Any) -> None:
    arrivals = Arrivals(1000, table, standing_still)
    begin.wait(SECONDS)
    answers.put(admitted(arrivals, 700))


def test_processes_together_get_no_more_than_the_limit(table: Path) -> None:
    begin, answers = context.Barrier(3), context.Queue()

    processes = [started(ask, table, begin, answers) for _ in range(3)]
    answered = sum(answers.get(timeout=SECONDS) for _ in processes)

    assert [ended(process) for process in processes] == [0, 0, 0]
    assert answered == 1000
