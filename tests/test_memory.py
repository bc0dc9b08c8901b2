"""What is kept between requests, and what is let go."""

from service.memory import Memory


def test_a_value_is_found_by_its_key_until_there_is_no_room() -> None:
    memory: Memory[bytes] = Memory(10, len)
    memory.keep("a", b"1234")
    memory.keep("b", b"1234")

    assert memory.find("a") == b"1234"
    memory.keep("c", b"1234")

    assert memory.find("b") is None, "the one least lately used goes"
    assert memory.find("a") == b"1234"
    assert memory.find("c") == b"1234"


def test_a_value_kept_again_takes_the_place_of_the_one_before() -> None:
    memory: Memory[bytes] = Memory(10, len)
    memory.keep("a", b"12345678")
    memory.keep("a", b"123")
    memory.keep("b", b"1234567")

    assert memory.find("a") == b"123"
    assert memory.find("b") == b"1234567"


def test_without_room_nothing_is_kept() -> None:
    memory: Memory[bytes] = Memory(0, len)
    memory.keep("a", b"1")

    assert memory.find("a") is None
