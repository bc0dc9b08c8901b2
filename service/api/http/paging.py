"""Paging by cursors, which are sealed for their workshop and list; the next page is a link (RFC 8288)."""

import base64
import hmac
import json
from collections.abc import Callable, Sequence
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

import flask

from service.api.http.answers import data_answer
from service.api.http.auth import access
from service.api.http.problems import ProblemError
from service.domain.values.declared import Bounds, Text, declared

T = TypeVar("T")
K = TypeVar("K")

DEFAULT_LIMIT, MAX_LIMIT = 100, 500
_SEAL_BYTES = 16


@declared
class PageQuery:
    """Which page of a list.

    Attributes:
        limit: most entries on the page.
        cursor: where to continue, from the previous page.
    """

    limit: Annotated[int, Bounds(at_least=1, at_most=MAX_LIMIT)] = DEFAULT_LIMIT
    cursor: Annotated[str, Text(max_length=1000)] | None = None


def _seal(body: bytes, path: str) -> bytes:
    """Binds a cursor to its workshop and list, with a secret that nobody outside the database knows."""
    bound = f"{access().workshop.workshop_id} {path} ".encode()
    return hmac.digest(bytes.fromhex(access().cursor_secret), bound + body, "sha256")[:_SEAL_BYTES]


def cursor_for(key: Sequence[str], path: str) -> str:
    """The cursor of a list that continues after an entry with this sort key."""
    body = json.dumps(list(key)).encode()
    return base64.urlsafe_b64encode(_seal(body, path) + body).decode().rstrip("=")


def position(query: PageQuery, read: Callable[..., K]) -> K | None:
    """The last key of the previous page, None on the first.

    Args:
        query: with the cursor.
        read: makes the key from its texts; raises ValueError if they are not those of a key.

    Raises:
        ProblemError: 422 if the cursor is not one that this list gave.
    """
    if query.cursor is None:
        return None
    try:
        raw = base64.b64decode(query.cursor + "=" * (-len(query.cursor) % 4), altchars=b"-_", validate=True)
        if base64.urlsafe_b64encode(raw).decode().rstrip("=") != query.cursor:
            raise ValueError(query.cursor)  # it decodes to the same bytes, but was not given like this
        sealed, body = raw[:_SEAL_BYTES], raw[_SEAL_BYTES:]
        if not hmac.compare_digest(sealed, _seal(body, flask.request.path)):
            raise ValueError(query.cursor)
        return read(*_texts(json.loads(body)))
    except (ValueError, TypeError, RecursionError):  # sealed by us, but not as this version does
        raise ProblemError.of_errors(
            [{"parameter": "cursor", "detail": "is not a cursor of this list; begin again without one"}]
        ) from None


def _texts(key: Any) -> list[str]:
    is_key = isinstance(key, list) and bool(key) and all(isinstance(each, str) and "\0" not in each for each in key)
    if not is_key:
        raise ValueError(key)
    "".join(key).encode()  # raises UnicodeEncodeError, a ValueError, for half a surrogate pair
    return list(key)


def page(
    query: PageQuery, load: Callable[[int], Sequence[T]], key: Callable[[T], Sequence[str]], item: Callable[[T], Any]
) -> flask.Response:
    """A page of the list as JSON; `load` returns at most as many entries as it is given. Otherwise as `paged`."""
    return linked(paged(query, load(query.limit + 1), key, item))


def paged(
    query: PageQuery,
    found: Sequence[T],
    key: Callable[[T], Sequence[str]],
    item: Callable[[T], Any],
    path: str | None = None,
) -> dict[str, Any]:
    """A page as plain data: its items and the address of the next one.

    Args:
        query: limit and cursor.
        found: the entries from the position on, one more than the limit if there is a next page.
        key: returns the sort key of an entry.
        item: returns an entry as plain data.
        path: address of the list; the request's own if left out.
    """
    shown, path = found[: query.limit], path or flask.request.path
    following = None
    if len(found) > len(shown):
        cursor = cursor_for(key(shown[-1]), path)
        following = f"{path}?{urlencode({**_filters(path), 'limit': query.limit, 'cursor': cursor})}"
    return {"items": [item(each) for each in shown], "next": following}


def _filters(path: str) -> dict[str, str]:
    """The request's other parameters, which the next page repeats."""
    return flask.request.args.to_dict() if path == flask.request.path else {}


def linked(data: dict[str, Any]) -> flask.Response:
    """A page as JSON, with the next one in the Link header too."""
    response = data_answer(data)
    if data["next"]:
        response.headers["Link"] = f'<{data["next"]}>; rel="next"'
    return response
