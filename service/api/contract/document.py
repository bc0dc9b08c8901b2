"""The finished contract: examples of what is sent and answered, separate requests, and everything in reading order."""

import json
import re
from collections import Counter
from collections.abc import Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any

from service.api.contract.bodies import separate
from service.api.contract.examples import SAMPLES, values_sent

ANSWERS = Path(__file__).parent / "answers.json"
"""Recorded answers, by operation and status; `pugmill openapi` records them."""
_METHODS = ("put", "get", "post", "delete")
_WITHIN_OPERATION = ("tags", "summary", "description", "operationId", "security", "parameters", "requestBody")
_WITHIN_DOCUMENT = ("openapi", "info", "servers", "security", "tags", "paths", "components")
_EXAMPLES = ("example", "examples", "value")
_LONG = 4000
"""Characters of an answer that is shown once for all operations with answers of its form."""
Document = dict[str, Any]


def finished(described: Document, *, with_answers: bool = True) -> Document:
    """The contract as it is served, from what is described; without recorded answers if they are to be recorded."""
    document = deepcopy(described)
    answers = json.loads(ANSWERS.read_text("utf-8")) if with_answers and ANSWERS.exists() else {}
    for template, method, operation in operations(document):
        place = operation["operationId"], template, method
        shown = [_shown(document, each, place) for each in operation.get("parameters", ())]
        if shown:
            operation["parameters"] = shown
    _add_answers(document, answers)
    _share_examples(document)
    separate(document)
    _remove_unused(document)
    return _in_order(document)


def operations(document: Document) -> Iterator[tuple[str, str, Document]]:
    """Template, method and operation, in the order of the contract: as one meets them."""
    tags = {tag["name"]: place for place, tag in enumerate(document["tags"])}
    found = [(template, method) for template, methods in document["paths"].items() for method in methods]

    def place(each: tuple[str, str]) -> tuple[int, int, int]:
        operation = document["paths"][each[0]][each[1]]
        creates = each[1] == "post" and "201" in operation["responses"]
        return tags[operation["tags"][0]], paths[each[0]], -1 if creates else _METHODS.index(each[1])

    paths = {template: place for place, template in enumerate(document["paths"])}
    for template, method in sorted(found, key=place):
        yield template, method, document["paths"][template][method]


def _shown(document: Document, parameter: Document, place: tuple[str, str, str]) -> Document:
    """The parameter with an example; as a shared part, if it is one."""
    shared = document["components"]["parameters"]
    component = parameter.get("$ref", "").rpartition("/")[2]
    told = shared[component] if component else parameter
    sent = values_sent(told["name"], *place)
    if not sent:
        if told["name"] in SAMPLES:
            told["schema"].setdefault("examples", [SAMPLES[told["name"]]])
        return parameter
    named = {"example": sent[0]} if len(sent) == 1 else {"examples": {str(each): {"value": each} for each in sent}}
    if not component:
        return {**parameter, **named}
    name = ".".join([component, *(re.sub(r"[^\w-]", "", str(each)) for each in sent)])
    shared[name] = {**told, **named}
    return {"$ref": f"#/components/parameters/{name}"}


def _key(answer: Any) -> str:
    return json.dumps(answer, sort_keys=True)


def _add_answers(document: Document, answers: Document) -> None:
    """Show recorded answers; a long one only for the first operation with answers of its form."""
    first: dict[str, str] = {}
    for _, _, operation in operations(document):
        for status, answer in answers.get(operation["operationId"], {}).items():
            media = next(iter(operation["responses"][status]["content"].values()))
            shown = first.setdefault(_key(media["schema"]), operation["operationId"])
            if len(_key(answer)) < _LONG or shown == operation["operationId"]:
                media["example"] = answer
            else:
                like = next(iter(answers[shown].values()))
                document["components"].setdefault("examples", {})[shown] = {"value": like}
                media["examples"] = {f"as {shown} answers": {"$ref": f"#/components/examples/{shown}"}}


def _share_examples(document: Document) -> None:
    """Make what several operations show as an example a shared part."""
    places = [
        (operation["operationId"], media)
        for _, _, operation in operations(document)
        for part in (operation.get("requestBody", {}), *operation["responses"].values())
        for media in part.get("content", {}).values()
        if isinstance(media.get("example"), dict) and media["example"]
    ]
    shared = document["components"].setdefault("examples", {})
    names = {_key(each["value"]): name for name, each in shared.items()}
    repeated = Counter(_key(media["example"]) for _, media in places)
    for operation_id, media in places:
        key = _key(media["example"])
        if repeated[key] > 1 or key in names:
            value = media.pop("example")
            name = names.setdefault(key, operation_id)
            shared.setdefault(name, {"value": value})
            media["examples"] = {"example": {"$ref": f"#/components/examples/{name}"}}


def _remove_unused(document: Document) -> None:
    """Remove the shared parts that nothing refers to."""
    components = document["components"]
    while True:
        used = {*re.findall(r'"\$ref": "#/components/([^"]+)"', json.dumps(document))}
        unused = [
            (kind, name)
            for kind, parts in components.items()
            if kind != "securitySchemes"
            for name in parts
            if f"{kind}/{name}" not in used
        ]
        if not unused:
            return
        for kind, name in unused:
            del components[kind][name]


def _in_order(document: Document) -> Document:
    paths: Document = {}
    for template, method, operation in operations(document):
        told = _sorted(operation)
        first = {name: told[name] for name in _WITHIN_OPERATION if name in told}
        if "description" in first:  # a docstring's lines
            first["description"] = re.sub(r"(?<!\n)\n(?!\n)", " ", first["description"])
        paths.setdefault(template, {})[method] = {**first, **told, **first}
    told = {**document, "paths": paths, "components": _sorted(document["components"])}
    return {name: told[name] for name in _WITHIN_DOCUMENT}


def _sorted(node: Any) -> Any:
    """Names in alphabetical order, except members, which are as declared, and examples, which are as sent."""
    if isinstance(node, list):
        return [_sorted(each) for each in node]
    if not isinstance(node, dict):
        return node
    told = {str(name): each if name in _EXAMPLES else _sorted(each) for name, each in sorted(node.items(), key=str)}
    if isinstance(node.get("properties"), dict):
        told["properties"] = {name: told["properties"][name] for name in node["properties"]}
    return told
