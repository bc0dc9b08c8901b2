"""Fetching a file over HTTP with limits on time, size and redirects."""

import logging
import re
import socket
import time
from collections.abc import Mapping
from dataclasses import dataclass
from threading import Timer
from typing import Any, Self

import requests
from requests.adapters import HTTPAdapter
from urllib3.exceptions import ConnectTimeoutError, InvalidHeader, NewConnectionError
from urllib3.exceptions import TimeoutError as TransportTimeoutError
from urllib3.util import Retry
from urllib3.util.connection import create_connection

from service.feeds.errors import Fault, FeedError
from service.feeds.patience import Patience

_logger = logging.getLogger("pugmill")
_CONDITIONS = {"ETag": "If-None-Match", "Last-Modified": "If-Modified-Since"}
_VALIDATOR = re.compile(r"[\x20-\x7e]{1,200}")
_CHUNK_BYTES = 65_536
_SERVER_ERRORS = 500
_OVERLOADED = {429, 503}
_MAX_RETRY_AFTER_SECONDS = 24 * 3600


class _Retry(Retry):
    """Does not read the body of an answer before a retry, and ignores a malformed Retry-After."""

    def increment(
        self, method: str | None = None, url: str | None = None, response: Any = None, *rest: Any, **options: Any
    ) -> Self:
        """Count a try, and close the answer unread."""
        counted = super().increment(method, url, response, *rest, **options)
        if response is not None:
            response.close()
        return counted

    def parse_retry_after(self, retry_after: str) -> float:
        """Seconds; 0 if it is neither a number nor a date."""
        try:
            return super().parse_retry_after(retry_after)
        except (InvalidHeader, ValueError, OverflowError):
            return 0


def _retrying(patience: Patience) -> Retry:
    """urllib3's retries with these limits."""
    return _Retry(
        total=patience.retries,
        redirect=0,
        allowed_methods={"GET"},
        status_forcelist=_OVERLOADED | {500, 502, 504},
        backoff_factor=patience.back_off_seconds,
        raise_on_status=False,
        raise_on_redirect=False,
        retry_after_max=patience.retry_after_seconds,
    )


class _Session(requests.Session):
    """Ignores redirects. Otherwise the library reads the body of a redirect, even if it does not follow it."""

    def get_redirect_target(self, resp: requests.Response) -> None:
        """No target."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """A fetched file.

    Attributes:
        body: its bytes.
        conditions: header fields of a conditional request, which gets the file only if it has changed.
    """

    body: bytes
    conditions: Mapping[str, str]


class _Deadline:
    """Closes every connection opened under it when its time is over.

    A socket's own timeout restarts with each byte, so a slow answer could block the service for days.
    """

    def __init__(self, seconds: float) -> None:
        self.is_over = False
        self._end = time.monotonic() + seconds
        self._opened: list[socket.socket] = []
        self._timer = Timer(seconds, self._cut)
        self._timer.daemon = True

    def __enter__(self) -> "_Deadline":
        self._timer.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._timer.cancel()
        for each in self._opened:
            each.close()

    def opened(self, host: str, port: int, seconds: float, options: Any) -> socket.socket:
        """Connect to the first of the host's addresses that accepts.

        Raises:
            OSError: if none accepts, or there is none.
            TimeoutError: if none accepts in time.
        """
        failed = OSError("the name has no address")
        for *_, address in socket.getaddrinfo(host.strip("[]"), port, type=socket.SOCK_STREAM):
            if (left := self._end - time.monotonic()) <= 0:
                raise TimeoutError
            try:
                found = create_connection((str(address[0]), port), min(seconds, left), socket_options=options)
            except OSError as error:
                failed = error
            else:
                self.watch(found)
                return found
        raise failed

    def watch(self, opened: socket.socket) -> None:
        """Close this connection too. TLS takes the socket over, so a duplicate is kept."""
        self._opened.append(opened.dup())
        if self.is_over:
            self._cut()

    def _cut(self) -> None:
        self.is_over = True
        for each in self._opened:
            try:
                each.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue  # already closed by the other side


class _Adapter(HTTPAdapter):
    """Opens every connection under the deadline, through a proxy or not."""

    def __init__(self, deadline: _Deadline, retrying: Retry) -> None:
        self._deadline = deadline
        super().__init__(max_retries=retrying)

    def get_connection_with_tls_context(self, *args: Any, **options: Any) -> Any:
        """A pool whose connections the deadline closes."""
        pool: Any = super().get_connection_with_tls_context(*args, **options)
        unwatched: Any = pool.ConnectionCls
        deadline = self._deadline

        class Watched(unwatched):  # type: ignore[misc]  # of HTTP or of HTTPS
            def _new_conn(self) -> socket.socket:
                try:
                    return deadline.opened(self._dns_host, self.port, self.timeout, self.socket_options)
                except TimeoutError as error:
                    raise ConnectTimeoutError(self, "not connected in time") from error
                except (OSError, UnicodeError) as error:  # UnicodeError for an invalid host name
                    raise NewConnectionError(self, f"not connected: {error}") from error

        pool.ConnectionCls = Watched
        return pool


def fetched(
    address: str, *, max_bytes: int, conditions: Mapping[str, str], patience: Patience | None = None
) -> Fetched | None:
    """The XML file at the address; None if it has not changed.

    Args:
        address: address of the file.
        max_bytes: greatest length after decompression.
        conditions: conditions of an earlier fetch; empty to fetch it in any case.
        patience: time limits.

    Raises:
        FeedError: if it cannot be fetched, or is not XML.
    """
    patience = patience or Patience()
    headers = {"Accept": "application/xml, text/xml", "Accept-Encoding": "gzip", "User-Agent": "pugmill", **conditions}
    timeout = (patience.connect_seconds, patience.read_seconds)
    with _Deadline(patience.whole_seconds) as deadline, _Session() as session:
        for scheme in ("https://", "http://"):
            session.mount(scheme, _Adapter(deadline, _retrying(patience)))
        try:
            with session.get(address, headers=headers, timeout=timeout, allow_redirects=False, stream=True) as response:
                if response.status_code == requests.codes.not_modified and conditions:
                    return None
                _check(response)
                found = Fetched(body=_body(response, max_bytes), conditions=_conditions_of(response))
        except requests.RequestException as error:
            _logger.warning("the feed cannot be fetched: %s", error)
            raise _fault_of(error, is_over=deadline.is_over) from error
        if deadline.is_over:  # a connection cut between two header fields looks like their end
            raise _too_slow()
        return found


def _check(response: requests.Response) -> None:
    status, code = response.status_code, requests.codes
    kind = response.headers.get("Content-Type", "application/xml").partition(";")[0].strip().lower()
    if status in _OVERLOADED or status >= _SERVER_ERRORS:
        raise FeedError(Fault.UNAVAILABLE, f"it answers with status {status}", _retry_after(response))
    if code.multiple_choices <= status < code.bad_request and status != code.not_modified:
        raise FeedError(Fault.REDIRECTED, f"it answers with status {status}; redirects are not followed")
    if status != code.ok:
        raise FeedError(Fault.UNEXPECTED_STATUS, f"it answers with status {status}")
    if kind not in ("application/xml", "text/xml"):
        raise FeedError(Fault.WRONG_CONTENT, "its answer is not XML")


def _retry_after(response: requests.Response) -> int | None:
    told = response.headers.get("Retry-After", "")
    return min(int(told), _MAX_RETRY_AFTER_SECONDS) if re.fullmatch("[0-9]{1,9}", told) else None


def _body(response: requests.Response, max_bytes: int) -> bytes:
    """The decompressed body, up to the limit; Content-Length only makes a refusal faster."""
    too_large = FeedError(Fault.TOO_LARGE, f"it has more than {max_bytes:,} bytes")
    claimed = response.headers.get("Content-Length", "")
    if claimed.isdecimal() and int(claimed[:18]) > max_bytes:
        raise too_large
    body = bytearray()
    for chunk in response.iter_content(_CHUNK_BYTES):
        body += chunk
        if len(body) > max_bytes:
            raise too_large
    return bytes(body)


def _conditions_of(response: requests.Response) -> dict[str, str]:
    found = {asked: response.headers.get(told, "") for told, asked in _CONDITIONS.items()}
    return {name: value for name, value in found.items() if _VALIDATOR.fullmatch(value)}


def _too_slow() -> FeedError:
    return FeedError(Fault.TIMEOUT, "it takes too long to answer")


def _fault_of(error: requests.RequestException, *, is_over: bool) -> FeedError:
    """The fault in our words, because the library's messages name hosts and classes."""
    inner = error.args[0] if error.args else None
    cause = getattr(inner, "reason", inner)
    is_refused = isinstance(cause, NewConnectionError)  # urllib3 counts it among the timeouts
    is_timeout = isinstance(error, requests.Timeout) or isinstance(cause, TransportTimeoutError)
    if is_over or (is_timeout and not is_refused):
        return _too_slow()
    if isinstance(error, requests.exceptions.SSLError):
        return FeedError(Fault.UNREACHABLE, "no secure connection to it is possible")
    if isinstance(error, requests.exceptions.ContentDecodingError):
        return FeedError(Fault.WRONG_CONTENT, "it cannot be decompressed")
    if isinstance(error, requests.exceptions.InvalidHeader):
        return FeedError(Fault.WRONG_CONTENT, "the header of its answer is invalid")
    if isinstance(error, requests.exceptions.ChunkedEncodingError):
        return FeedError(Fault.TRUNCATED, "it breaks off before its end")
    return FeedError(Fault.UNREACHABLE, "it cannot be reached")
