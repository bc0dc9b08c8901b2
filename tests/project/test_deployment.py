"""The systemd unit and the container file in service/serving/README.md use existing commands, paths and ports."""

import json
import re
from configparser import RawConfigParser

from click.testing import CliRunner

from service.app import create_app
from service.cli import main
from service.config import DEFAULT_PORT, Settings
from service.store.engine.database_faults import FAULTS
from tests.support.pages import SERVING

HOME = "/srv/pugmill/"


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


class TestTheContainerFile:
    def instructions(self) -> dict[str, str]:
        lines = [line.partition(" ") for line in SERVING.file("Containerfile").splitlines() if not line.startswith("#")]
        return {name: rest for name, _, rest in lines}

    def test_starts_existing_commands_as_a_user_without_rights(self) -> None:
        found = self.instructions()
        migrate, serve = json.loads(found["CMD"])[2].split(" && exec ")

        assert is_understood(migrate)
        assert is_understood(serve)
        assert found["USER"] == "pugmill"
        assert found["WORKDIR"] + "/" == HOME

    def test_listens_and_is_checked_on_the_port_of_the_service(self) -> None:
        found = self.instructions()

        assert found["EXPOSE"] == str(DEFAULT_PORT)
        assert f":{DEFAULT_PORT}/ready" in json.loads(found["HEALTHCHECK"].removeprefix("CMD "))[2]


def test_the_page_says_what_to_do_about_each_503() -> None:
    table = SERVING.section("When it answers 503")

    told = re.findall(r"^\| `([a-z-]+)` \|", table, re.MULTILINE)

    assert told == [fault.kind for fault in FAULTS]
