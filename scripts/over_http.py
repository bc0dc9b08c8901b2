"""A workshop's way to a running service, for the scripts beside this: over HTTP, and nothing but HTTP."""

import argparse
import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping
from enum import IntEnum
from typing import Any
from uuid import uuid4

import requests

DEFAULT_URL = "http://127.0.0.1:8410"
CONNECT_SECONDS = 10
TIMEOUT_SECONDS = 60
PATIENCE_SECONDS = 30 * 60
PAGE_ENTRIES = 500


class End(IntEnum):
    """How a script ends, for whatever has started it."""

    DONE = 0
    FAILED = 1
    MISUSED = 2
    WAITING = 3
    TRY_AGAIN = 4


ENDS = """It ends with
  0  done, or there was nothing to do
  1  refused or failed; the reason stands on standard error
  2  the command line makes no sense
  3  done, but something waits for somebody to look at it
  4  the service or its feed is out of reach or busy, or something was changed at the same moment: run it again later"""

_PASSING = {
    requests.codes.precondition_failed,
    requests.codes.too_many_requests,
    requests.codes.service_unavailable,
    requests.codes.gateway_timeout,
}


class EndedError(Exception):
    """Why a script does not end with 0.

    Attributes:
        end: what it ends with.
    """

    end = End.FAILED


class RefusedError(EndedError):
    """The service did not do what it was asked to, or cannot be reached.

    Attributes:
        status: the HTTP status of its answer, if it gave one.
        problem: the problem document (RFC 9457), as far as it answered with one.
    """

    def __init__(self, told: str, status: int | None = None, problem: Mapping[str, Any] | None = None) -> None:
        super().__init__(told)
        self.status, self.problem = status, problem or {}


class OutOfReachError(RefusedError):
    """The same a while later may be done."""

    end = End.TRY_AGAIN


class WaitingError(EndedError):
    """It is done, and something waits for somebody to look at it."""

    end = End.WAITING


class UsageError(Exception):
    """What stands on the command line makes no sense together."""


class Service:
    """A running service, as one workshop's key sees it.

    Attributes:
        url: its address, without a slash at the end.
    """

    def __init__(self, url: str, key: str) -> None:
        self.url = url.rstrip("/")
        self._session = requests.Session()
        # As a header of the session it would give way to what ~/.netrc has for the host.
        self._session.auth = lambda request: _with_key(request, key)

    def send(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        query: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
        is_long: bool = False,
    ) -> requests.Response:
        """One request, its body as JSON; for instance PUT, /v1/taxes/standard, {"name": "VAT"}.

        Args:
            query: what stands behind the path; None is left out.
            headers: others besides Accept, or in its place.
            is_long: the service may work on it for long before anything is heard; `parts` reads its answer.

        Raises:
            RefusedError: in the words of the service, if it answered.
        """
        known = {"Accept": "application/json"}
        if method == "POST":  # should what carries the request send it twice, it is done once
            known["Idempotency-Key"] = f'"{uuid4()}"'
        sent = {"json": body, "params": query, "headers": {**known, **(headers or {})}}
        timeout = CONNECT_SECONDS, PATIENCE_SECONDS if is_long else TIMEOUT_SECONDS
        return self._answer(method, path, timeout=timeout, stream=is_long, **sent)

    def _answer(self, method: str, path: str, **options: Any) -> requests.Response:
        try:
            response = self._session.request(method, self.url + path, **options)
            if response.status_code >= requests.codes.bad_request:
                raise _refusal(method, path, response)
        except requests.RequestException as error:
            raise self._silence(error) from None
        return response

    def parts(self, response: requests.Response) -> Iterator[bytes]:
        """The body of a streamed answer, as it comes in.

        Raises:
            RefusedError: it broke off.
        """
        try:
            yield from response.iter_content(64 * 1024)
        except requests.RequestException as error:
            raise self._silence(error) from None

    def data(self, response: requests.Response) -> Any:
        """The JSON of a streamed answer."""
        return json.loads(b"".join(self.parts(response)))

    def everything(self, path: str) -> Iterator[dict[str, Any]]:
        """All entries of a list, page by page."""
        query: Mapping[str, Any] | None = {"limit": PAGE_ENTRIES}
        following: str | None = path
        while following:
            page = self.send("GET", following, query=query).json()
            yield from page["items"]
            following, query = page["next"], None

    def _silence(self, error: requests.RequestException) -> RefusedError:
        if isinstance(error, ValueError):
            return RefusedError(f"{self.url} cannot be asked: {error}")
        reason = type(error).__name__
        return OutOfReachError(f"no answer from {self.url} ({reason}); is the service running there?")


def _with_key(request: requests.PreparedRequest, key: str) -> requests.PreparedRequest:
    request.headers["Authorization"] = f"Bearer {key}"
    return request


def _refusal(method: str, path: str, response: requests.Response) -> RefusedError:
    status, problem = response.status_code, _problem(response)
    told = f"{method} {path} was refused with {status}: {_reason(problem) or response.text.strip()[:200]}"
    if seconds := response.headers.get("Retry-After"):
        told += f" (Retry-After: {seconds})"
    # A gateway before a service that is being started again answers 502, and so does the service itself of a feed
    # that is not to be believed; that does not pass.
    is_passing = status in _PASSING or (status == requests.codes.bad_gateway and not problem)
    return (OutOfReachError if is_passing else RefusedError)(told.removesuffix(": "), status, problem)


def _problem(response: requests.Response) -> dict[str, Any]:
    """The problem document (RFC 9457); nothing if something else answered."""
    try:
        problem = response.json()
    except ValueError:
        return {}
    return problem if isinstance(problem, dict) and isinstance(problem.get("detail"), str) else {}


def _reason(problem: Mapping[str, Any]) -> str:
    """Every member that the problem names, or its detail."""
    errors = [f"{place_of(each)}: {each['detail']}" for each in problem.get("errors", ())]
    return "; ".join(errors) or str(problem.get("detail", ""))


def place_of(error: Mapping[str, Any]) -> str:
    """Where in what was sent an error of a problem is."""
    return str(error.get("pointer") or error.get("parameter") or f"line {error.get('line')}")


def command_line(description: str | None) -> argparse.ArgumentParser:
    """The command line of a script, with where the service runs and the key; the rest is the script's to add."""
    parser = argparse.ArgumentParser(
        description=description, epilog=ENDS, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
    )
    parser.add_argument(
        "--url",
        default=os.environ.get("PUGMILL_URL") or DEFAULT_URL,
        help="where the service runs (default: the environment's PUGMILL_URL, or else %(default)s)",
    )
    parser.add_argument(
        "--key",
        default=os.environ.get("PUGMILL_KEY"),
        help="the workshop's key (default: the environment's PUGMILL_KEY, which other users of the machine cannot see)",
    )
    return parser


def run(job: Callable[[Service, argparse.Namespace], None], parser: argparse.ArgumentParser) -> None:
    """Do the job for the service and key of the command line; what stands in its way is told in one line."""
    options = parser.parse_args()
    if not options.key:
        parser.error("a key is needed: --key, or PUGMILL_KEY in the environment")
    sys.stdout.reconfigure(errors="replace")  # a terminal that does not speak UTF-8 gets what it can show
    try:
        _finished(job, Service(options.url, options.key.strip()), options)
    except UsageError as error:
        parser.error(str(error))
    except EndedError as error:
        print(f"{parser.prog}: {error}", file=sys.stderr)
        sys.exit(int(error.end))
    except KeyboardInterrupt:
        sys.exit(130)  # as the shell has it of a signal


def _finished(job: Callable[[Service, argparse.Namespace], None], service: Service, options: Any) -> None:
    """Do the job and get rid of what it prints, before anything else is told."""
    try:
        try:
            job(service, options)
        finally:
            sys.stdout.flush()
    except BrokenPipeError:  # whoever reads has enough; nothing is to be written at the end either
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
