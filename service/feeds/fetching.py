"""Fetching a file over HTTP that cannot make this service wait, follow, or hold more than it was told to."""

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

_logger = logging.getLogger("pugmill")
_CONDITIONS = {"ETag": "If-None-Match", "Last-Modified": "If-Modified-Since"}
_VALIDATOR = re.compile(r"[\x20-\x7e]{1,200}")
_CHUNK_BYTES = 65_536
_SERVER_ERRORS = 500
_OVERLOADED = {429, 503}
_MAX_RETRY_AFTER_SECONDS = 24 * 3600


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long a feed may take.

    Attributes:
        connect_seconds: to accept a connection, at each address of its name.
        read_seconds: between two pieces of its answer.
        whole_seconds: for everything, however often it is asked. The name's look-up is the resolver's to limit.
        retries: how often it is asked again when it cannot be reached, is overloaded or fails.
        back_off_seconds: before it is asked again; twice that the next time.
        retry_after_seconds: the longest that its Retry-After is waited for.
    """

    connect_seconds: float = 5
    read_seconds: float = 10
    whole_seconds: float = 30
    retries: int = 2
    back_off_seconds: float = 0.5
    retry_after_seconds: int = 5

    def retrying(self) -> Retry:
        """As urllib3 has it."""
        return _Retry(
            total=self.retries,
            redirect=0,
            allowed_methods={"GET"},
            status_forcelist=_OVERLOADED | {500, 502, 504},
            backoff_factor=self.back_off_seconds,
            raise_on_status=False,
            raise_on_redirect=False,
            retry_after_max=self.retry_after_seconds,
        )


class _Retry(Retry):
    """Reads nothing of an answer after which it asks again, and does not stumble over what that answer wishes."""

    def increment(
        self, method: str | None = None, url: str | None = None, response: Any = None, *rest: Any, **options: Any
    ) -> Self:
        """Count a try; what was answered is let go unread, however long it is."""
        counted = super().increment(method, url, response, *rest, **options)
        if response is not None:
            response.close()
        return counted

    def parse_retry_after(self, retry_after: str) -> float:
        """Seconds; 0, as if it had not been said, where it is neither a number nor a date."""
        try:
            return super().parse_retry_after(retry_after)
        except (InvalidHeader, ValueError, OverflowError):
            return 0


class _Session(requests.Session):
    """Knows no redirects. The library reads a redirect's body whole and its address, even where it does not follow."""

    def get_redirect_target(self, resp: requests.Response) -> None:
        """Nowhere."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """A file as it came.

    Attributes:
        body: its bytes.
        conditions: header fields with which it is sent again only if it has changed.
    """

    body: bytes
    conditions: Mapping[str, str]


class _Deadline:
    """Cuts every connection that was opened under it when its time is over.

    A socket's own timeout begins anew with each byte, so an answer that trickles would hold the service for days.
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
        """A connection to the first of the host's addresses that accepts one.

        Raises:
            OSError: none does, or there is none.
            TimeoutError: none does in these seconds, or time is over.
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
        """Cut this connection too. TLS takes a socket over; its duplicate stays ours."""
        self._opened.append(opened.dup())
        if self.is_over:
            self._cut()

    def _cut(self) -> None:
        self.is_over = True
        for each in self._opened:
            try:
                each.shutdown(socket.SHUT_RDWR)
            except OSError:
                continue  # the other side was quicker


class _Adapter(HTTPAdapter):
    """Opens every connection, through a proxy or not, under the deadline."""

    def __init__(self, deadline: _Deadline, retrying: Retry) -> None:
        self._deadline = deadline
        super().__init__(max_retries=retrying)

    def get_connection_with_tls_context(self, *args: Any, **options: Any) -> Any:
        """A pool whose connections are watched."""
        pool: Any = super().get_connection_with_tls_context(*args, **options)
        unwatched: Any = pool.ConnectionCls
        deadline = self._deadline

        class Watched(unwatched):  # type: ignore[misc]  # of HTTP or of HTTPS
            def _new_conn(self) -> socket.socket:
                try:
                    return deadline.opened(self._dns_host, self.port, self.timeout, self.socket_options)
                except TimeoutError as error:
                    raise ConnectTimeoutError(self, "not connected in time") from error
                except (OSError, UnicodeError) as error:  # of a name that is none
                    raise NewConnectionError(self, f"not connected: {error}") from error

        pool.ConnectionCls = Watched
        return pool


def fetched(
    address: str, *, max_bytes: int, conditions: Mapping[str, str], patience: Patience | None = None
) -> Fetched | None:
    """The XML file at the address; None if it is still what the conditions name.

    Args:
        address: where it is.
        max_bytes: the most that it may have once it is unpacked, whatever length it claims.
        conditions: header fields that an earlier fetch answered; none to get it in any case.
        patience: how long it may take.

    Raises:
        FeedError: it cannot be had, or is not what was asked for.
    """
    patience = patience or Patience()
    headers = {"Accept": "application/xml, text/xml", "Accept-Encoding": "gzip", "User-Agent": "pugmill", **conditions}
    timeout = (patience.connect_seconds, patience.read_seconds)
    with _Deadline(patience.whole_seconds) as deadline, _Session() as session:
        for scheme in ("https://", "http://"):
            session.mount(scheme, _Adapter(deadline, patience.retrying()))
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
        raise FeedError(Fault.WRONG_CONTENT, "it answers with something else than XML")


def _retry_after(response: requests.Response) -> int | None:
    told = response.headers.get("Retry-After", "")
    return min(int(told), _MAX_RETRY_AFTER_SECONDS) if re.fullmatch("[0-9]{1,9}", told) else None


def _body(response: requests.Response, max_bytes: int) -> bytes:
    """What comes, unpacked, as long as it is not too much; what length it claims only shortens the refusal."""
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
    """What went wrong, in our own words: the library's name hosts and classes."""
    inner = error.args[0] if error.args else None
    cause = getattr(inner, "reason", inner)
    is_refused = isinstance(cause, NewConnectionError)  # which urllib3 counts among the timeouts
    is_timeout = isinstance(error, requests.Timeout) or isinstance(cause, TransportTimeoutError)
    if is_over or (is_timeout and not is_refused):
        return _too_slow()
    if isinstance(error, requests.exceptions.SSLError):
        return FeedError(Fault.UNREACHABLE, "no secure connection to it comes about")
    if isinstance(error, requests.exceptions.ContentDecodingError):
        return FeedError(Fault.WRONG_CONTENT, "it cannot be unpacked")
    if isinstance(error, requests.exceptions.InvalidHeader):
        return FeedError(Fault.WRONG_CONTENT, "its answer contradicts itself")
    if isinstance(error, requests.exceptions.ChunkedEncodingError):
        return FeedError(Fault.TRUNCATED, "it breaks off before its end")
    return FeedError(Fault.UNREACHABLE, "it cannot be reached")
