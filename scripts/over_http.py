"""A workshop's way to a running service, for the scripts beside this: over HTTP, and nothing but HTTP."""

import argparse
import os
import sys
from collections.abc import Callable
from typing import Any

import requests

DEFAULT_URL = "http://127.0.0.1:8410"
TIMEOUT_SECONDS = 60


class RefusedError(Exception):
    """The service did not do what it was asked to, or cannot be reached."""


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

    def send(self, method: str, path: str, body: Any = None, *, accept: str = "application/json") -> requests.Response:
        """One request, its body as JSON; for instance PUT, /v1/taxes/standard, {"name": "VAT"}.

        Raises:
            RefusedError: in the words of the service, if it answered.
        """
        try:
            response = self._session.request(
                method, self.url + path, json=body, headers={"Accept": accept}, timeout=TIMEOUT_SECONDS
            )
        except requests.RequestException as error:
            reason = type(error).__name__
            raise RefusedError(f"no answer from {self.url} ({reason}); is the service running there?") from None
        if response.status_code >= requests.codes.bad_request:
            raise RefusedError(f"{method} {path} was refused with {response.status_code}: {_reason(response)}")
        return response


def _with_key(request: requests.PreparedRequest, key: str) -> requests.PreparedRequest:
    request.headers["Authorization"] = f"Bearer {key}"
    return request


def _reason(response: requests.Response) -> str:
    """The problem's detail (RFC 9457), or what there is if something else than the service answered."""
    try:
        return str(response.json()["detail"])
    except (ValueError, KeyError, TypeError):
        return response.text.strip()[:200] or response.reason


def run(job: Callable[[Service], None], description: str) -> None:
    """Do the job for the service and key of the command line; a refusal ends in one line and exit status 1."""
    parser = argparse.ArgumentParser(description=description)
    parser.add_argument("--url", default=DEFAULT_URL, help="where the service runs (default: %(default)s)")
    parser.add_argument(
        "--key",
        default=os.environ.get("PUGMILL_KEY"),
        help="the workshop's key (default: the environment's PUGMILL_KEY, which other users of the machine cannot see)",
    )
    options = parser.parse_args()
    if not options.key:
        parser.error("a key is needed: --key, or PUGMILL_KEY in the environment")
    try:
        job(Service(options.url, options.key))
    except RefusedError as error:
        sys.exit(f"{parser.prog}: {error}")
