"""Long answers: made whole before they are begun, on disk if they are long, or sent as they are read."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import IO

import flask
from werkzeug.wsgi import wrap_file

from service.spool import new_spool, write


def whole(parts: Iterable[bytes], content_type: str) -> flask.Response:
    """The parts as one answer, made before it is begun, so that nobody is sent half of it."""
    with spool() as written:
        write(written, parts)
        return spooled(written, content_type)


@contextmanager
def spool() -> Iterator[IO[bytes]]:
    """A file to write an answer to; it is closed where the answer cannot be made."""
    written = new_spool()
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
