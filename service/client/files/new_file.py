"""Files that are written completely or not at all."""

import csv
import io
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from service.client.ends import RefusedError


@contextmanager
def new_file(path: Path | None) -> Iterator[BinaryIO | None]:
    """A new file that replaces the one at this path on success; None if there is no path.

    It is created at once, so that a path that cannot be written fails before anything is done.

    Raises:
        RefusedError: if it cannot be written.
    """
    if path is None:
        yield None
        return
    if path.exists() and not path.is_file():
        raise RefusedError(f"{path} cannot be written: it is not a file")
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with beside.open("w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except BrokenPipeError:  # of standard output, not of the file
        raise
    except OSError as error:
        raise RefusedError(f"{path} cannot be written: {error.strerror}") from None
    finally:
        beside.unlink(missing_ok=True)


def records_in(file: BinaryIO) -> int:
    """Number of records in a CSV file, without its header."""
    file.seek(0)
    text = io.TextIOWrapper(file, "utf-8", newline="")
    records = sum(1 for _ in csv.reader(text)) - 1
    text.detach()
    return records


def csv_bytes(header: Sequence[str], rows: Iterable[Sequence[object]]) -> bytes:
    """Records as CSV in UTF-8 (RFC 4180)."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerows([header, *rows])
    return text.getvalue().encode()
