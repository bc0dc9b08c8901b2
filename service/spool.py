"""Temporary files, in memory while they are short and on disk when they are long."""

from collections.abc import Iterable
from tempfile import SpooledTemporaryFile
from typing import IO

_IN_MEMORY_BYTES = 4 * 1024 * 1024


def new_spool() -> IO[bytes]:
    """A new, empty spool; it is deleted when it is closed."""
    return SpooledTemporaryFile(_IN_MEMORY_BYTES)


def write(spool: IO[bytes], parts: Iterable[bytes]) -> None:
    """Write the parts one by one: writelines would hold all of them in memory before going to disk."""
    for part in parts:
        spool.write(part)
