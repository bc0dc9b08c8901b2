"""What the workshop's commands share: exit status, requests, and written files; only the network is replaced."""

import os
import sys
from pathlib import Path
from typing import Any

import pytest
import requests
import requests_mock as network

from service.cli import main
from service.client.command import owners_command
from service.client.ends import ENDS, OutOfReachError, RefusedError, WaitingError
from service.client.files.new_file import new_file
from service.client.http import Service

URL = "http://pugmill.example"


def problem(status: int, **members: Any) -> dict[str, Any]:
    return {"type": "about:blank", "title": "A title", "status": status, "detail": "the reason", **members}


def end_of(job: Any, *arguments: str) -> int:
    try:
        owners_command("A command.")(job).main(["--url", f"{URL}/", "--key", "none", *arguments], prog_name="command")
    except SystemExit as stopped:
        return int(str(stopped.code))
    return 0


def ask(service: Any, _options: Any) -> None:
    service.send("GET", "/v1/taxes")


class TestTheExitStatus:
    @pytest.mark.parametrize(
        ("status", "is_problem", "ends_with"),
        [
            (200, False, 0),
            (400, True, 1),
            (404, True, 1),
            (409, True, 1),
            (422, True, 1),
            (500, True, 1),
            (412, True, 4),
            (429, True, 4),
            (503, True, 4),
            (504, True, 4),
            pytest.param(502, True, 1, id="502 of the service: its feed sent invalid rates"),
            pytest.param(502, False, 4, id="502 of a gateway: the service is not there"),
            pytest.param(503, False, 4, id="503 of a gateway"),
        ],
    )
    def test_tells_temporary_failures_from_lasting_ones(self, status: int, is_problem: bool, ends_with: int) -> None:
        with network.Mocker() as mocker:
            content = {"json": problem(status)} if is_problem else {"text": "<html>"}
            mocker.get(f"{URL}/v1/taxes", status_code=status, **content)

            assert end_of(ask) == ends_with

    @pytest.mark.parametrize(
        "error", [requests.ConnectionError, requests.ConnectTimeout, requests.ReadTimeout, requests.exceptions.SSLError]
    )
    def test_without_an_answer_is_4(self, capsys: pytest.CaptureFixture[str], error: type[Exception]) -> None:
        with network.Mocker() as mocker:
            mocker.get(f"{URL}/v1/taxes", exc=error)

            assert end_of(ask) == 4

        assert capsys.readouterr().err == (
            f"command: no answer from {URL} ({error.__name__}); is the service running there?\n"
        )

    def test_with_an_invalid_address_is_1(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert end_of(ask, "--url", "nowhere") == 1

        assert capsys.readouterr().err.startswith("command: nowhere cannot be used: ")

    def test_with_something_left_to_confirm_is_3_and_its_message_follows_the_output(
        self, capsys: pytest.CaptureFixture[str]
    ) -> None:
        def job(_service: Any, _options: Any) -> None:
            sys.stdout.write("All of it\n")
            raise WaitingError("one is left")

        assert end_of(job) == 3

        printed = capsys.readouterr()
        assert (printed.out, printed.err) == ("All of it\n", "command: one is left\n")

    def test_without_a_key_is_2(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert end_of(ask, "--key", "") == 2

        assert "a key is needed" in capsys.readouterr().err

    @pytest.mark.parametrize(
        "command",
        ["change-tariff", "export-prices", "import-rates", "price", "quote", "refresh-exchange-rates", "reprice"],
    )
    def test_is_explained_in_every_commands_help_with_the_dry_run(
        self, capsys: pytest.CaptureFixture[str], command: str
    ) -> None:
        with pytest.raises(SystemExit) as stopped:
            main([command, "--help"], prog_name="pugmill")

        assert stopped.value.code == 0
        told = capsys.readouterr().out
        assert ENDS in told
        assert "--dry-run" in told
        assert f"    pugmill {command} " in told


class TestAsking:
    def test_takes_address_and_key_from_the_environment(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setenv("PUGMILL_URL", URL)
        monkeypatch.setenv("PUGMILL_KEY", "from-the-environment\n")

        with network.Mocker() as mocker:
            mocker.get(f"{URL}/v1/taxes", json={})
            owners_command("A command.")(ask).main([], standalone_mode=False)

        assert mocker.request_history[0].headers["Authorization"] == "Bearer from-the-environment"

    def test_names_every_member_that_is_wrong(self, capsys: pytest.CaptureFixture[str]) -> None:
        errors = [
            {"pointer": "/price", "detail": "is required"},
            {"parameter": "as_of", "detail": "must be a day"},
            {"line": 3, "detail": "has 2 fields"},
        ]
        with network.Mocker() as mocker:
            mocker.get(f"{URL}/v1/taxes", status_code=422, json=problem(422, errors=errors))
            end_of(ask)

        told = "/price: is required; as_of: must be a day; line 3: has 2 fields"
        assert capsys.readouterr().err == f"command: GET /v1/taxes was refused with 422: {told}\n"

    def test_says_when_to_retry_after_too_many_requests(self, capsys: pytest.CaptureFixture[str]) -> None:
        with network.Mocker() as mocker:
            mocker.get(f"{URL}/v1/taxes", status_code=429, json=problem(429), headers={"Retry-After": "7"})

            assert end_of(ask) == 4

        told = "command: GET /v1/taxes was refused with 429: the reason (Retry-After: 7)\n"
        assert capsys.readouterr().err == told

    def test_waits_longer_for_long_requests(self) -> None:
        service = Service(URL, "none")
        with network.Mocker() as mocker:
            mocker.get(f"{URL}/v1/taxes", json={})
            service.send("GET", "/v1/taxes")
            service.send("GET", "/v1/taxes", is_long=True)

        short, long = (request.timeout for request in mocker.request_history)
        assert short[0] == long[0] <= 10
        assert short[1] * 10 <= long[1]

    def test_reads_a_list_to_its_end(self) -> None:
        service = Service(URL, "none")
        with network.Mocker() as mocker:
            mocker.get(f"{URL}/v1/taxes?limit=500", json={"items": [{"a": 1}], "next": "/v1/taxes?limit=500&cursor=x"})
            mocker.get(f"{URL}/v1/taxes?limit=500&cursor=x", json={"items": [{"a": 2}], "next": None})

            assert [*service.everything("/v1/taxes")] == [{"a": 1}, {"a": 2}]

    def test_reports_an_answer_that_breaks_off(self) -> None:
        class Broken:
            def iter_content(self, _size: int) -> Any:
                yield b"half"
                raise requests.exceptions.ChunkedEncodingError

        parts = Service(URL, "none").parts(Broken())

        assert next(parts) == b"half"
        with pytest.raises(OutOfReachError, match="ChunkedEncodingError"):
            next(parts)


class TestANewFile:
    def test_replaces_the_old_one_when_everything_has_succeeded(self, tmp_path: Path) -> None:
        path = tmp_path / "prices.csv"
        path.write_text("old")

        with new_file(path) as file:
            file.write(b"new")
            assert path.read_text() == "old"

        assert path.read_text() == "new"
        assert os.listdir(tmp_path) == ["prices.csv"]

    def test_that_is_not_finished_leaves_the_old_one(self, tmp_path: Path) -> None:
        path = tmp_path / "prices.csv"
        path.write_text("old")

        def fail(file: Any) -> None:
            file.write(b"new")
            raise ValueError("midway")

        with pytest.raises(ValueError, match="midway"), new_file(path) as file:
            fail(file)

        assert path.read_text() == "old"
        assert os.listdir(tmp_path) == ["prices.csv"]

    def test_that_cannot_be_written_is_refused_before_anything_is_done(self, tmp_path: Path) -> None:
        for path, reason in (
            (tmp_path / "missing" / "prices.csv", "No such file or directory"),
            (tmp_path, "it is not a file"),
            (Path(os.devnull), "it is not a file"),
        ):
            done = []

            with pytest.raises(RefusedError, match=rf"cannot be written: {reason}"), new_file(path):
                done.append(path)

            assert done == []

    def test_is_none_where_no_path_is_given(self) -> None:
        with new_file(None) as file:
            assert file is None
