"""`pugmill serve` with slow clients, odd requests, a full disk and a silent database, and when it stops."""

import json
import os
import resource
import select
import signal
import socket
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import pytest

from tests.support.browser import PHONE, Browser
from tests.support.processes import SECONDS
from tests.support.proxy import proxy_to
from tests.support.running import Running, everything, refused_at, running

VAT = b'{"name": "VAT"}'
JSON = ("Content-Type: application/json",)


@pytest.fixture(scope="module")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    with running(tmp_path_factory.mktemp("serving"), PUGMILL_RATE_LIMIT="off") as found:
        yield found


@pytest.fixture
def ending(tmp_path: Path) -> Iterator[Running]:
    """A service of the test's own, which it may stop."""
    with running(tmp_path) as found:
        yield found


@pytest.fixture(scope="module")
def feed() -> Iterator[socket.socket]:
    """A feed of exchange rates that accepts connections and says nothing."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.settimeout(SECONDS)
        yield listening


@pytest.fixture(scope="module")
def waiting(feed: socket.socket, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A service that waits for the feed when it is asked to."""
    url = f"http://127.0.0.1:{feed.getsockname()[1]}/"
    with running(tmp_path_factory.mktemp("waiting"), PUGMILL_FEED_URL=url) as found:
        yield found


def refresh(service: Running) -> bytes:
    """A request that waits for the feed."""
    return service.head("POST", "/v1/exchange-rates/refresh", *JSON, "Content-Length: 2", "Connection: close") + b"{}"


def status(answer: bytes) -> int:
    return int(answer.split(b" ", 2)[1])


def head(answer: bytes) -> bytes:
    """The status line and the header, whose names may be in any case (RFC 9110, 5.1)."""
    return answer.partition(b"\r\n\r\n")[0].lower() + b"\r\n"


class TestWhileOthersHang:
    """More clients than there are threads have each sent a part of a request and nothing more."""

    @pytest.mark.parametrize(
        ("lines", "part"),
        [
            pytest.param(None, b"", id="connections that say nothing"),
            pytest.param(None, b"GET /health HT", id="half a request line"),
            pytest.param((), b"", id="half a header"),
            pytest.param((*JSON, "Content-Length: 500", "", ""), b'{"name": ', id="half a body"),
            pytest.param((*JSON, "Transfer-Encoding: chunked", "", ""), b"9\r\n{", id="half a chunk"),
        ],
    )
    def test_everybody_else_is_answered(self, service: Running, lines: tuple[str, ...] | None, part: bytes) -> None:
        sent = b"" if lines is None else service.head("PUT", "/v1/taxes/vat", *lines).removesuffix(b"\r\n\r\n")
        with ExitStack() as connections:
            for _ in range(40):
                connections.enter_context(service.connect()).sendall(sent + part)

            answers = [service.ask("GET", "/v1/taxes"), service.ask("GET", "/health")]

        assert [status(answer) for answer in answers] == [200, 200]

    def test_a_body_that_comes_in_pieces_is_read_whole(self, service: Running) -> None:
        with service.connect() as connection:
            connection.sendall(
                service.head("PUT", "/v1/taxes/pieces", *JSON, "Connection: close", f"Content-Length: {len(VAT)}")
            )
            for byte in VAT:
                connection.sendall(bytes([byte]))

            assert status(everything(connection)) == 201


FIELDS = "tr .parameters-col_description input"
"""Selector of the fields for an operation's parameters."""


class TestPolicies:
    """W3C, Content Security Policy Level 3."""

    @pytest.mark.parametrize("path", ["/health", "/openapi.json", "/v1/taxes", "/nothing", "/v1/taxes/none"])
    def test_an_answer_that_is_not_a_page_may_load_and_run_nothing(self, service: Running, path: str) -> None:
        answer = service.ask("GET", path)

        assert b"content-security-policy: default-src 'none'; frame-ancestors 'none'\r\n" in head(answer)
        assert b"cross-origin-resource-policy: same-origin\r\n" in head(answer)

    def test_the_documentation_works_in_a_browser_and_requests_nothing_from_elsewhere(
        self, service: Running, browser: Browser
    ) -> None:
        browser.visit(f"http://127.0.0.1:{service.port}/docs/", 1200)
        for _ in range(SECONDS * 10):
            if "Expand all" in browser.text:  # beside each schema; of many, the page has only the first at once
                break
            time.sleep(0.1)

        assert "GET /v1/" in browser.text
        assert "Expand all" in browser.text
        assert browser.complaints(f"http://127.0.0.1:{service.port}/") == []

    def test_the_documentation_of_an_operation_names_every_field_on_a_phone(
        self, service: Running, browser: Browser
    ) -> None:
        browser.visit(f"http://127.0.0.1:{service.port}/docs/?#/materials/putMaterial", PHONE)
        for _ in range(SECONDS * 10):
            if browser.value(f"document.querySelectorAll('{FIELDS}').length"):
                break
            time.sleep(0.1)

        named = browser.value(f"[...document.querySelectorAll('{FIELDS}')].map(each => each.ariaLabel)")
        assert named == ["code", "If-Match", "If-None-Match"]
        assert browser.value("document.querySelectorAll('button a[href], button button').length") == 0
        assert browser.value("document.querySelectorAll('select:not([aria-label])').length") == 0
        assert browser.value("[...document.querySelectorAll('main')].length") == 1


class TestARequest:
    """How the server passes a request to the application."""

    def test_with_chunks_is_read(self, service: Running) -> None:
        chunks = b"%x\r\n%b\r\n0\r\n\r\n" % (len(VAT), VAT)

        answer = service.ask("PUT", "/v1/taxes/chunked", *JSON, "Transfer-Encoding: chunked", body=chunks)

        assert status(answer) == 201

    def test_of_one_byte_too_many_is_refused_whether_it_states_its_length_or_not(self, service: Running) -> None:
        body = b" " * (1024 * 1024 + 1)
        chunks = b"%x\r\n%b\r\n0\r\n\r\n" % (len(body), body)

        told = service.ask("PUT", "/v1/taxes/long", *JSON, f"Content-Length: {len(body)}", body=body)
        untold = service.ask("PUT", "/v1/taxes/long", *JSON, "Transfer-Encoding: chunked", body=chunks)

        assert [status(told), status(untold)] == [413, 413]

    @pytest.mark.parametrize(
        ("line", "part"),
        [
            ("Content-Length: 500", VAT),
            ("Transfer-Encoding: chunked", b"%x\r\n%b\r\n" % (len(VAT), VAT)),
            ("Transfer-Encoding: chunked", b"%x\r\n%b" % (len(VAT) + 9, VAT)),
        ],
        ids=["too short", "without an end", "half a chunk"],
    )
    def test_that_breaks_off_stores_nothing(self, service: Running, line: str, part: bytes) -> None:
        """The part that arrived is valid JSON by itself."""
        with service.connect() as connection:
            connection.sendall(service.head("PUT", "/v1/taxes/broken", *JSON, line) + part)
            connection.shutdown(socket.SHUT_WR)
            assert status(everything(connection) or b"HTTP/1.1 400 ") == 400

        assert status(service.ask("GET", "/v1/taxes/broken")) == 404

    @pytest.mark.parametrize(
        ("path", "wanted"),
        [
            ("/v1/taxes/%76at", 404),
            ("/v1/taxes/%ff", 422),
            ("/v1/taxes/%c3%a9?limit=1", 422),
            ("//v1/taxes", 404),
            ("/%2Fv1/taxes", 404),
            ("/v1/taxes?limit=%ff", 422),
        ],
    )
    def test_with_an_odd_address_gets_a_problem(self, service: Running, path: str, wanted: int) -> None:
        answer = service.ask("GET", path)

        assert status(answer) == wanted
        assert b"content-type: application/problem+json" in head(answer)

    def test_has_no_header_that_is_mistaken_for_another(self, service: Running) -> None:
        answer = service.ask("GET", "/health", "X_Request_Id: mine", "X-Odd: \xe9", "X-Request-Id: one")

        assert status(answer) == 200
        assert b"x-request-id: one\r\n" in head(answer)

    def test_with_head_is_answered_with_the_length_and_no_body(self, service: Running) -> None:
        asked, got = service.ask("HEAD", "/openapi.json"), service.ask("GET", "/openapi.json")

        assert asked.endswith(b"\r\n\r\n")
        length = len(got.partition(b"\r\n\r\n")[2])
        assert length > 256 * 1024
        for each in (asked, got):
            assert b"content-length: %d\r\n" % length in head(each)

    def test_is_answered_with_every_header_line(self, service: Running) -> None:
        answer = service.ask("GET", "/v1/taxes", "Authorization: Bearer nobody")

        assert head(answer).count(b"server: pugmill\r\n") == 1
        assert head(answer).count(b"www-authenticate: ") == 2
        assert b"waitress" not in answer.lower()
        assert b"\r\nvia: " not in head(answer)


def test_workers_count_a_keys_requests_together(tmp_path: Path) -> None:
    with running(tmp_path, PUGMILL_RATE_LIMIT="20") as service:
        begun = time.monotonic()
        answers = [status(service.ask("GET", "/v1/taxes")) for _ in range(35)]
        passed = time.monotonic() - begun

    # One more is allowed every three seconds, and a slow machine may take that long; two workers that count separately
    # would answer all of them.
    assert answers[:20] == [200] * 20
    assert answers.count(200) <= 20 + passed / 3 + 1


class TestWithoutRoomOnTheDisk:
    """No file that SQLite writes may grow: neither its log, nor its database, nor temporary files."""

    def test_nothing_acknowledged_is_lost_and_work_goes_on_once_there_is_room(
        self, ending: Running, tmp_path: Path
    ) -> None:
        def put(code: str) -> bytes:
            body = json.dumps({"name": "x" * 150}).encode()
            return ending.ask("PUT", f"/v1/taxes/{code}", *JSON, f"Content-Length: {len(body)}", body=body)

        assert status(put("first")) == 201
        log = tmp_path / "running.db-wal"
        with longest_file(ending, log.stat().st_size):
            answers = {f"full-{each}": put(f"full-{each}") for each in range(40)}
            reading = ending.ask("GET", "/v1/taxes/first")

        refused = [answer for answer in answers.values() if status(answer) != 201]
        assert refused
        assert all(status(answer) == 503 and b"problem/storage-full" in answer for answer in refused)
        assert status(reading) == 200
        assert status(put("after")) == 201
        stored = json.loads(ending.ask("GET", "/v1/taxes?limit=500").partition(b"\r\n\r\n")[2])["items"]
        acknowledged = {code for code, answer in answers.items() if status(answer) == 201}
        assert {each["code"] for each in stored} == {"first", "after", *acknowledged}


class TestHTTP:
    """RFC 9110 and RFC 9112, as a stranger tries them."""

    @pytest.mark.parametrize(
        "lines",
        [
            pytest.param((), id="no Host"),
            pytest.param(("Host: one.example", "Host: two.example"), id="two Hosts"),
            pytest.param(("Host: one.example two.example",), id="a Host with a space"),
            pytest.param(("Host: http://one.example",), id="a Host that is an address"),
            pytest.param(("Host: one.example:port",), id="a Host whose port is no number"),
            pytest.param(("Host: one.example", "X-Odd : 1"), id="a space before a colon"),
        ],
    )
    def test_a_header_that_breaks_the_rules_gets_a_problem_400(self, service: Running, lines: tuple[str, ...]) -> None:
        answer = service.tell("\r\n".join(["GET /health HTTP/1.1", *lines, "Connection: close", "", ""]).encode())

        assert answer.partition(b"\r\n")[0].endswith(b" 400 Bad Request")
        assert b"content-type: application/problem+json" in head(answer)
        assert b"problem/bad-request" in answer

    @pytest.mark.parametrize("host", ["one.example", "one.example:8410", "127.0.0.1", "[::1]:8410", ""])
    def test_a_host_may_be_a_name_or_an_address_with_a_port(self, service: Running, host: str) -> None:
        answer = service.tell(f"GET /health HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode())

        assert status(answer) == 200

    def test_names_of_methods_are_case_sensitive(self, service: Running) -> None:
        assert status(service.ask("get", "/v1/taxes")) == 400

    def test_a_trailer_field_after_the_last_chunk_is_accepted(self, service: Running) -> None:
        chunks = b"%x\r\n%b\r\n0\r\nX-Checked: yes\r\n\r\n" % (len(VAT), VAT)

        answer = service.ask("PUT", "/v1/taxes/trailed", *JSON, "Transfer-Encoding: chunked", body=chunks)

        assert status(answer) == 201

    def test_the_status_line_has_todays_names(self, service: Running) -> None:
        assert service.ask("GET", "/v1/taxes?limit=none").startswith(b"HTTP/1.1 422 Unprocessable Content\r\n")

    def test_a_header_that_is_too_long_gets_a_problem_431(self, service: Running) -> None:
        answer = service.ask("GET", "/v1/taxes", "X-Long: " + "x" * 40_000)

        assert status(answer) == 431
        assert b"problem/request-header-fields-too-large" in answer


class TestLongWork:
    """Refreshing exchange rates from a feed that accepts connections and says nothing."""

    def test_whose_process_is_killed_is_answered_and_the_process_replaced(
        self, waiting: Running, feed: socket.socket
    ) -> None:
        with waiting.connect() as connection:
            connection.sendall(refresh(waiting))
            with feed.accept()[0]:
                os.kill(waiting.processes()[-1], signal.SIGKILL)
                answer = everything(connection)

        assert status(answer) == 503
        assert b"problem/interrupted" in answer
        assert status(waiting.ask("GET", "/v1/price-list")) == 200

    def test_that_is_done_at_once_is_answered_each_time(self, waiting: Running) -> None:
        answers = [status(waiting.ask("GET", "/v1/price-list")) for _ in range(100)]

        assert answers == [200] * 100

    def test_is_given_up_when_nobody_waits_for_it_any_more(self, waiting: Running, feed: socket.socket) -> None:
        """A workshop has one process at a time, so the second request is begun once the first has ended."""
        with ExitStack() as asked:
            for _ in range(2):
                with waiting.connect() as connection:
                    connection.sendall(refresh(waiting))
                    asked.enter_context(feed.accept()[0])

            assert status(waiting.ask("GET", "/v1/taxes")) == 200

    def test_of_one_workshop_is_bounded_and_leaves_threads_for_the_rest(
        self, waiting: Running, feed: socket.socket
    ) -> None:
        with ExitStack() as connections:
            asked = [connections.enter_context(waiting.connect()) for _ in range(20)]
            for each in asked:
                each.sendall(refresh(waiting))
            connections.enter_context(feed.accept()[0])
            answers = [status(waiting.ask("GET", path)) for path in ("/v1/taxes", "/health", "/ready")]
            refused, _, _ = select.select(asked, [], [], SECONDS)
            told = everything(refused[0])

        assert answers == [200, 200, 200]
        assert status(told) == 503
        assert b"problem/busy" in told
        assert b"too much long work" in told


@pytest.mark.server
def test_a_database_that_falls_silent_keeps_no_request_waiting_forever(database_url: str, tmp_path: Path) -> None:
    impatient = f"{database_url}{'&' if '?' in database_url else '?'}connect_timeout=2"
    with proxy_to(impatient) as proxy, running(tmp_path, DATABASE_URL=proxy.url, PUGMILL_TIME_LIMIT="1") as service:
        assert status(service.ask("GET", "/v1/taxes")) == 200
        proxy.hold()

        with ThreadPoolExecutor(9) as clients:  # more of them than a workshop has threads
            silent = list(clients.map(lambda _: service.ask("GET", "/v1/taxes"), range(9)))
        assert status(service.ask("GET", "/health")) == 200

        proxy.restore()
        assert {status(answer) for answer in silent} == {503}
        assert all(b"\r\nretry-after: " in head(answer) for answer in silent)
        assert status(service.ask("GET", "/v1/taxes")) == 200


@contextmanager
def longest_file(service: Running, size: int) -> Iterator[None]:
    """Keep every process of the service from writing files beyond this size, in bytes."""
    main = service.processes()[0]
    usual = resource.prlimit(main, resource.RLIMIT_FSIZE)

    def limit(limits: tuple[int, int]) -> None:
        for process in service.processes():  # one may have ended meanwhile, and another begun in its place
            with suppress(ProcessLookupError):
                resource.prlimit(process, resource.RLIMIT_FSIZE, limits)

    limit((size, usual[1]))
    try:
        yield
    finally:
        limit(usual)


class TestToldToStop:
    def test_it_answers_requests_under_way_accepts_no_new_ones_and_exits_with_0(
        self, ending: Running, tmp_path: Path
    ) -> None:
        with ending.connect() as connection, ending.connect():
            more = ("Content-Length: 15", "Connection: close", "Expect: 100-continue")
            connection.sendall(ending.head("PUT", "/v1/taxes/vat", *JSON, *more))
            assert b"100 Continue" in connection.recv(100)  # the request is being read
            connection.sendall(VAT[:5])
            ending.tell_to_stop()
            while ending.is_listening():
                pass
            connection.sendall(VAT[5:])
            answer = everything(connection)

        assert status(answer) == 201
        assert json.loads(answer.partition(b"\r\n\r\n")[2])["name"] == "VAT"
        assert ending.ended() == 0
        assert not list(tmp_path.glob("pugmill-*"))

    def test_a_second_service_at_the_same_port_is_refused(self, service: Running, tmp_path: Path) -> None:
        told = refused_at(service.port, tmp_path)

        assert f"cannot listen at 127.0.0.1:{service.port}: Address already in use" in told


class TestKilled:
    def test_a_process_is_replaced_and_none_outlives_the_main_process(self, ending: Running) -> None:
        main, *before = ending.processes()
        for process in before:
            os.kill(process, signal.SIGKILL)
        answer = ending.ask("GET", "/health")
        after = ending.processes()[1:]
        os.kill(main, signal.SIGKILL)
        ending.ended()
        while ending.is_listening():
            pass

        assert status(answer) == 200
        assert len(after) == len(before)
        assert not set(after) & set(before)
        for process in after:
            while is_running(process):
                pass


def is_running(process: int) -> bool:
    """Whether the process goes on; one that has ended may still have an entry, as a zombie (proc(5), from memory)."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
