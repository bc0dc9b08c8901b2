"""Answers completed before the first byte is sent, on disk if they are long."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import IO

import flask
from werkzeug.wsgi import wrap_file

from service.spool import new_spool, write


def whole(parts: Iterable[bytes], content_type: str) -> flask.Response:
    """The parts as one answer, completed before it is sent, so that nobody gets half of it."""
    with spool() as written:
        write(written, parts)
        return spooled(written, content_type)


@contextmanager
def spool() -> Iterator[IO[bytes]]:
    """A file to write an answer to; closed if that fails."""
    written = new_spool()
    try:
        yield written
    except BaseException:
        written.close()
        raise


def spooled(written: IO[bytes], content_type: str) -> flask.Response:
    """The written file as an answer."""
    length = written.tell()
    written.seek(0)
    response = flask.Response(
        wrap_file(flask.request.environ, written), content_type=content_type, direct_passthrough=True
    )
    response.content_length = length
    response.call_on_close(written.close)
    return response
