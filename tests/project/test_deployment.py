"""The systemd unit, the proxy's and the container's files use existing commands, paths and ports, and keep secrets."""

import json
import re
import subprocess
from configparser import RawConfigParser
from dataclasses import dataclass

import pytest
from click.testing import CliRunner

from service.app import create_app
from service.cli import main
from service.config import DEFAULT_PORT, Settings
from service.store.engine.database_faults import FAULTS
from tests.support.pages import ROOT, SERVING

HOME = "/srv/pugmill/"
CONTAINER_FILE, IGNORE_FILE = ROOT / "scripts" / "Containerfile", ROOT / ".containerignore"


def unit(name: str) -> RawConfigParser:
    parsed = RawConfigParser(delimiters="=", comment_prefixes="#")
    parsed.optionxform = str  # type: ignore[assignment,method-assign]
    parsed.read_string(SERVING.file(f"/etc/systemd/system/{name}"))
    return parsed


def is_understood(command: str) -> bool:
    """Whether the command line accepts these words."""
    words = command.removeprefix(HOME).removeprefix(".venv/bin/pugmill ").split()
    return CliRunner().invoke(main, [*words, "--help"]).exit_code == 0


class TestTheUnit:
    def test_starts_existing_commands_as_a_user_without_rights(self) -> None:
        service = unit("pugmill.service")["Service"]

        assert is_understood(service["ExecStartPre"])
        assert is_understood(service["ExecStart"])
        assert service["WorkingDirectory"] + "/" == HOME
        assert service["User"] == "pugmill"
        assert service["CapabilityBoundingSet"] == ""
        assert service["NoNewPrivileges"] == "true"

    def test_keeps_its_database_where_it_may_write(self) -> None:
        service = unit("pugmill.service")["Service"]

        assert service["ProtectSystem"] == "strict"
        assert service["Environment"] == f"DATABASE_URL=sqlite:////var/lib/{service['StateDirectory']}/pugmill.db"


class TestTheProxy:
    def test_forwards_what_clients_need_and_compresses_nothing_that_they_change(self) -> None:
        shown = SERVING.file("/etc/nginx/snippets/pugmill.conf, inside a server block with TLS")
        forwarded = dict(
            re.findall(r"^location (?:= )?(\S+) \{ proxy_pass \S+;(?: gzip (on|off);)? \}$", shown, re.MULTILINE)
        )
        rules = create_app(Settings(database_url="sqlite:////nowhere/pugmill.db")).url_map.iter_rules()
        changed = {rule.rule for rule in rules if {"PUT", "POST", "DELETE"} & (rule.methods or set())}

        assert set(forwarded) == {"/v1/", "/v1/price-list", "/docs", "/docs/", "/openapi.json"}
        assert shown.count(f"http://127.0.0.1:{DEFAULT_PORT};") == len(forwarded)
        assert forwarded["/v1/"] == "off"
        assert not changed & {address for address, compressed in forwarded.items() if compressed == "on"}


@dataclass(frozen=True, slots=True)
class Instruction:
    """One instruction of the container file, with its continued lines joined."""

    name: str
    rest: str


def instructions() -> list[Instruction]:
    text = CONTAINER_FILE.read_text().replace("\\\n", "")
    lines = [line.partition(" ") for line in text.splitlines() if line and not line.startswith("#")]
    return [Instruction(name, rest) for name, _, rest in lines]


def is_sent(path: str) -> bool:
    """Whether the ignore file lets this file go to the builder: the last pattern that matches it, or a folder above it.

    Source: Dockerfile reference, .dockerignore file; containerignore(5).
    """
    sent = True
    for line in IGNORE_FILE.read_text().splitlines():
        if not line or line.startswith("#"):
            continue
        pattern = re.escape(line.removeprefix("!")).replace(r"\*\*/", "(.*/)?").replace(r"\*", "[^/]*")
        if re.fullmatch(f"{pattern}(/.*)?", path):
            sent = line.startswith("!")
    return sent


class TestTheContainer:
    def last_stage(self) -> dict[str, str]:
        found = instructions()
        start = max(place for place, each in enumerate(found) if each.name == "FROM")
        return {each.name: each.rest for each in found[start:]}

    def test_starts_existing_commands_as_a_user_without_rights(self) -> None:
        found = self.last_stage()
        migrate, serve = json.loads(found["CMD"])[2].split(" && exec ")

        assert is_understood(migrate)
        assert is_understood(serve)
        assert f"useradd --system --uid {found['USER']} " in found["RUN"]
        assert found["WORKDIR"] + "/" == HOME

    def test_listens_and_is_checked_on_the_port_of_the_service(self) -> None:
        found = self.last_stage()

        assert found["EXPOSE"] == str(DEFAULT_PORT)
        assert f":{DEFAULT_PORT}/ready" in json.loads(found["HEALTHCHECK"].removeprefix("CMD "))[2]

    def test_ends_with_nothing_but_what_was_installed(self) -> None:
        assert self.last_stage()["COPY"] == "--from=build /srv/pugmill/.venv .venv"

    def test_is_built_from_what_is_sent(self) -> None:
        copied = [each.rest.split()[0] for each in instructions() if each.name == "COPY" and "--from" not in each.rest]
        listed = subprocess.run(["git", "ls-files", *copied], cwd=ROOT, capture_output=True, text=True, check=True)
        needed = [name for name in listed.stdout.splitlines() if not name.endswith(".md")]

        assert len(needed) > 300
        assert {*copied} == {"pyproject.toml", "scripts/requirements.lock", "service", "migrations", "openapi"}
        assert [name for name in needed if not is_sent(name)] == []

    @pytest.mark.parametrize(
        "path",
        [
            "var/demo.key",
            "var/pugmill.db",
            "pugmill.db",
            "pugmill.db-wal",
            "service/pugmill.db",
            "service/store/pugmill.db-shm",
            "service/backup.sqlite3",
            "migrations/pugmill.sqlite3-journal",
            "service/owner.key",
            "service/service.log",
            "service/__pycache__/app.cpython-311.pyc",
            "workshop.json",
            ".env",
            ".git/config",
            ".venv/bin/python",
            "scripts/start",
            "tests/conftest.py",
        ],
    )
    def test_is_sent_no_database_no_key_and_no_history(self, path: str) -> None:
        assert not is_sent(path)

    def test_is_sent_only_what_the_project_has(self) -> None:
        """Whatever lies about in this working tree."""
        listed = subprocess.run(
            ["git", "ls-files", "--others", "--ignored", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        )
        assert [name for name in listed.stdout.splitlines() if is_sent(name)] == []


def test_the_page_says_what_to_do_about_each_503() -> None:
    table = SERVING.section("When it answers 503")

    told = re.findall(r"^\| `([a-z-]+)` \|", table, re.MULTILINE)

    assert told == [fault.kind for fault in FAULTS]
