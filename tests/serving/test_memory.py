"""The cache between requests: what it keeps and what it drops."""

from service.memory import Memory, MemoryOfStates


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
