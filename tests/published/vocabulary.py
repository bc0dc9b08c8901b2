"""Checks structured data against the definitions of the vocabulary that it names.

The definitions are those of `schema_org.json`: the Schema.org vocabulary, release 30.1, W3C Schema.org Community Group,
2026. A property is allowed on a type of its domainIncludes or a subclass, with a value of a type of its rangeIncludes
or a subclass. The vocabulary also allows a text in place of any thing; this check does not.
"""

import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

_DEFINITIONS = json.loads(Path(__file__).with_name("schema_org.json").read_text())
TYPES: dict[str, list[str]] = _DEFINITIONS["types"]
PROPERTIES: dict[str, dict[str, Any]] = _DEFINITIONS["properties"]
MEMBERS: dict[str, list[str]] = _DEFINITIONS["members"]
CONTEXT = "https://schema.org"


def with_superclasses(name: str) -> set[str]:
    """The type and everything it is a subclass of."""
    return {name}.union(*(with_superclasses(each) for each in TYPES[name]))


def violations(document: Any) -> list[str]:
    """Returns everything in the document that the definitions do not allow."""
    if not isinstance(document, dict) or document.get("@context") != CONTEXT or set(document) != {"@context", "@graph"}:
        return ["must be an object with the context of the vocabulary and a graph"]
    named = {node["@id"]: node for node in document["@graph"] if isinstance(node, dict) and "@id" in node}
    return [problem for node in document["@graph"] for problem in _of_node(_resolved(node, named))]


def _resolved(value: Any, named: Mapping[str, Any]) -> Any:
    """The value with the node that it names in place of each reference."""
    if isinstance(value, list):
        return [_resolved(each, named) for each in value]
    if not isinstance(value, dict):
        return value
    if set(value) == {"@id"}:
        return named.get(value["@id"], value)
    return {name: _resolved(each, named) for name, each in value.items()}


def _of_node(node: Any) -> Iterator[str]:
    if not isinstance(node, dict) or node.get("@type") not in TYPES:
        yield f"not of a known type: {node}"
        return
    kinds = with_superclasses(node["@type"])
    for name, value in node.items():
        if name in ("@type", "@id"):
            continue
        definition = PROPERTIES.get(name)
        if definition is None:
            yield f"{name}: no such property"
        elif "supersededBy" in definition:
            yield f"{name}: superseded by {definition['supersededBy']}"
        elif not kinds.intersection(definition["domainIncludes"]):
            yield f"{name}: not a property of {node['@type']}"
        else:
            for each in value if isinstance(value, list) else [value]:
                yield from _of_value(name, each, set(definition["rangeIncludes"]))


def _of_value(name: str, value: Any, allowed: set[str]) -> Iterator[str]:
    if isinstance(value, dict):
        yield from _of_node(value)
        kinds = with_superclasses(value["@type"]) if value.get("@type") in TYPES else set()
    else:
        kinds = {bool: {"Boolean"}, int: {"Number"}, float: {"Number"}, str: _kinds_of_text(value)}.get(
            type(value), set()
        )
    if not kinds & allowed:
        yield f"{name}: {value!r} is none of {sorted(allowed)}"


def _kinds_of_text(value: Any) -> set[str]:
    text = str(value)
    members = {kind for kind, names in MEMBERS.items() if text in {f"{CONTEXT}/{name}" for name in names}}
    return {"Text", "URL", *members} if text.startswith(("https://", "http://")) else {"Text"}
