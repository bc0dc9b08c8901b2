"""The contract is made once and sent again only if it is new; nothing outside /v1 is cached that must not be."""

import gzip
import json

import flask
import pytest

from service.app import create_app
from service.config import Settings

ADDRESS = "/openapi.json"


def asked(app: flask.Flask, **headers: str) -> flask.Response:
    answer = app.test_client().get(ADDRESS, headers={name.replace("_", "-"): text for name, text in headers.items()})
    assert answer.status_code in (200, 304)
    return answer


class TestTheContract:
    def test_is_made_once(self) -> None:
        app = create_app(Settings(database_url="sqlite:////nowhere/pugmill.db"))
        first = asked(app).data

        app.extensions["pugmill.api"].spec.tag({"name": "added later"})

        assert asked(app).data == first
        assert gzip.decompress(asked(app, Accept_Encoding="gzip").data) == first

    def test_is_the_same_in_every_process_with_any_settings(self) -> None:
        settings = Settings(database_url="sqlite:////nowhere/pugmill.db")
        others = Settings(database_url="sqlite://", has_memory=False, rate_limit=None, time_limit=1, quota_rows=None)
        first, second = (asked(create_app(each), Accept_Encoding="gzip") for each in (settings, others))

        assert first.data == second.data
        assert first.headers["ETag"] == second.headers["ETag"]

    @pytest.mark.parametrize(
        ("accepted", "is_compressed"),
        [
            ("gzip", True),
            ("gzip, deflate, br", True),
            ("br;q=1.0, gzip;q=0.8, *;q=0.1", True),
            ("*", True),
            ("", False),
            ("identity", False),
            ("br", False),
            ("gzip;q=0", False),
            ("identity, gzip;q=0.5", False),
        ],
    )
    def test_is_compressed_if_the_client_prefers_that(
        self, app: flask.Flask, accepted: str, is_compressed: bool
    ) -> None:
        answer = asked(app, Accept_Encoding=accepted)

        assert answer.headers.get("Content-Encoding") == ("gzip" if is_compressed else None)
        assert answer.headers["Vary"] == "Accept-Encoding"
        content = gzip.decompress(answer.data) if is_compressed else answer.data
        assert json.loads(content) == asked(app).json
        assert int(answer.headers["Content-Length"]) == len(answer.data)

    def test_is_much_shorter_if_it_is_compressed(self, app: flask.Flask) -> None:
        assert len(asked(app, Accept_Encoding="gzip").data) < len(asked(app).data) / 7

    @pytest.mark.parametrize("accepted", ["gzip", "identity"])
    def test_is_not_sent_again(self, app: flask.Flask, accepted: str) -> None:
        tag = asked(app, Accept_Encoding=accepted).headers["ETag"]

        again = asked(app, Accept_Encoding=accepted, If_None_Match=f"W/{tag}")

        assert (again.status_code, again.data) == (304, b"")
        assert again.headers["ETag"] == tag
        assert again.headers["Vary"] == "Accept-Encoding"
        assert again.headers["Cache-Control"] == "no-cache"

    def test_has_another_tag_in_another_form(self, app: flask.Flask) -> None:
        tag = asked(app).headers["ETag"]

        assert asked(app, Accept_Encoding="gzip", If_None_Match=tag).status_code == 200

    def test_has_no_body_in_answer_to_head(self, app: flask.Flask) -> None:
        answer = app.test_client().head(ADDRESS)

        assert answer.data == b""
        assert answer.headers["ETag"] == asked(app).headers["ETag"]


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("/openapi.json", "no-cache"),
        ("/", "no-cache"),
        ("/docs", "no-cache"),
        ("/docs/", "no-cache"),
        ("/docs/swagger-ui.css", "no-cache"),
        ("/health", "no-store"),
        ("/ready", "no-store"),
        ("/metrics", "no-store"),
        ("/nothing", "no-store"),
        ("//", "no-store"),
    ],
)
def test_every_answer_outside_v1_says_whether_it_may_be_stored(app: flask.Flask, address: str, told: str) -> None:
    with app.test_client().get(address) as answer:
        assert answer.headers.getlist("Cache-Control") == [told]
