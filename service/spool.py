"""What is written before it is used: in memory as long as it is short, on disk when it is long."""

from collections.abc import Iterable
from tempfile import SpooledTemporaryFile
from typing import IO

_IN_MEMORY_BYTES = 4 * 1024 * 1024


def new_spool() -> IO[bytes]:
    """An empty one; it is gone when it is closed."""
    return SpooledTemporaryFile(_IN_MEMORY_BYTES)


def write(spool: IO[bytes], parts: Iterable[bytes]) -> None:
    """Add the parts one by one: given all at once, the spool would hold them all in memory before it went to disk."""
    for part in parts:
        spool.write(part)
