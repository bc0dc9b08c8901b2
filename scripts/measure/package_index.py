"""Asks pip's package index about versions: are they available, yanked, known to be vulnerable?"""

import json
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.util import find_spec
from typing import Any

import requests
from locked import Pin
from packaging.version import Version
from requests.adapters import HTTPAdapter
from urllib3.exceptions import HTTPError
from urllib3.util import Retry

THREADS = 8
TIMEOUT = (10, 20)
"""Seconds to connect, and between two bytes."""
_MOST_BYTES = 64 * 2**20
_CHUNK_BYTES = 2**16
_TOO_LONG = "all of it takes too long"
_PAGE = "application/vnd.pypi.simple.v1+json"
_AGAIN = (429, 500, 502, 503, 504)
# pip itself computes its options from its files, the environment and its defaults. `pip config` does not show
# the default, and pip's help hides the password in an address.
_ASK_PIP = """
import json
from pip._internal.commands import create_command
told = create_command("install").parser.get_default_values()
print(json.dumps([told.index_url, told.cert]))
"""


class NoAnswerError(Exception):
    """The index does not answer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Vulnerability:
    """A known vulnerability of a version.

    Attributes:
        identifiers: its identifiers: PYSEC, CVE, GHSA.
        fixed_in: versions that fix it.
    """

    identifiers: tuple[str, ...]
    fixed_in: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """The index's answer about a pin.

    Attributes:
        missing: number of locked files that it does not have.
        yanked: why the version was yanked; None if it was not.
        newest: the newest release, if known.
        vulnerabilities: known vulnerabilities of this version; None if the index has no data on it.
    """

    pin: Pin
    missing: int
    yanked: str | None
    newest: Version | None
    vulnerabilities: tuple[Vulnerability, ...] | None


def python_with_pip() -> str:
    """This interpreter or the one that its environment is based on: on Debian, perhaps only that one has pip."""
    return sys.executable if find_spec("pip") else getattr(sys, "_base_executable", sys.executable)


class PackageIndex:
    """A package index (PEP 691), with JSON documents of projects and versions beside it.

    Attributes:
        address: address of its pages, from pip.
        certificates: file of trusted certificates, if pip has one.
        retries: most retries if it cannot be reached, is overloaded or fails.
        back_off: seconds before the second retry, doubled for each further one.
        seconds: time limit for all requests together.
    """

    def __init__(
        self,
        address: str,
        certificates: str | None = None,
        *,
        retries: int = 3,
        back_off: float = 1,
        seconds: float = 180,
    ) -> None:
        self._pages = address.rstrip("/")
        self._documents = f"{self._pages.removesuffix('/simple')}/pypi"
        self._certificates = certificates
        self._retrying = Retry(
            total=retries,
            backoff_factor=back_off,
            backoff_max=10,
            status_forcelist=_AGAIN,
            respect_retry_after_header=False,
            raise_on_status=False,
        )
        self._end = time.monotonic() + seconds

    @classmethod
    def of_pip(cls, **options: Any) -> "PackageIndex":
        """The index that pip uses."""
        asked = subprocess.run([python_with_pip(), "-c", _ASK_PIP], capture_output=True, text=True, check=False)
        if asked.returncode:
            raise NoAnswerError(f"pip does not tell its index: {asked.stderr.strip().rpartition(chr(10))[2]}")
        return cls(*json.loads(asked.stdout), **options)

    def told(self, pins: Iterable[Pin]) -> Iterator[Told]:
        """The answers, in order of the pins; ends with the first that fails."""
        with ThreadPoolExecutor(THREADS) as threads:
            try:
                yield from threads.map(self._told, pins)
            finally:
                threads.shutdown(wait=False, cancel_futures=True)

    def _told(self, pin: Pin) -> Told:
        with requests.Session() as session:
            for scheme in ("https://", "http://"):
                session.mount(scheme, HTTPAdapter(max_retries=self._retrying))
            try:
                return self._asked(session, pin)
            except NoAnswerError as error:
                raise NoAnswerError(f"the index gives no answer about {pin.name}: {error}") from error
            except (LookupError, TypeError, AttributeError, ValueError) as error:
                raise NoAnswerError(f"what the index answers about {pin.name} is not understood: {error!r}") from error

    def _asked(self, session: requests.Session, pin: Pin) -> Told:
        page = self._json(session, f"{self._pages}/{pin.name}/", _PAGE)
        offered = {each["hashes"].get("sha256"): each for each in page["files"]} if page is not None else {}
        files = [offered[each] for each in sorted(pin.hashes) if each in offered]
        project = self._json(session, f"{self._documents}/{pin.name}/json")
        newest = None if project is None else Version(project["info"]["version"])
        # A project's document is about its newest release. Some indexes also have one for every version.
        document = project
        if newest != pin.version:
            document = self._json(session, f"{self._documents}/{pin.name}/{pin.version}/json")
        is_of_it = document is not None and Version(document["info"]["version"]) == pin.version
        return Told(
            pin=pin,
            missing=len(pin.hashes) - len(files),
            yanked=next((_reason(each["yanked"]) for each in files if each.get("yanked")), None),
            newest=newest,
            vulnerabilities=_vulnerabilities(document) if is_of_it else None,
        )

    def _json(self, session: requests.Session, address: str, media_type: str = "application/json") -> Any:
        """The JSON at an address; None if the status is 404."""
        if time.monotonic() > self._end:
            raise NoAnswerError(_TOO_LONG)
        try:
            with session.get(
                address, headers={"Accept": media_type}, timeout=TIMEOUT, verify=self._certificates or True, stream=True
            ) as answer:
                if answer.status_code == requests.codes.not_found:
                    return None
                if answer.status_code != requests.codes.ok:
                    raise NoAnswerError(f"it answers with status {answer.status_code}")
                kind = answer.headers.get("Content-Type", "").partition(";")[0]
                if kind != media_type:
                    raise NoAnswerError(f"it answers with {kind or 'what it does not name'} in place of {media_type}")
                return json.loads(self._body(answer))
        except (requests.RequestException, HTTPError, ValueError) as error:
            # The error's own message names the address, which may contain a password.
            raise NoAnswerError(type(error).__name__) from error

    def _body(self, answer: requests.Response) -> bytes:
        body = bytearray()
        # read1 returns what has arrived, so that the time limit is checked even if bytes trickle in.
        while chunk := answer.raw.read1(_CHUNK_BYTES, decode_content=True):
            body += chunk
            if time.monotonic() > self._end:
                raise NoAnswerError(_TOO_LONG)
            if len(body) > _MOST_BYTES:
                raise NoAnswerError(f"it has more than {_MOST_BYTES:,} bytes")
        return bytes(body)


def _reason(yanked: Any) -> str:
    return yanked if isinstance(yanked, str) and yanked else "without a reason"


def _vulnerabilities(document: Mapping[str, Any]) -> tuple[Vulnerability, ...] | None:
    """The vulnerabilities in a document that are not withdrawn; None if it has no data on them."""
    told = document.get("vulnerabilities")
    if told is None:
        return None
    found: list[Vulnerability] = []
    for each in told:
        if not each.get("withdrawn"):
            identifiers, fixed_in = [each["id"], *each.get("aliases", ())], each.get("fixed_in") or ()
            # One vulnerability is listed once for each database that names it.
            same = [other for other in found if {*other.identifiers}.intersection(identifiers)]
            found = [other for other in found if other not in same]
            found.append(_joined([*same, Vulnerability(identifiers=tuple(identifiers), fixed_in=tuple(fixed_in))]))
    return tuple(found)


def _joined(same: Sequence[Vulnerability]) -> Vulnerability:
    """Merge entries of one vulnerability."""
    return Vulnerability(
        identifiers=tuple(dict.fromkeys(name for each in same for name in each.identifiers)),
        fixed_in=tuple(dict.fromkeys(version for each in same for version in each.fixed_in)),
    )
