"""A workshop's way to a running service, for the scripts beside this: over HTTP, and nothing but HTTP."""

import argparse
import os
import sys
from collections.abc import Callable, Mapping
from typing import Any

import requests

DEFAULT_URL = "http://127.0.0.1:8410"
TIMEOUT_SECONDS = 60


class RefusedError(Exception):
    """The service did not do what it was asked to, or cannot be reached.

    Attributes:
        status: the HTTP status of its answer, if it gave one.
    """

    def __init__(self, told: str, status: int | None = None) -> None:
        super().__init__(told)
        self.status = status


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
        accept: str = "application/json",
        query: Mapping[str, str | None] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> requests.Response:
        """One request, its body as JSON; for instance PUT, /v1/taxes/standard, {"name": "VAT"}.

        Args:
            query: what stands behind the path; None is left out.
            headers: others besides Accept.

        Raises:
            RefusedError: in the words of the service, if it answered.
        """
        try:
            response = self._session.request(
                method,
                self.url + path,
                json=body,
                params=query,
                headers={"Accept": accept, **(headers or {})},
                timeout=TIMEOUT_SECONDS,
            )
        except requests.RequestException as error:
            reason = type(error).__name__
            raise RefusedError(f"no answer from {self.url} ({reason}); is the service running there?") from None
        if response.status_code >= requests.codes.bad_request:
            status = response.status_code
            raise RefusedError(f"{method} {path} was refused with {status}: {_reason(response)}", status)
        return response


def _with_key(request: requests.PreparedRequest, key: str) -> requests.PreparedRequest:
    request.headers["Authorization"] = f"Bearer {key}"
    return request


def _reason(response: requests.Response) -> str:
    """The problem's detail and every member it names (RFC 9457), or what there is if something else answered."""
    try:
        problem = response.json()
        errors = [f"{each.get('pointer') or each['parameter']}: {each['detail']}" for each in problem.get("errors", ())]
        return "; ".join(errors) or str(problem["detail"])
    except (ValueError, KeyError, TypeError, AttributeError):
        return response.text.strip()[:200] or response.reason


def command_line(description: str | None) -> argparse.ArgumentParser:
    """The command line of a script, with where the service runs and the key; the rest is the script's to add."""
    parser = argparse.ArgumentParser(
        description=description, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
    )
    parser.add_argument("--url", default=DEFAULT_URL, help="where the service runs (default: %(default)s)")
    parser.add_argument(
        "--key",
        default=os.environ.get("PUGMILL_KEY"),
        help="the workshop's key (default: the environment's PUGMILL_KEY, which other users of the machine cannot see)",
    )
    return parser


def run(job: Callable[[Service, argparse.Namespace], None], parser: argparse.ArgumentParser) -> None:
    """Do the job for the service and key of the command line; a refusal ends in one line and exit status 1."""
    options = parser.parse_args()
    if not options.key:
        parser.error("a key is needed: --key, or PUGMILL_KEY in the environment")
    sys.stdout.reconfigure(errors="replace")  # a terminal that does not speak UTF-8 gets what it can show
    try:
        job(Service(options.url, options.key), options)
        sys.stdout.flush()
    except BrokenPipeError:  # whoever reads has enough; nothing is to be written at the end either
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    except UsageError as error:
        parser.error(str(error))
    except RefusedError as error:
        sys.exit(f"{parser.prog}: {error}")
