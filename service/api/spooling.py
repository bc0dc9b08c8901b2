"""Long answers: made whole before they are begun, on disk if they are long, or sent as they are read."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from tempfile import SpooledTemporaryFile
from typing import IO

import flask
from werkzeug.wsgi import wrap_file

_IN_MEMORY_BYTES = 4 * 1024 * 1024


def whole(parts: Iterable[bytes], content_type: str) -> flask.Response:
    """The parts as one answer, made before it is begun, so that nobody is sent half of it."""
    with spool() as written:
        write(written, parts)
        return spooled(written, content_type)


def write(written: IO[bytes], parts: Iterable[bytes]) -> None:
    """Add the parts one by one: given all at once, the file would hold them all in memory before it went to disk."""
    for part in parts:
        written.write(part)


@contextmanager
def spool() -> Iterator[IO[bytes]]:
    """A file to write an answer to; it is closed where the answer cannot be made."""
    written = SpooledTemporaryFile(_IN_MEMORY_BYTES)  # noqa: SIM115  # closed with the answer
    try:
        yield written
    except BaseException:
        written.close()
        raise


def spooled(written: IO[bytes], content_type: str) -> flask.Response:
    """What was written, as an answer."""
    length = written.tell()
    written.seek(0)
    response = flask.Response(
        wrap_file(flask.request.environ, written), content_type=content_type, direct_passthrough=True
    )
    response.content_length = length
    response.call_on_close(written.close)
    return response
