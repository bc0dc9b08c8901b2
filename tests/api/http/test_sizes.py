"""The greatest size of a body."""

import io
import json
from typing import Any

import pytest

from service.api.http.reading import MAX_BODY_BYTES
from tests.api.outside import is_problem, leaving_as_it_is, over_wsgi, refused
from tests.conftest import Client
from tests.support.builders import material


class Endless(io.RawIOBase):
    """A body without an end, which counts the bytes read."""

    def __init__(self) -> None:
        super().__init__()
        self.read_bytes = 0

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        buffer[:] = b" " * len(buffer)
        self.read_bytes += len(buffer)
        return len(buffer)


class TestSizes:
    def padded(self, length: int) -> bytes:
        body = json.dumps(material()).encode()
        return body + b" " * (length - len(body))

    def test_a_body_at_the_limit_is_read(self, client: Client) -> None:
        assert client.put("materials/hdpe", self.padded(MAX_BODY_BYTES)).status_code == 201

    def test_a_body_one_byte_over_the_limit_is_refused(self, client: Client) -> None:
        refused(client, "PUT", "materials/hdpe", self.padded(MAX_BODY_BYTES + 1), status=413)

    @pytest.mark.parametrize("length", [str(MAX_BODY_BYTES + 2), "10000000000", "9" * 30])
    def test_a_length_over_the_limit_is_refused_before_anything_is_read(self, client: Client, length: str) -> None:
        endless = Endless()

        response = self.stream(client, endless, length)

        assert response.status_code == 413
        assert is_problem(response)
        assert endless.read_bytes == 0

    def test_a_body_without_a_length_is_read_no_further_than_the_limit(self, client: Client) -> None:
        endless = Endless()

        response = self.stream(client, endless)

        assert response.status_code == 413
        assert is_problem(response)
        assert endless.read_bytes <= 2 * MAX_BODY_BYTES

    @pytest.mark.parametrize("beyond", [1, 7, 65536])
    def test_a_chunked_body_over_the_limit_is_refused_and_not_truncated(self, client: Client, beyond: int) -> None:
        with leaving_as_it_is(client):
            response = self.stream(client, io.BytesIO(self.padded(MAX_BODY_BYTES) + b"x" * beyond))

            assert response.status_code == 413

    def test_a_chunked_body_within_the_limit_is_read(self, client: Client) -> None:
        assert self.stream(client, io.BytesIO(self.padded(MAX_BODY_BYTES))).status_code == 201

    def test_a_body_that_is_refused_as_too_large_says_how_large_it_may_be(self, client: Client) -> None:
        response = refused(client, "PUT", "materials/hdpe", self.padded(MAX_BODY_BYTES + 1), status=413)

        digits = "".join(character for character in response.json["detail"] if character.isdigit())
        assert digits in (str(MAX_BODY_BYTES), "1")

    def stream(self, client: Client, body: Any, length: str | None = None) -> Any:
        """Send a body as a WSGI server passes it on: with a length, or chunked without one."""
        return over_wsgi(
            client,
            "PUT",
            "/v1/materials/hdpe",
            CONTENT_TYPE="application/json",
            CONTENT_LENGTH=length,
            HTTP_TRANSFER_ENCODING="chunked" if length is None else None,
            **{"wsgi.input": body, "wsgi.input_terminated": length is None},
        )
