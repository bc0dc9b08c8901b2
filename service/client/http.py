"""HTTP requests to a running service."""

import json
from collections.abc import Iterator, Mapping
from http import HTTPStatus
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from service.client.ends import OutOfReachError, RefusedError

if TYPE_CHECKING:
    import requests

CONNECT_SECONDS = 10
TIMEOUT_SECONDS = 60
PATIENCE_SECONDS = 30 * 60
PAGE_ENTRIES = 500

_PASSING = {
    HTTPStatus.PRECONDITION_FAILED,
    HTTPStatus.TOO_MANY_REQUESTS,
    HTTPStatus.SERVICE_UNAVAILABLE,
    HTTPStatus.GATEWAY_TIMEOUT,
}


class Service:
    """A running service, used with one workshop's key.

    Attributes:
        url: its address, without a slash at the end.
    """

    def __init__(self, url: str, key: str) -> None:
        import requests  # noqa: PLC0415 - slow to import, and --help does not need it

        self.url = url.rstrip("/")
        self._session = requests.Session()
        self._no_answer = requests.RequestException
        # As a header of the session, the key would be overridden by an entry for the host in ~/.netrc.
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
    ) -> "requests.Response":
        """Send a request with a JSON body, or one in bytes; for instance PUT, /v1/taxes/standard, {"name": "VAT"}.

        Args:
            query: query parameters; those that are None are left out.
            headers: further headers; of a body in bytes with its media type.
            is_long: whether the answer may take minutes; it is then streamed, for `parts` or `data` to read.

        Raises:
            RefusedError: with the service's reason, if it answered.
        """
        # If a proxy sends a POST twice, it is still done once.
        known = {"Idempotency-Key": f'"{uuid4()}"'} if method == "POST" else {}
        kind = "data" if isinstance(body, bytes) else "json"
        sent = {kind: body, "params": query, "headers": {**known, **(headers or {})}}
        timeout = CONNECT_SECONDS, PATIENCE_SECONDS if is_long else TIMEOUT_SECONDS
        return self._answer(method, path, timeout=timeout, stream=is_long, **sent)

    def _answer(self, method: str, path: str, **options: Any) -> "requests.Response":
        try:
            response = self._session.request(method, self.url + path, **options)
            if response.status_code >= HTTPStatus.BAD_REQUEST:
                raise _refusal(method, path, response)
        except self._no_answer as error:
            raise self._silence(error) from None
        return response

    def parts(self, response: "requests.Response") -> Iterator[bytes]:
        """The body of a streamed answer, as it arrives.

        Raises:
            RefusedError: if the connection breaks.
        """
        try:
            yield from response.iter_content(64 * 1024)
        except self._no_answer as error:
            raise self._silence(error) from None

    def data(self, response: "requests.Response") -> Any:
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

    def _silence(self, error: "requests.RequestException") -> RefusedError:
        if isinstance(error, ValueError):
            return RefusedError(f"{self.url} cannot be used: {error}")
        reason = type(error).__name__
        return OutOfReachError(f"no answer from {self.url} ({reason}); is the service running there?")


def _with_key(request: "requests.PreparedRequest", key: str) -> "requests.PreparedRequest":
    request.headers["Authorization"] = f"Bearer {key}"
    return request


def _refusal(method: str, path: str, response: "requests.Response") -> RefusedError:
    status, problem = response.status_code, _problem(response)
    told = f"{method} {path} was refused with {status}: {_reason(problem) or response.text.strip()[:200]}"
    if seconds := response.headers.get("Retry-After"):
        told += f" (Retry-After: {seconds})"
    # A gateway answers 502 while the service restarts, which passes. The service itself answers 502 about a feed
    # whose answer cannot be used, which does not pass.
    is_passing = status in _PASSING or (status == HTTPStatus.BAD_GATEWAY and not problem)
    return (OutOfReachError if is_passing else RefusedError)(told.removesuffix(": "), status, problem)


def _problem(response: "requests.Response") -> dict[str, Any]:
    """The problem document (RFC 9457); empty if the answer is not one."""
    try:
        problem = response.json()
    except ValueError:
        return {}
    return problem if isinstance(problem, dict) and isinstance(problem.get("detail"), str) else {}


def _reason(problem: Mapping[str, Any]) -> str:
    """The problem's errors, or its detail."""
    errors = [f"{place_of(each)}: {each['detail']}" for each in problem.get("errors", ())]
    return "; ".join(errors) or str(problem.get("detail", ""))


def place_of(error: Mapping[str, Any]) -> str:
    """The place in the request that an error of a problem is about."""
    return str(error.get("pointer") or error.get("parameter") or f"line {error.get('line')}")
