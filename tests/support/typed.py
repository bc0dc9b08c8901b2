"""Runs a README's shell commands in bash; the test's own process carries out their calls of curl and pugmill.

Both replace the pages' placeholders as a person would. A database in /tmp or /var/lib/pugmill is moved to the test's
own directory.
"""

import getopt
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from socketserver import StreamRequestHandler, UnixStreamServer
from threading import Thread
from urllib.parse import urlsplit

from click.testing import CliRunner

from service.cli import main
from tests.conftest import Client
from tests.support.demo import URL, answered_by

_ASKING = """#!{python} -ISE
import json, os, socket, sys
asked = [os.path.basename(sys.argv[0]), sys.argv[1:], {{name: os.environ.get(name) for name in {names}}}]
with socket.socket(socket.AF_UNIX) as to_the_test:
    to_the_test.connect({address!r})
    to_the_test.sendall(json.dumps(asked).encode() + b"\\n")
    said = json.loads(b"".join(iter(lambda: to_the_test.recv(65536), b"")))
sys.stdout.buffer.write(said["out"].encode("latin-1"))
sys.stderr.write(said["error"])
sys.exit(said["status"])
"""
"""The script that bash runs in place of curl and pugmill."""
_VARIABLES = ("PUGMILL_KEY", "DATABASE_URL")
STARTED = "sqlite:///var/pugmill.db"
"""The database of scripts/start; here the test's own."""
_SOMETHING_WAITS = 3
_REFUSED = 22
"""The exit status of curl --fail; here every refused request ends with it."""
_ID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_LISTINGS = {"WORKSHOP": ["workshop", "list"], "ID": ["reprice", "--list"]}
"""The command that lists the ids for each placeholder; the first id listed is used."""

Environment = dict[str, str | None]


@dataclass(kw_only=True)
class Said:
    """The exit status of a command, and what it wrote."""

    status: int
    out: bytes = b""
    error: str = ""


@dataclass(kw_only=True)
class Desk:
    """A directory like the root of the project, in which commands are run with a workshop's key.

    Attributes:
        client: the workshop's client.
        directory: the directory, also used for databases that a page places elsewhere.
        seen: Location and ETag of the last answers that were shown with their headers (`curl -i`).
    """

    client: Client
    directory: Path
    seen: dict[str, str] = field(default_factory=dict)

    def run(self, script: str) -> subprocess.CompletedProcess[str]:
        """Run the script up to its first failure; each command is written to standard error."""
        with self._answering():
            path = f"{self.directory / 'typed'}:/usr/local/bin:/usr/bin:/bin"
            command = ["bash", "-xeuo", "pipefail", "-c", script]
            environment = {"PATH": path, "LANG": "C.UTF-8"}
            return subprocess.run(
                command,
                cwd=self.directory,
                env=environment,
                capture_output=True,
                text=True,
                errors="replace",
                check=False,
            )

    @contextmanager
    def _answering(self) -> Iterator[None]:
        desk, address = self, str(self.directory / "typed.socket")

        class Answering(StreamRequestHandler):
            def handle(self) -> None:
                name, words, environment = json.loads(self.rfile.readline())
                said = {"curl": desk.curl, "pugmill": desk.pugmill}[name](words, environment)
                shown = {"status": said.status, "out": said.out.decode("latin-1"), "error": said.error}
                self.wfile.write(json.dumps(shown).encode())

        for place in ("typed/curl", ".venv/bin/pugmill"):
            typed = self.directory / place
            typed.parent.mkdir(parents=True, exist_ok=True)
            typed.write_text(_ASKING.format(python=sys.executable, names=_VARIABLES, address=address))
            typed.chmod(0o755)
        with UnixStreamServer(address, Answering) as server:
            thread = Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
            thread.start()
            yield
            server.shutdown()
            thread.join()

    def curl(self, words: list[str], _: Environment) -> Said:
        """Send a request; the options are those that the pages use."""
        options, (address,) = getopt.gnu_getopt(
            [self._read_off(word) for word in words], "iX:H:d:", ["silent", "show-error"]
        )
        given, url = dict(options), urlsplit(address)
        target = f"{url.path}?{url.query}" if url.query else url.path
        method = given.get("-X", "GET")
        headers = dict(value.split(": ", 1) for name, value in options if name == "-H")
        data = given.get("-d")
        if data and data.startswith("@"):
            data = (self.directory / data[1:]).read_text()
        sent = {"method": method, "headers": headers, "data": data, "buffered": True}
        response = self.client.app.test_client().open(target, **sent)
        self.client.contract.check(method, target, response)
        if "-i" in given:
            self.seen |= {name: response.headers[name] for name in ("Location", "ETag") if name in response.headers}
        if response.status_code >= 400:
            return Said(status=_REFUSED, error=f"{method} {target}: {response.status} {response.text}\n")
        return Said(status=0, out=response.data)

    def _read_off(self, word: str) -> str:
        made, tag = self.seen.get("Location", "").rpartition("/")[2], self.seen.get("ETag", "").strip('"')
        return word.replace("ID-FROM-THE-LOCATION-HEADER", made).replace("ETAG-OF-THE-PREVIEW", tag)

    def pugmill(self, words: list[str], environment: Environment) -> Said:
        """Run the command; status 3 (something waits for a decision) counts as success: the page is not at fault."""
        for placeholder, listing in _LISTINGS.items():
            if placeholder in words:
                first = _ID.findall(self.pugmill(listing, environment).out.decode())[0]
                words = [first if word == placeholder else word for word in words]
        database = environment["DATABASE_URL"] or ""
        if database == STARTED:
            database = self.client.database.engine.url.render_as_string(hide_password=False)
        own = re.sub("^sqlite:///(/var/lib/pugmill|/tmp)/", f"sqlite:///{self.directory}/", database)
        with answered_by(self.client):
            ended = CliRunner().invoke(
                main, words, prog_name="pugmill", env={**environment, "DATABASE_URL": own, "PUGMILL_URL": URL}
            )
        status = 0 if ended.exit_code == _SOMETHING_WAITS else ended.exit_code
        fault = f"{ended.exception!r}\n" if status and not isinstance(ended.exception, SystemExit) else ""
        return Said(status=status, out=ended.stdout_bytes, error=ended.stderr + fault)
