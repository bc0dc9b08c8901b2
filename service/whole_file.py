"""A file that is whole and on the disk before it has its name, and that only its owner may read."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import mkstemp


@contextmanager
def scratch_beside(path: Path) -> Iterator[Path]:
    """An empty file on the same disk, gone at the end unless it has been given another name."""
    handle, name = mkstemp(prefix=f".{path.name}.", dir=path.parent)
    os.close(handle)
    beside = Path(name)
    try:
        yield beside
    finally:
        beside.unlink(missing_ok=True)


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """An empty file that takes this place when all has gone well, and is gone otherwise."""
    with scratch_beside(path) as beside:
        yield beside
        synchronise(beside)
        beside.replace(path)
        synchronise(path.parent)


def synchronise(path: Path) -> None:
    """Have a file's bytes, or a directory's names, on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
