"""Separate schemas for what is sent and what is answered, where they differ.

A decimal may be sent as a text or as a JSON number, and is answered as a text. A member with a default may be left out
of what is sent, so its schema has no default there, which generators of clients take to mean that it is always there.
"""

import re
from collections.abc import Iterator
from typing import Any

from service.api.contract.fields import DECIMAL_FORMAT

_SCHEMAS = "#/components/schemas/"
_SENT = "Input"
Schemas = dict[str, Any]


def separate(document: dict[str, Any]) -> None:
    """Have requests and answers refer to schemas of their own, and remove those that nothing refers to."""
    schemas: Schemas = document["components"]["schemas"]
    requests, answers = [*_requests(document)], [*_answers(document)]
    sent, answered = _reached(requests, schemas), _reached(answers, schemas)
    differing = _differing(schemas, sent)
    names = {name: name + _SENT if name in answered else name for name in differing}
    found = {names[name]: _as_sent(schemas[name], names, schemas) for name in differing}
    kept = {name: schema for name, schema in schemas.items() if name in answered or name not in differing}
    document["components"]["schemas"] = {**kept, **found}
    for place in requests:
        place["schema"] = _as_sent(place["schema"], names, schemas)


def _operations(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    for methods in document["paths"].values():
        yield from methods.values()


def _requests(document: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """What has the schema of a body or of a parameter."""
    for operation in _operations(document):
        yield from operation.get("requestBody", {}).get("content", {}).values()
        yield from (each for each in operation.get("parameters", ()) if "schema" in each)
    yield from document["components"].get("parameters", {}).values()


def _answers(document: dict[str, Any]) -> Iterator[Any]:
    for operation in _operations(document):
        yield from operation["responses"].values()
    yield document["components"]["responses"]


def _references(node: Any) -> Iterator[str]:
    """The names of the schemas that something refers to."""
    if isinstance(node, dict):
        if str(node.get("$ref", "")).startswith(_SCHEMAS):
            yield node["$ref"].removeprefix(_SCHEMAS)
        for name, each in node.items():
            if name not in ("example", "examples"):
                yield from _references(each)
    elif isinstance(node, list):
        for each in node:
            yield from _references(each)


def _reached(places: list[Any], schemas: Schemas) -> set[str]:
    found: set[str] = set()
    ahead = [*_references(places)]
    while ahead:
        name = ahead.pop()
        if name not in found:
            found.add(name)
            ahead += _references(schemas[name])
    return found


def _differing(schemas: Schemas, sent: set[str]) -> set[str]:
    """Those that are sent in another form than they are answered, by themselves or in what they refer to."""
    found = {name for name in sent if _as_sent(schemas[name], {}, schemas) != schemas[name]}
    while more := {name for name in sent - found if found & {*_references(schemas[name])}}:
        found |= more
    return found


def _as_sent(node: Any, names: dict[str, str], schemas: Schemas) -> Any:
    """The schema as it is sent."""
    if isinstance(node, list):
        return [_as_sent(each, names, schemas) for each in node]
    if not isinstance(node, dict):
        return node
    told = {name: each if name in _DATA else _as_sent(each, names, schemas) for name, each in node.items()}
    if isinstance(told.get("$ref"), str) and told["$ref"].startswith(_SCHEMAS):
        name = told["$ref"].removeprefix(_SCHEMAS)
        told["$ref"] = _SCHEMAS + names.get(name, name)
    if told.get("format") == DECIMAL_FORMAT:
        types = told["type"] if isinstance(told["type"], list) else [told["type"]]
        told["type"] = [*types, "number"] if "number" not in types else types
    if isinstance(members := told.get("properties"), dict):
        told["properties"] = {
            name: _without_default(member)
            for name, member in members.items()
            if not _is_read_only(node["properties"][name], schemas)
        }
    return told


_DATA = ("default", "enum", "example", "examples", "pattern")
"""Keywords whose values are no schemas."""


def _is_read_only(member: dict[str, Any], schemas: Schemas) -> bool:
    target = schemas.get(str(member.get("$ref", "")).removeprefix(_SCHEMAS), {})
    return bool(member.get("readOnly") or target.get("readOnly"))


def _without_default(member: dict[str, Any]) -> dict[str, Any]:
    """The member with its default in words."""
    if "default" not in member:
        return member
    told = {name: each for name, each in member.items() if name != "default"}
    default = re.sub(r"[{}\[\]\"']", "", str(member["default"])) or "none"
    description = told.get("description", "").removesuffix(".")
    return {**told, "description": f"{description} (if left out: {default})."}
