"""A file that is written whole, or stays as it is."""

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
    """A file to be in the place of this one when all has gone well; None where no path is given.

    It is made at once, so that a place that cannot be written to is told of before anything is done.

    Raises:
        RefusedError: it cannot be written.
    """
    if path is None:
        yield None
        return
    if path.exists() and not path.is_file():
        raise RefusedError(f"{path} cannot be written: it is no file")
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with beside.open("w+b") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        beside.replace(path)
    except BrokenPipeError:  # not of the file
        raise
    except OSError as error:
        raise RefusedError(f"{path} cannot be written: {error.strerror}") from None
    finally:
        beside.unlink(missing_ok=True)


def records_in(file: BinaryIO) -> int:
    """How many records have been written into a file of CSV, its heading not counted."""
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
