"""Fetching a file from servers that answer correctly and from servers that do not."""

import contextlib
import gc
import gzip
import socket
import time
import warnings
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler
from threading import Thread
from typing import Any

import pytest
import requests
import requests_mock as mocking

from service.feeds.errors import Fault, FeedError
from service.feeds.fetching import Fetched, fetched
from service.feeds.patience import Patience
from tests.support.feed import (
    AS_PATIENT_AS_THE_SERVICE,
    BOMB,
    MINUTE,
    QUICK,
    Answer,
    FeedServer,
    cut,
    endless,
    endless_chunks,
    know_names,
    longer_than_told,
    memory,
    no_http,
    nobody_accepting,
    nobody_listening,
    sending,
    silent,
    trickling,
    trickling_header,
)

ADDRESS = "https://rates.example/eurofxref-daily.xml"
BODY = b"<rates/>" * 10
LIMIT = 1000
XML = {"Content-Type": "text/xml"}


def get(
    address: str, *, patience: Patience = AS_PATIENT_AS_THE_SERVICE, limit: int = LIMIT, **conditions: str
) -> Fetched | None:
    return fetched(address, max_bytes=limit, conditions=conditions, patience=patience)


def fault_of(address: str, **options: Any) -> FeedError:
    with pytest.raises(FeedError) as error:
        get(address, **options)
    return error.value


ANSWERS: dict[str, tuple[dict[str, Any], Fault]] = {
    "no connection": ({"exc": requests.ConnectionError}, Fault.UNREACHABLE),
    "a certificate of somebody else": ({"exc": requests.exceptions.SSLError}, Fault.UNREACHABLE),
    "two lengths": ({"exc": requests.exceptions.InvalidHeader}, Fault.WRONG_CONTENT),
    "no connection in time": ({"exc": requests.ConnectTimeout}, Fault.TIMEOUT),
    "no answer in time": ({"exc": requests.ReadTimeout}, Fault.TIMEOUT),
    "the end too early": ({"exc": requests.exceptions.ChunkedEncodingError}, Fault.TRUNCATED),
    "429": ({"status_code": 429}, Fault.UNAVAILABLE),
    "500": ({"status_code": 500}, Fault.UNAVAILABLE),
    "503": ({"status_code": 503}, Fault.UNAVAILABLE),
    "301": ({"status_code": 301, "headers": {"Location": "https://elsewhere.example/"}}, Fault.REDIRECTED),
    "302 to an inner host": (
        {"status_code": 302, "headers": {"Location": "http://169.254.169.254/"}},
        Fault.REDIRECTED,
    ),
    "307": ({"status_code": 307, "headers": {"Location": "file:///etc/passwd"}}, Fault.REDIRECTED),
    "403": ({"status_code": 403}, Fault.UNEXPECTED_STATUS),
    "404": ({"status_code": 404, "text": "<html>"}, Fault.UNEXPECTED_STATUS),
    "204": ({"status_code": 204}, Fault.UNEXPECTED_STATUS),
    "206": ({"status_code": 206, "content": BODY}, Fault.UNEXPECTED_STATUS),
    "304 without a condition": ({"status_code": 304}, Fault.UNEXPECTED_STATUS),
    "a page": ({"text": "<html>", "headers": {"Content-Type": "text/html; charset=utf-8"}}, Fault.WRONG_CONTENT),
    "JSON": ({"json": {}, "headers": {"Content-Type": "application/json"}}, Fault.WRONG_CONTENT),
    "a byte too many": ({"content": b"x" * (LIMIT + 1), "headers": XML}, Fault.TOO_LARGE),
    "a length too large": ({"content": BODY, "headers": {**XML, "Content-Length": "9" * 30}}, Fault.TOO_LARGE),
    "a negative length": ({"content": b"x" * (LIMIT + 1), "headers": {**XML, "Content-Length": "-1"}}, Fault.TOO_LARGE),
}


@pytest.mark.parametrize(("answer", "fault"), ANSWERS.values(), ids=ANSWERS.keys())
def test_every_wrong_answer_has_a_named_fault(
    requests_mock: mocking.Mocker, answer: dict[str, Any], fault: Fault
) -> None:
    requests_mock.get(ADDRESS, **answer)

    error = fault_of(ADDRESS)

    assert error.fault is fault
    assert "rates.example" not in error.reason


class TestACorrectAnswer:
    @pytest.mark.parametrize("kind", ["text/xml", "application/xml", "Text/XML; charset=UTF-8", None])
    def test_is_accepted_as_xml_in_any_spelling_of_the_type(
        self, requests_mock: mocking.Mocker, kind: str | None
    ) -> None:
        requests_mock.get(ADDRESS, content=BODY, headers={} if kind is None else {"Content-Type": kind})

        assert get(ADDRESS) == Fetched(body=BODY, conditions={})

    def test_may_have_exactly_the_largest_allowed_size(self, requests_mock: mocking.Mocker) -> None:
        requests_mock.get(ADDRESS, content=b"x" * LIMIT, headers=XML)

        found = get(ADDRESS)

        assert found is not None
        assert len(found.body) == LIMIT

    def test_gives_the_conditions_for_the_next_request(self, requests_mock: mocking.Mocker) -> None:
        told = {"ETag": '"a1"', "Last-Modified": "Wed, 25 Nov 2026 15:00:00 GMT"}
        requests_mock.get(ADDRESS, content=BODY, headers={**XML, **told})

        found = get(ADDRESS)

        assert found is not None
        assert found.conditions == {"If-None-Match": '"a1"', "If-Modified-Since": "Wed, 25 Nov 2026 15:00:00 GMT"}

    @pytest.mark.parametrize("tag", ["", "x" * 300, '"ä"'])
    def test_gives_no_condition_that_is_invalid_in_a_header(self, requests_mock: mocking.Mocker, tag: str) -> None:
        requests_mock.get(ADDRESS, content=BODY, headers={**XML, "ETag": tag})

        found = get(ADDRESS)

        assert found is not None
        assert found.conditions == {}

    def test_is_none_where_nothing_has_changed(self, requests_mock: mocking.Mocker) -> None:
        requests_mock.get(ADDRESS, status_code=304)

        assert get(ADDRESS, **{"If-None-Match": '"a1"'}) is None
        assert requests_mock.request_history[0].headers["If-None-Match"] == '"a1"'

    def test_is_requested_without_anything_that_identifies_the_workshop(self, requests_mock: mocking.Mocker) -> None:
        requests_mock.get(ADDRESS, content=BODY, headers=XML)

        get(ADDRESS)

        asked = requests_mock.request_history[0].headers
        assert asked["User-Agent"] == "pugmill"
        assert not {"Cookie", "Authorization"} & set(asked)


@pytest.mark.parametrize(("told", "seconds"), [("120", 120), ("999999999", 86_400), ("soon", None), (None, None)])
def test_an_overloaded_feed_may_say_when_to_retry(
    requests_mock: mocking.Mocker, told: str | None, seconds: int | None
) -> None:
    requests_mock.get(ADDRESS, status_code=503, headers={} if told is None else {"Retry-After": told})

    assert fault_of(ADDRESS).retry_after_seconds == seconds


NO_YEAR = "Fri, 31 Dec 99999 23:59:59 GMT"
END_OF_TIME = "Fri, 31 Dec 9999999999999999 23:59:59 GMT"
BEHAVIOURS: dict[str, tuple[Answer, Fault]] = {
    "silence": (silent, Fault.TIMEOUT),
    "a byte now and then": (trickling, Fault.TIMEOUT),
    "a header's byte now and then": (trickling_header, Fault.TIMEOUT),
    "no end": (endless(), Fault.TOO_LARGE),
    "no end of chunks": (endless_chunks, Fault.TOO_LARGE),
    "no end, packed": (endless(piece=BOMB, Content_Encoding="gzip"), Fault.TOO_LARGE),
    "a false Content-Encoding": (sending(BODY, Content_Encoding="gzip"), Fault.WRONG_CONTENT),
    "fewer bytes than its length": (sending(BODY, Content_Length="200"), Fault.TRUNCATED),
    "a redirect": (sending(b"", 302, Location="http://127.0.0.1:1/"), Fault.REDIRECTED),
    "a redirect to a file": (sending(b"", 302, Location="file:///etc/passwd"), Fault.REDIRECTED),
    "a redirect to an invalid address": (sending(b"", 302, Location="http://[::1"), Fault.REDIRECTED),
    "a redirect that is not ASCII": (sending(b"", 302, Location="http://h\xe4/"), Fault.REDIRECTED),
    "an error every time": (sending(b"", 500), Fault.UNAVAILABLE),
    "a Retry-After that is no time": (sending(b"", 503, Retry_After="soon"), Fault.UNAVAILABLE),
    "a Retry-After beyond the calendar": (sending(b"", 503, Retry_After=END_OF_TIME), Fault.UNAVAILABLE),
    "a Retry-After with five digits in its year": (sending(b"", 503, Retry_After=NO_YEAR), Fault.UNAVAILABLE),
    "no HTTP": (no_http, Fault.UNREACHABLE),
    "the line cut": (cut, Fault.UNREACHABLE),
}


class TestOverARealConnection:
    @pytest.mark.parametrize(("answer", "fault"), BEHAVIOURS.values(), ids=BEHAVIOURS.keys())
    def test_a_wrong_answer_ends_with_its_fault_within_limits_of_time_and_size(
        self, feed_server: FeedServer, answer: Answer, fault: Fault
    ) -> None:
        """A slow answer ends after a minute, and would then be another fault than a timeout."""
        feed_server.answer = answer

        error = fault_of(feed_server.url, patience=QUICK if fault is Fault.TIMEOUT else AS_PATIENT_AS_THE_SERVICE)

        assert error.fault is fault

    def test_a_packed_file_is_unpacked(self, feed_server: FeedServer) -> None:
        feed_server.answer = sending(gzip.compress(BODY), Content_Encoding="gzip")

        found = get(feed_server.url)

        assert found is not None
        assert found.body == BODY

    def test_a_bomb_is_not_unpacked_beyond_the_limit(self, feed_server: FeedServer) -> None:
        feed_server.answer = sending(BOMB, Content_Encoding="gzip")

        with memory() as most:
            error = fault_of(feed_server.url, limit=1_000_000)

        assert error.fault is Fault.TOO_LARGE
        assert most() < 5_000_000

    @pytest.mark.parametrize(
        ("answer", "fault"),
        [
            (sending(BOMB, 302, Location="http://127.0.0.1:1/", Content_Encoding="gzip"), Fault.REDIRECTED),
            (endless(302, Location="http://127.0.0.1:1/"), Fault.REDIRECTED),
            (endless(503), Fault.UNAVAILABLE),
            (endless(404), Fault.UNEXPECTED_STATUS),
        ],
        ids=["a redirect with a bomb", "a redirect", "overloaded", "not there"],
    )
    def test_the_body_of_an_answer_without_a_file_is_not_read(
        self, feed_server: FeedServer, answer: Answer, fault: Fault
    ) -> None:
        feed_server.answer = answer

        with memory() as most:
            error = fault_of(feed_server.url)

        assert error.fault is fault
        assert most() < 5_000_000

    def test_an_answer_longer_than_its_content_length_is_read_only_that_far(self, feed_server: FeedServer) -> None:
        feed_server.answer = longer_than_told

        found = get(feed_server.url)

        assert found is not None
        assert len(found.body) == 10

    @pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
    def test_a_temporary_failure_is_retried(self, feed_server: FeedServer, status: int) -> None:
        answers: Iterator[Answer] = iter([sending(b"", status), sending(b"", status), sending(BODY)])

        def answer(handler: BaseHTTPRequestHandler) -> None:
            next(answers)(handler)

        feed_server.answer = answer

        found = get(feed_server.url)

        assert found is not None
        assert len(feed_server.requests) == 3

    def test_a_lasting_failure_is_retried_only_up_to_the_limit(self, feed_server: FeedServer) -> None:
        feed_server.answer = sending(b"", 503, Retry_After="7")

        error = fault_of(feed_server.url)

        assert (error.fault, error.retry_after_seconds) == (Fault.UNAVAILABLE, 7)
        assert len(feed_server.requests) == 1 + AS_PATIENT_AS_THE_SERVICE.retries

    def test_a_long_retry_after_is_waited_for_only_up_to_a_limit(self, feed_server: FeedServer) -> None:
        feed_server.answer = sending(b"", 503, Retry_After="3600")
        began = time.monotonic()

        fault_of(feed_server.url)

        assert time.monotonic() - began < MINUTE

    def test_a_permanent_refusal_is_not_retried(self, feed_server: FeedServer) -> None:
        feed_server.answer = sending(b"", 404)

        fault_of(feed_server.url)

        assert len(feed_server.requests) == 1

    def test_a_server_where_nobody_listens_is_unreachable(self) -> None:
        with nobody_listening() as address:
            assert fault_of(address).fault is Fault.UNREACHABLE

    @pytest.mark.parametrize("host", ["localhost", "a." * 40 + "example", "x" * 64 + ".example"])
    def test_a_server_with_an_unknown_name_is_unreachable(self, monkeypatch: pytest.MonkeyPatch, host: str) -> None:
        know_names(monkeypatch)

        assert fault_of(f"http://{host}:9/").fault is Fault.UNREACHABLE

    def test_all_addresses_of_a_name_share_one_time_limit(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """Waiting a second for each address would take a minute, and three with the retries."""
        with nobody_accepting() as address:
            know_names(monkeypatch, localhost=["127.0.0.1"] * 60)
            began = time.monotonic()

            error = fault_of(address.replace("127.0.0.1", "localhost"), patience=QUICK)

        assert error.fault is Fault.TIMEOUT
        assert time.monotonic() - began < MINUTE

    def test_after_an_address_that_refuses_the_next_is_tried(
        self, monkeypatch: pytest.MonkeyPatch, feed_server: FeedServer
    ) -> None:
        feed_server.answer = sending(BODY)
        know_names(monkeypatch, localhost=["127.0.0.2", "127.0.0.1"])

        found = get(feed_server.url.replace("127.0.0.1", "localhost"))

        assert found is not None
        assert found.body == BODY

    def test_a_handshake_that_trickles_is_cut_off_too(self, feed_server: FeedServer) -> None:
        """A TLS record announced as 16 kB, of which a byte arrives now and then."""

        def shake_hands(listening: socket.socket) -> None:
            with listening.accept()[0] as accepted, contextlib.suppress(OSError):
                accepted.sendall(b"\x16\x03\x03\x40\x00")
                for _ in range(MINUTE * 10):
                    accepted.sendall(b"\x02")
                    time.sleep(0.1)

        with socket.create_server(("127.0.0.1", 0)) as listening:
            thread = Thread(target=shake_hands, args=[listening], daemon=True)
            thread.start()
            began = time.monotonic()

            error = fault_of(f"https://127.0.0.1:{listening.getsockname()[1]}/", patience=replace(QUICK, retries=0))

            assert error.fault is Fault.TIMEOUT
            assert QUICK.whole_seconds <= time.monotonic() - began
            thread.join()

    @pytest.mark.parametrize("answer", [trickling, endless(), sending(BODY)], ids=["slow", "endless", "good"])
    def test_no_connection_stays_open_afterwards(self, feed_server: FeedServer, answer: Answer) -> None:
        feed_server.answer = answer

        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            with contextlib.suppress(FeedError):
                get(feed_server.url, patience=QUICK)
            gc.collect()

        assert [str(each.message) for each in told] == []
