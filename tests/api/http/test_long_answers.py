"""A long answer is written to disk before it is sent, and is never in memory as a whole."""

import tracemalloc
from collections.abc import Iterator

import pytest

from service.spool import new_spool, write

MEGABYTE = 1024 * 1024


def lines(megabytes: int) -> Iterator[bytes]:
    return (b"x" * 1024 for _ in range(megabytes * 1024))


@pytest.mark.parametrize("megabytes", [5, 50])
def test_an_answer_of_any_length_takes_only_a_few_megabytes_of_memory(megabytes: int) -> None:
    tracemalloc.start()
    try:
        with new_spool() as written:
            write(written, lines(megabytes))
            length = written.tell()
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()

    assert length == megabytes * MEGABYTE
    assert peak < 12 * MEGABYTE
