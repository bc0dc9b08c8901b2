"""Files that are complete and on disk before they get their name, readable by their owner only."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkstemp


@contextmanager
def scratch_beside(path: Path) -> Iterator[Path]:
    """A temporary file on the same disk, deleted at the end unless it has been renamed."""
    handle, name = mkstemp(prefix=f".{path.name}.", dir=path.parent)
    os.close(handle)
    beside = Path(name)
    try:
        yield beside
    finally:
        beside.unlink(missing_ok=True)


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """A temporary file that replaces this path on success, and is deleted otherwise."""
    with scratch_beside(path) as beside:
        yield beside
        synchronise(beside)
        beside.replace(path)
        synchronise(path.parent)


def synchronise(path: Path) -> None:
    """Flush a file's bytes, or a directory's entries, to disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
