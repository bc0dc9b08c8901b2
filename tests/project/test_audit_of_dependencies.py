"""scripts/measure/audit: its findings about pins, from a local index's data and from the project's requirements."""

import hashlib
import json
import os
import re
import subprocess
import sys
import venv
from collections.abc import Iterator, Sequence
from datetime import date
from http.server import BaseHTTPRequestHandler
from importlib import import_module
from pathlib import Path
from threading import Event
from typing import Any

import pytest

from tests.support.demo import MEASURE, Ended
from tests.support.feed import FeedServer, sending

PAGE, DOCUMENT = "application/vnd.pypi.simple.v1+json", "application/json"
TODAY = date(2026, 11, 27)
LEAK: dict[str, Any] = {
    "id": "PYSEC-2026-7",
    "aliases": ["CVE-2026-0007", "GHSA-aaaa-bbbb-cccc"],
    "fixed_in": ["1.1", "2.0"],
    "withdrawn": None,
}


with pytest.MonkeyPatch.context() as patch:
    patch.syspath_prepend(str(MEASURE))
    locked, package_index, verdicts = map(import_module, ("locked", "package_index", "verdicts"))


def hash_of(name: str, version: str) -> str:
    return hashlib.sha256(f"{name.lower()} {version}".encode()).hexdigest()


def pinned(name: str, version: str = "1.0", asked_by: str = "brickworks (pyproject.toml)") -> str:
    """A pin in the format of pip-compile."""
    return f"{name}=={version} \\\n    --hash=sha256:{hash_of(name, version)}\n    # via {asked_by}\n"


class Index:
    """A local package index; a test may change its answer for each path.

    Attributes:
        answers: status and body for a path; any other path is answered with 404.
        failures: number of 503 answers for a path before its usual answer.
    """

    def __init__(self, server: FeedServer) -> None:
        self.server, self.url = server, f"{server.url}simple"
        self.answers: dict[str, tuple[int, Any]] = {}
        self.failures: dict[str, int] = {}
        self.media_type = PAGE
        server.answer = self.answer

    def answer(self, handler: BaseHTTPRequestHandler) -> None:
        path = handler.path
        status, told = self.answers.get(path, (404, {}))
        if self.failures.get(path, 0):
            self.failures[path] -= 1
            status = 503
        kind = self.media_type if path.startswith("/simple/") else DOCUMENT
        assert handler.headers["Accept"] == (PAGE if path.startswith("/simple/") else DOCUMENT)
        sending(json.dumps(told).encode(), status, Content_Type=kind)(handler)

    def offer(
        self, name: str, version: str = "1.0", *, newest: str = "1.0", yanked: Any = False, known: Sequence[Any] = ()
    ) -> None:
        """Add a version with one file, and the project's document, which describes only the newest version."""
        file = {"filename": f"{name}-{version}.tar.gz", "hashes": {"sha256": hash_of(name, version)}, "yanked": yanked}
        self.answers[f"/simple/{name}/"] = (200, {"name": name, "files": [file]})
        self.answers[f"/pypi/{name}/json"] = (200, {"info": {"version": newest}, "vulnerabilities": list(known)})

    def offer_document(self, name: str, version: str, known: Sequence[Any]) -> None:
        """Add the document of one version, which only some indexes have."""
        told = {"info": {"version": version}, "vulnerabilities": list(known)}
        self.answers[f"/pypi/{name}/{version}/json"] = (200, told)

    def asked(self, path: str) -> int:
        return sum(path == each for each, _ in self.server.requests)


@pytest.fixture
def index() -> Iterator[Index]:
    with FeedServer().running() as server:
        yield Index(server)


def summary(*, pinned: int, clean: int, not_told: int = 0) -> str:
    """The last line of the output if nothing is wrong."""
    return (
        f"{pinned} pinned: {clean} without a known vulnerability, {not_told} not told by the index, 0 vulnerable,"
        " 0 let stand by an exception, 0 yanked, 0 no longer on the index"
    )


def exception(**changes: Any) -> dict[str, Any]:
    usual = {"package": "sieve", "vulnerability": "CVE-2026-0007", "reason": "we do not call it"}
    return {**usual, "since": date(2026, 11, 1), "until": date(2026, 12, 1), **changes}


class Place:
    """A project with a lock and a pyproject.toml.

    Attributes:
        root: its directory.
    """

    def __init__(self, root: Path) -> None:
        self.root = root
        (root / "scripts").mkdir()
        self.lock(pinned("sieve"))
        self.ask("sieve>=1,<2")

    def lock(self, *pins: str) -> None:
        (self.root / "scripts" / "requirements.lock").write_text("#\n# made by hand\n#\n" + "".join(pins))

    def ask(self, *dependencies: str, exceptions: Sequence[dict[str, Any]] = ()) -> None:
        def value(of: Any) -> str:
            return of.isoformat() if isinstance(of, date) else json.dumps(of)

        tables = [", ".join(f"{name} = {value(of)}" for name, of in each.items()) for each in exceptions]
        (self.root / "pyproject.toml").write_text(
            f'[build-system]\nrequires = []\n[project]\nname = "brickworks"\ndependencies = {[*dependencies]}\n'
            f"[tool.brickworks.audit]\nexceptions = [{', '.join(f'{{{each}}}' for each in tables)}]\n"
        )

    def read(self) -> tuple[list[Any], Any]:
        return locked.read_lock(self.root / "scripts" / "requirements.lock"), locked.read_project(
            self.root / "pyproject.toml"
        )

    def faults_of_the_lock(self) -> list[str]:
        return [*locked.faults_of_the_lock(*self.read())]

    def faults_told(self, index: Index, **options: Any) -> list[str]:
        asked = package_index.PackageIndex(index.url, **{"back_off": 0.001, **options})
        return [*verdicts.faults_told(*self.read(), asked, TODAY)]


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(tmp_path)


class TestAVulnerability:
    def test_of_the_newest_release_is_read_from_the_projects_document(self, place: Place, index: Index) -> None:
        index.offer("sieve", known=[LEAK])

        assert place.faults_told(index) == [
            "sieve 1.0: PYSEC-2026-7, CVE-2026-0007, GHSA-aaaa-bbbb-cccc; fixed in 1.1, 2.0"
        ]

    def test_of_an_older_version_is_read_from_its_own_document(
        self, place: Place, index: Index, capsys: pytest.CaptureFixture[str]
    ) -> None:
        index.offer("sieve", newest="2.0")
        index.offer_document("sieve", "1.0", [{**LEAK, "fixed_in": []}])

        (fault,) = place.faults_told(index)

        assert fault.endswith("; fixed in no release")
        assert capsys.readouterr().out.startswith(
            "1 pinned: 0 without a known vulnerability, 0 not told by the index, 1 v"
        )

    def test_of_the_newest_release_is_not_reported_for_an_older_one(
        self, place: Place, index: Index, capsys: pytest.CaptureFixture[str]
    ) -> None:
        place.lock(pinned("sieve"), pinned("hopper"))
        index.offer("sieve", newest="2.0", known=[LEAK])
        index.offer("hopper")

        assert place.faults_told(index) == []

        assert capsys.readouterr().out.splitlines() == [
            "not told: sieve 1.0, the newest release is 2.0",
            summary(pinned=2, clean=1, not_told=1),
        ]

    def test_in_a_document_of_another_version_is_ignored(self, place: Place, index: Index) -> None:
        place.lock(pinned("sieve"), pinned("hopper"))
        index.offer("sieve", newest="2.0")
        index.offer_document("sieve", "2.0", [LEAK])
        index.answers["/pypi/sieve/1.0/json"] = index.answers["/pypi/sieve/2.0/json"]
        index.offer("hopper")

        assert place.faults_told(index) == []

    def test_listed_under_several_of_its_names_is_reported_once(self, place: Place, index: Index) -> None:
        again = {"id": "GHSA-aaaa-bbbb-cccc", "aliases": ["CVE-2026-0007"], "fixed_in": ["2.0", "2.1"]}
        index.offer("sieve", known=[LEAK, {"id": "PYSEC-2026-8"}, again])

        assert place.faults_told(index) == [
            "sieve 1.0: PYSEC-2026-8; fixed in no release",
            "sieve 1.0: PYSEC-2026-7, CVE-2026-0007, GHSA-aaaa-bbbb-cccc; fixed in 1.1, 2.0, 2.1",
        ]

    def test_that_was_withdrawn_is_not_reported(
        self, place: Place, index: Index, capsys: pytest.CaptureFixture[str]
    ) -> None:
        index.offer("sieve", known=[{**LEAK, "withdrawn": "2026-11-20T00:00:00Z"}])

        assert place.faults_told(index) == []
        assert "1 without a known vulnerability" in capsys.readouterr().out


class TestAnException:
    @pytest.mark.parametrize("identifier", [LEAK["id"], *LEAK["aliases"]])
    def test_allows_the_vulnerability_that_it_names(
        self, place: Place, index: Index, capsys: pytest.CaptureFixture[str], identifier: str
    ) -> None:
        index.offer("sieve", known=[LEAK])
        place.ask("sieve", exceptions=[exception(vulnerability=identifier)])

        assert place.faults_told(index) == []
        assert "0 vulnerable, 1 let stand by an exception" in capsys.readouterr().out

    @pytest.mark.parametrize(
        "changes", [{"package": "hopper"}, {"vulnerability": "CVE-2026-0008"}], ids=["of another package", "another"]
    )
    def test_allows_no_other_and_is_then_reported_as_not_needed(
        self, place: Place, index: Index, changes: dict[str, Any]
    ) -> None:
        index.offer("sieve", known=[LEAK])
        place.ask("sieve", exceptions=[exception(**changes)])

        vulnerable, unneeded = place.faults_told(index)

        assert vulnerable.startswith("sieve 1.0: PYSEC-2026-7")
        assert unneeded.endswith("is not needed, as no such vulnerability is found")

    @pytest.mark.parametrize(
        "days", [{"until": date(2026, 11, 26)}, {"since": date(2026, 11, 28)}], ids=["over", "not begun"]
    )
    def test_is_valid_only_on_its_days(self, place: Place, index: Index, days: dict[str, date]) -> None:
        index.offer("sieve", known=[LEAK])
        place.ask("sieve", exceptions=[exception(**days)])

        out_of_time, vulnerable = place.faults_told(index)

        assert out_of_time.startswith("the exception for sieve, CVE-2026-0007: is valid from 2026-11-")
        assert vulnerable.startswith("sieve 1.0: PYSEC-2026-7")

    def test_is_valid_on_its_last_day(self, place: Place, index: Index) -> None:
        index.offer("sieve", known=[LEAK])
        place.ask("sieve", exceptions=[exception(until=TODAY)])

        assert place.faults_told(index) == []

    def test_for_a_version_without_data_is_not_reported(self, place: Place, index: Index) -> None:
        place.lock(pinned("sieve"), pinned("hopper"))
        index.offer("sieve", newest="2.0")
        index.offer("hopper")
        place.ask("sieve", "hopper", exceptions=[exception()])

        assert place.faults_told(index) == []

    @pytest.mark.parametrize(
        "changes",
        [{"reason": " "}, {"until": "2026-12-01"}, {"added": 1}],
        ids=["no reason", "no date", "unknown member"],
    )
    def test_must_have_all_its_members_and_no_others(self, place: Place, changes: dict[str, Any]) -> None:
        place.ask("sieve", exceptions=[exception(**changes)])

        with pytest.raises(
            locked.UnreadableError, match="an exception has package, vulnerability, since, until, reason"
        ):
            place.read()


class TestAVersion:
    @pytest.mark.parametrize(("yanked", "reason"), [("broken wheel", "broken wheel"), (True, "without a reason")])
    def test_that_was_yanked_is_refused(self, place: Place, index: Index, yanked: Any, reason: str) -> None:
        index.offer("sieve", yanked=yanked)

        assert place.faults_told(index) == [f"sieve 1.0: was yanked, {reason}"]

    def test_that_is_no_longer_on_the_index_is_refused(self, place: Place, index: Index) -> None:
        place.lock(pinned("sieve"), pinned("hopper"))
        index.offer("sieve", "0.9")
        index.offer("hopper")

        assert place.faults_told(index) == ["sieve 1.0: 1 of the 1 locked files are not on the index"]

    def test_of_a_package_that_is_no_longer_on_the_index_is_refused(
        self, place: Place, index: Index, capsys: pytest.CaptureFixture[str]
    ) -> None:
        place.lock(pinned("sieve"), pinned("hopper"))
        index.offer("hopper")

        assert place.faults_told(index) == ["sieve 1.0: 1 of the 1 locked files are not on the index"]
        out = capsys.readouterr().out
        assert "not told: sieve 1.0, the newest release is not told either\n" in out
        assert out.endswith(", 1 no longer on the index\n")


class TestAnIndex:
    def test_that_fails_for_a_moment_is_asked_again(self, place: Place, index: Index) -> None:
        index.offer("sieve")
        index.failures = {"/simple/sieve/": 2, "/pypi/sieve/json": 1}

        assert place.faults_told(index) == []
        assert (index.asked("/simple/sieve/"), index.asked("/pypi/sieve/json")) == (3, 2)

    @pytest.mark.parametrize(
        ("path", "answer", "told"),
        [
            ("/pypi/sieve/json", (503, {}), "the index gives no answer about sieve: it answers with status 503"),
            ("/simple/sieve/", (403, {}), "the index gives no answer about sieve: it answers with status 403"),
            ("/simple/sieve/", (200, {}), "what the index answers about sieve is not understood: KeyError"),
            ("/pypi/sieve/json", (200, []), "what the index answers about sieve is not understood: TypeError"),
        ],
    )
    def test_that_gives_no_proper_answer_ends_the_audit(
        self, place: Place, index: Index, path: str, answer: tuple[int, Any], told: str
    ) -> None:
        index.offer("sieve")
        index.answers[path] = answer

        with pytest.raises(package_index.NoAnswerError, match=re.escape(told)):
            place.faults_told(index)

    def test_that_answers_with_html_is_not_read(self, place: Place, index: Index) -> None:
        index.offer("sieve")
        index.media_type = "text/html"

        with pytest.raises(package_index.NoAnswerError, match="it answers with text/html in place of"):
            place.faults_told(index)

    def test_without_any_data_on_vulnerabilities_ends_the_audit(self, place: Place, index: Index) -> None:
        index.offer("sieve")
        del index.answers["/pypi/sieve/json"]

        with pytest.raises(package_index.NoAnswerError, match="no data on vulnerabilities"):
            place.faults_told(index)

    def test_is_not_asked_after_the_time_limit(self, place: Place, index: Index) -> None:
        index.offer("sieve")

        with pytest.raises(package_index.NoAnswerError, match="all of it takes too long"):
            place.faults_told(index, seconds=-1)
        assert index.server.requests == []

    def test_whose_answer_trickles_is_given_up(self, place: Place, index: Index) -> None:
        is_over, written = Event(), []

        def trickle(handler: BaseHTTPRequestHandler) -> None:
            sending(b"", Content_Type=PAGE, Content_Length="2000")(handler)
            while len(written) < 2000 and not is_over.wait(0.01):
                handler.wfile.write(b" ")
                written.append(1)

        index.server.answer = trickle

        with pytest.raises(package_index.NoAnswerError, match="about sieve: all of it takes too long"):
            place.faults_told(index, seconds=0.2)
        is_over.set()
        assert len(written) < 2000

    def test_whose_answer_breaks_off_ends_the_audit(self, place: Place, index: Index) -> None:
        index.server.answer = sending(b"{", Content_Type=PAGE, Content_Length="60000")

        with pytest.raises(package_index.NoAnswerError, match="about sieve: ProtocolError"):
            place.faults_told(index)


class TestTheLock:
    def test_is_right_if_it_has_exactly_what_is_required(self, place: Place) -> None:
        place.lock(pinned("sieve"), pinned("mesh", asked_by="sieve"), pinned("wire", asked_by="mesh"))

        assert place.faults_of_the_lock() == []

    @pytest.mark.parametrize(
        ("pins", "asked", "told"),
        [
            (("sieve==1.0\n",), ("sieve",), "sieve 1.0: has no hash in the lock"),
            ((pinned("sieve"),), ("sieve>=1.1",), "sieve 1.0: is locked, and pyproject.toml asks for sieve>=1.1"),
            ((pinned("sieve"),), ("sieve", "Hopper>=1"), "Hopper>=1: is asked for in pyproject.toml and is not in the"),
            ((pinned("sieve"), pinned("hopper")), ("sieve",), "hopper 1.0: nothing that is needed asks for it"),
            ((pinned("sieve"), "mesh==1 --hash=sha256:" + "0" * 64), ("sieve",), "mesh 1: nothing that is needed asks"),
        ],
        ids=["a hash is missing", "out of the range", "not in the lock", "no longer asked for", "asked for by nobody"],
    )
    def test_that_does_not_match_the_requirements_is_refused(
        self, place: Place, pins: Sequence[str], asked: Sequence[str], told: str
    ) -> None:
        place.lock(*pins)
        place.ask(*asked)

        (fault,) = place.faults_of_the_lock()

        assert fault.startswith(told)

    def test_with_two_pins_that_only_require_each_other_is_refused(self, place: Place) -> None:
        place.lock(pinned("sieve"), pinned("mesh", asked_by="wire"), pinned("wire", asked_by="mesh"))

        assert [each.partition(":")[0] for each in place.faults_of_the_lock()] == ["mesh 1.0", "wire 1.0"]

    @pytest.mark.parametrize("line", ["sieve>=1.0\n", "--find-links elsewhere\n", "sieve @ file:///sieve.whl\n"])
    def test_with_a_line_that_pins_no_version_is_not_read(self, place: Place, line: str) -> None:
        place.lock(pinned("hopper"), line)

        with pytest.raises(locked.UnreadableError, match=re.escape(line.strip())):
            place.read()


class Environment:
    """A Python environment with packages that consist of metadata only: name, version and requirements."""

    def __init__(self, root: Path) -> None:
        venv.create(root, symlinks=True)
        (self._packages,) = root.glob("lib/python*/site-packages")
        self.python = root / "bin" / "python"

    def install(self, name: str, version: str = "1.0", needs: str = "") -> None:
        described = self._packages / f"{name}-{version}.dist-info"
        described.mkdir()
        needed = f"Requires-Dist: {needs}\n" if needs else ""
        (described / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: {version}\n{needed}")


@pytest.fixture
def environment(tmp_path: Path) -> Environment:
    return Environment(tmp_path / "environment")


def run(place: Place, environment: Environment, index_url: str) -> Ended:
    command = [sys.executable, str(MEASURE / "audit"), "--project", str(place.root), "--back-off", "0.001"]
    done = subprocess.run(
        [*command, "--python", str(environment.python)],
        env={**os.environ, "PIP_INDEX_URL": index_url},
        capture_output=True,
        text=True,
        check=False,
    )
    return Ended(done.returncode, done.stdout, done.stderr)


class TestTheScript:
    def test_ends_with_0_if_nothing_is_found(self, place: Place, environment: Environment, index: Index) -> None:
        environment.install("sieve")
        environment.install("brickworks", needs="sieve>=1")
        index.offer("sieve")

        ended = run(place, environment, index.url)

        assert (ended.status, ended.err) == (0, "")
        assert ended.out == f"{summary(pinned=1, clean=1)}\n"

    def test_ends_with_1_and_reports_everything_that_it_found(
        self, place: Place, environment: Environment, index: Index
    ) -> None:
        place.lock("sieve==1.0\n", pinned("hopper"), pinned("Mesh", asked_by="hopper"))
        place.ask("sieve", "hopper")
        environment.install("sieve")
        environment.install("hopper", "1.1", needs="mesh>=2")
        environment.install("wire")
        index.offer("sieve")
        index.offer("hopper", known=[LEAK])
        index.offer("mesh", yanked=True)

        ended = run(place, environment, index.url)

        assert ended.status == 1
        assert ended.err.splitlines() == [
            "audit: sieve 1.0: has no hash in the lock",
            "audit: hopper 1.0: is locked, and 1.1 is installed",
            "audit: mesh 1.0: is locked, and no version is installed",
            "audit: wire 1.0: is installed and not in the lock",
            "audit: pip check: hopper 1.1 requires mesh, which is not installed.",
            "audit: hopper 1.0: PYSEC-2026-7, CVE-2026-0007, GHSA-aaaa-bbbb-cccc; fixed in 1.1, 2.0",
            "audit: mesh 1.0: was yanked, without a reason",
        ]
        assert ended.out.startswith(
            "3 pinned: 2 without a known vulnerability, 0 not told by the index, 1 vulnerable, "
        )

    def test_ends_with_2_and_one_line_if_nobody_answers(self, place: Place, environment: Environment) -> None:
        environment.install("sieve")
        with FeedServer().running() as server:
            address = server.url  # nothing listens on its port any more

        ended = run(place, environment, address.replace("//", "//name:secret@"))

        assert ended.status == 2
        assert ended.err == "audit: the index gives no answer about sieve: ConnectionError\n"
        assert ended.out == ""

    def test_ends_with_2_if_there_is_no_environment(self, place: Place, environment: Environment, index: Index) -> None:
        environment.python.unlink()

        ended = run(place, environment, index.url)

        assert ended.status == 2
        assert ended.err.startswith("audit: pip does not list what is installed: ")

    def test_ends_with_1_and_names_the_lock_if_it_is_missing(
        self, place: Place, environment: Environment, index: Index
    ) -> None:
        (place.root / "scripts" / "requirements.lock").unlink()

        ended = run(place, environment, index.url)

        assert (ended.status, ended.out) == (1, "")
        assert "requirements.lock" in ended.err
        assert "Traceback" not in ended.err
