"""Strict reading of requests: exact numbers, unique names, limited nesting, no unknown parameters."""

import csv
import hashlib
import io
import json
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NoReturn

import flask
import marshmallow as ma
from webargs.flaskparser import FlaskParser
from werkzeug.exceptions import MethodNotAllowed, NotFound, RequestEntityTooLarge

from service.api.http.operations import Request, current
from service.api.http.problems import MAX_BODY_BYTES, MAX_ERRORS, ProblemError, error_at
from service.nearest import did_you_mean

MAX_DEPTH = 20
_TakesHeader = Callable[[Sequence[str]], Iterable[str]]
_TakesLine = Callable[[int, Sequence[str]], Iterable[str]]
UNKNOWN_MEMBER = "is not a member that this object has"
NO_PARAMETER = "is not a parameter of this operation"
NO_BODY = "this operation takes no body; leave it out"


class Number:
    """A JSON number, kept as written until its field reads it."""

    __slots__ = ("literal",)

    def __init__(self, literal: str) -> None:
        self.literal = literal

    def __repr__(self) -> str:
        return self.literal


class DuplicateNameError(ValueError):
    """An object has the same member twice."""


def unknown(refusal: str, name: str, names: Iterable[str]) -> str:
    """The refusal of a name that is none of these, with the nearest of them, or else all."""
    known = [*names]
    return refusal + (did_you_mean(name, known) or (f"; it takes {', '.join(known)}" if known else "; it takes none"))


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    members = dict(pairs)
    if len(members) < len(pairs):
        names = [name for name, _ in pairs]
        raise DuplicateNameError(next(name for name in names if names.count(name) > 1))
    return members


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a JSON number")


def _is_deeper_than(data: Any, levels: int) -> bool:
    members: Any = data.values() if isinstance(data, dict) else data if isinstance(data, list) else ()
    return bool(members) and (levels == 0 or any(_is_deeper_than(each, levels - 1) for each in members))


def read_json(body: bytes) -> Any:
    """The data of a JSON body; raises a problem 400 if it is not JSON that this service accepts."""
    if not body:
        raise ProblemError(400, "malformed-json", "the body is empty; send a JSON object")
    try:
        data = json.loads(
            body.decode("utf-8"),
            parse_float=Number,
            parse_int=Number,
            parse_constant=_refuse_constant,
            object_pairs_hook=_object,
        )
    except UnicodeDecodeError:
        raise ProblemError(400, "malformed-json", "the body is not UTF-8") from None
    except DuplicateNameError as error:
        name = str(error)[:100]
        raise ProblemError(400, "malformed-json", f"one object has the member {json.dumps(name)} twice") from None
    except json.JSONDecodeError as error:
        detail = f"not JSON: {error.msg} at line {error.lineno}, column {error.colno}"
        raise ProblemError(400, "malformed-json", detail) from None
    except RecursionError:
        raise ProblemError(400, "malformed-json", f"nested deeper than {MAX_DEPTH} levels") from None
    except ValueError as error:
        raise ProblemError(400, "malformed-json", str(error)[:200]) from None
    if _is_deeper_than(data, MAX_DEPTH):
        raise ProblemError(400, "malformed-json", f"nested deeper than {MAX_DEPTH} levels")
    return data


def read_csv(body: bytes, of: str, header: _TakesHeader, add: _TakesLine) -> None:
    """Read a CSV file (RFC 4180) with names of columns in its first line.

    Args:
        of: what is on a line, for the refusal of a file without any.
        header: takes the names of the columns; gives what is wrong with them.
        add: takes the number of a line and as many fields as there are columns; gives what is wrong with them.

    Raises:
        ProblemError: 400 if it is not CSV in UTF-8; 422 naming the first lines that are wrong.
    """
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ProblemError(400, "malformed-csv", "the file is not UTF-8") from None
    rows = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        _read_lines(rows, of, header, add)
    except csv.Error as error:
        detail = f"not CSV by RFC 4180: {error}, at line {rows.line_num}"
        raise ProblemError(400, "malformed-csv", detail) from None


def _read_lines(rows: Any, of: str, header: _TakesHeader, add: _TakesLine) -> None:
    names: list[str] = next(rows, [])
    if told := [*header(names)]:
        raise ProblemError.of_errors([{"line": 1, "detail": each} for each in told])
    errors: list[dict[str, Any]] = []
    first = line = 1 + rows.line_num
    for row in rows:
        is_whole = len(row) == len(names)
        told = [*add(line, row)] if is_whole else [f"has {len(row)} fields instead of {len(names)}"]
        errors += ({"line": line, "detail": each} for each in told)
        if len(errors) >= MAX_ERRORS:
            break
        line = 1 + rows.line_num
    if line == first and not errors:
        errors.append({"line": line, "detail": f"there is no line with a {of}"})
    if errors:
        raise ProblemError.of_errors(errors)


def methods_of_fixed_addresses(app: flask.Flask) -> dict[str, frozenset[str]]:
    """The methods of each address without variable parts."""
    return {rule.rule: frozenset(rule.methods or ()) for rule in app.url_map.iter_rules() if not rule.arguments}


def check_address(request: Request) -> None:
    """Refuse an address that only looks like one of ours.

    A path must not begin with two slashes (404), and a fixed address must not match a variable part (405 for
    PUT /exchange-rates/refresh).
    """
    # A server may leave one of them out of the path.
    if request.environ.get("REQUEST_URI", "").lower().startswith(("//", "/%2f")):
        raise NotFound
    methods = request.extensions["pugmill.fixed_addresses"].get(request.path)
    if methods is not None and request.method not in methods:
        raise MethodNotAllowed(sorted(methods))


def check_parameters(request: Request) -> None:
    """Raises a problem 422 naming each query parameter, if the operation takes none."""
    asked = request.operation
    if request.query_string and asked is not None and asked.is_keyed and not asked.takes_query:
        names = dict.fromkeys(name[:100] for name in request.args)
        raise ProblemError.of_errors([{"parameter": name, "detail": unknown(NO_PARAMETER, name, ())} for name in names])


def check_no_body(request: Request) -> None:
    """Raises a problem 422 naming each member of a body, if the operation takes none; `{}` is as good as no body."""
    asked = request.operation
    if asked is None or asked.takes_body or not asked.is_keyed or request.is_read:
        return
    try:
        body = request.get_data(cache=False)
        members = read_json(body) if body else {}
    except (ProblemError, RequestEntityTooLarge):
        members = None  # too long, or not JSON: refused like any other body that nobody reads
    if not isinstance(members, dict):
        raise ProblemError.of_errors([error_at("json", (), NO_BODY)])
    if members:
        raise ProblemError.of_errors([error_at("json", (name,), unknown(UNKNOWN_MEMBER, name, ())) for name in members])


def body_of(request: flask.Request, media_type: str) -> bytes:
    """The body; raises a problem 415 if it is of another media type or compressed, 413 if it is too long."""
    if request.mimetype != media_type:
        raise ProblemError(415, "unsupported-media-type", f"send the body as Content-Type: {media_type}")
    codings = request.headers.get("Content-Encoding", "").lower().split(",")
    if not all(each.strip() in ("", "identity") for each in codings):
        told = "send the body as it is, not compressed, and leave Content-Encoding out"
        raise ProblemError(415, "unsupported-content-coding", told, headers={"Accept-Encoding": "identity"})
    body = request.get_data(cache=False)
    if len(body) > MAX_BODY_BYTES:  # the server reads one byte more than allowed, as a chunked body has no length
        raise RequestEntityTooLarge
    current().body_digest = hashlib.sha256(body).hexdigest()
    return body


class Parser(FlaskParser):
    """Reads bodies and query strings, and refuses unknown members and parameters."""

    def parse(self, argmap: Any, req: Any = None, *, location: str | None = None, **_: Any) -> Any:
        """The checked value of the request's body or query string; raises a problem naming every error."""
        request = current()
        data = self.load_querystring(request, argmap) if location == "query" else self.load_body(request, argmap)
        try:
            return argmap.load(data)
        except ma.ValidationError as error:
            errors = located(location or "json", error.messages)
            raise ProblemError.of_errors(sorted(errors, key=lambda each: each.get("pointer", ""))) from None

    def load_body(self, request: Request, schema: ma.Schema) -> Any:
        """The data of the JSON body; an empty object if there is none and the operation needs none."""
        asked = request.operation
        if asked is not None and asked.may_lack_body and not request.get_data():
            return {}
        return _without_additions(request, schema, read_json(body_of(request, "application/json")))

    def load_querystring(self, req: flask.Request, schema: ma.Schema) -> Any:
        """The query parameters, each given once unless it is a list."""
        errors: list[dict[str, str]] = []
        found: dict[str, Any] = {}
        for name, values in req.args.lists():
            field = schema.fields.get(name)
            if field is None:
                errors.append({"parameter": name[:100], "detail": unknown(NO_PARAMETER, name, schema.load_fields)})
            elif len(values) > 1 and not isinstance(field, ma.fields.List):
                errors.append({"parameter": name, "detail": "is given more than once"})
            elif isinstance(field, ma.fields.List):
                found[name] = values
            else:
                found[name] = field.metadata["from_text"](values[0])
        if errors:
            raise ProblemError.of_errors(errors)
        return found


def _without_additions(request: Request, schema: ma.Schema, data: Any) -> Any:
    """The body without what answers add to it, so that what a list or a PUT returned can be sent back.

    Raises:
        ProblemError: 422 if it is of another address.
    """
    if request.operation is None or not isinstance(data, dict):
        return data
    parts = request.view_args or {}
    added = {name: form.format_map(parts) for name, form in request.operation.added.items() if name in data}
    if wrong := [name for name, value in added.items() if data[name] != value]:
        told = "must be '{}' at this address, or be left out"
        raise ProblemError.of_errors([error_at("json", (name,), told.format(added[name])) for name in wrong])
    unread = {*added, *(name for name, field in schema.fields.items() if field.dump_only)}
    return {name: value for name, value in data.items() if name not in unread}


def located(location: str, messages: Any) -> list[dict[str, str]]:
    """marshmallow's nested messages as a list of errors."""
    found: list[dict[str, str]] = []

    def walk(path: tuple[str, ...], node: Any) -> None:
        if isinstance(node, dict):
            for name, child in node.items():
                is_member = name != ma.exceptions.SCHEMA or child[0].startswith(UNKNOWN_MEMBER)
                walk((*path, str(name)) if is_member else path, child)
        else:
            found.extend(error_at(location, path, detail) for detail in node)

    walk((), messages)
    return found
