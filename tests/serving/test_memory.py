"""The cache between requests: what it keeps and what it drops."""

import sys
from datetime import date
from decimal import Decimal

from service.domain.currency.exchange_rates import DayRates
from service.domain.pricing.policy import Rounding
from service.memory import Memory, MemoryOfStates, Remembered, size_of


def test_a_value_is_found_by_its_key_until_there_is_no_room() -> None:
    memory: Memory[bytes] = Memory(10, len)
    memory.keep("a", b"1234")
    memory.keep("b", b"1234")

    assert memory.find("a") == b"1234"
    memory.keep("c", b"1234")

    assert memory.find("b") is None, "the one least lately used goes"
    assert memory.find("a") == b"1234"
    assert memory.find("c") == b"1234"


def test_a_value_kept_again_replaces_the_one_before() -> None:
    memory: Memory[bytes] = Memory(10, len)
    memory.keep("a", b"12345678")
    memory.keep("a", b"123")
    memory.keep("b", b"1234567")

    assert memory.find("a") == b"123"
    assert memory.find("b") == b"1234567"


def test_a_memory_without_room_keeps_nothing() -> None:
    memory: Memory[bytes] = Memory(0, len)
    memory.keep("a", b"1")

    assert memory.find("a") is None


def test_a_value_whose_weight_is_told_is_not_weighed() -> None:
    memory: Memory[str] = Memory(10)
    memory.keep("a", "a long text", 4)

    assert memory.find("a") == "a long text"
    memory.keep("b", "b")
    assert memory.find("b") is None, "a text takes fifty bytes"


class TestTheSizeOfAValue:
    def test_is_that_of_all_it_consists_of(self) -> None:
        day = DayRates(source="x", base="EUR", published_on=date(2026, 1, 1), rates={"USD": Decimal("1.1")})
        parts = ["x", "EUR", day.published_on, day.rates, "USD", day.rates["USD"]]

        assert size_of(day) == sum(map(sys.getsizeof, [day, *parts]))
        assert size_of((day, day)) == size_of(day) + sys.getsizeof((day, day)), "what is shared counts once"

    def test_leaves_out_what_the_program_has_anyway(self) -> None:
        assert size_of((Rounding.UP,)) == sys.getsizeof((None,))


class TestWhatOnePieceOfWorkRemembers:
    def test_is_made_once_while_there_is_room(self) -> None:
        remembered = Remembered[bytes](10, len)
        made = iter([b"1234", b"12345", b"12", b"1234"])

        assert remembered.of("a", lambda: next(made)) == b"1234"
        assert remembered.of("b", lambda: next(made)) == b"12345"
        assert remembered.of("a", lambda: next(made)) == b"1234"
        assert remembered.of("c", lambda: next(made)) == b"12", "it was full, and emptied"
        assert list(remembered) == ["c"]
        assert remembered.of("a", lambda: next(made)) == b"1234"
        assert list(remembered) == ["c", "a"]


class TestValuesOfAWorkshopsState:
    def test_are_dropped_with_the_first_value_of_a_newer_state(self) -> None:
        memory: Memory[bytes] = MemoryOfStates(10, len)
        memory.keep(("ours", 1, "a"), b"1234")
        memory.keep(("theirs", 7, "a"), b"1234")

        memory.keep(("ours", 2, "b"), b"123456")

        assert memory.find(("ours", 1, "a")) is None
        assert memory.find(("ours", 2, "b")) == b"123456", "there was room for it without the older state"
        assert memory.find(("theirs", 7, "a")) == b"1234"

    def test_are_not_kept_once_there_is_a_newer_state(self) -> None:
        memory: Memory[bytes] = MemoryOfStates(10, len)
        memory.keep(("ours", 2, "b"), b"1234")

        memory.keep(("ours", 1, "a"), b"1234")

        assert memory.find(("ours", 1, "a")) is None
        assert memory.find(("ours", 2, "b")) == b"1234"

    def test_leave_no_bookkeeping_that_grows(self) -> None:
        memory: MemoryOfStates[bytes] = MemoryOfStates(10, len)
        for each in range(1000):
            memory.keep((f"workshop {each % 7}", 1, each), b"1234")
            memory.keep((f"workshop {each % 7}", 1, each), b"12345")

        assert sum(len(keys) for _, keys in memory._kept.values()) == len(memory._values) == 2
