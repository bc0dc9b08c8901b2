"""The examples of the contract: those of the demo workshop, answered as the contract shows, each at the first try."""

import json
from typing import Any

import flask
import pytest

from service.api.contract.document import ANSWERS, operations
from service.api.contract.examples import FACTS, FIRST_DAY, TERMS
from service.cli.recording import recorded, requests_of, written
from service.client.files.register_files import read_files
from service.domain.register import COLLECTIONS
from tests.conftest import Client
from tests.support.contract import Contract
from tests.support.demo import DEMO, loaded_demo

Document = dict[str, Any]
NEEDS_WHAT_CAME_BEFORE = ("/confirm", "/held", "/accept", "/decline", "/complete", "/revise", "/refresh", "/undo")
"""Operations on what the examples before them make, or on what a feed has published."""


@pytest.fixture(scope="module")
def document(app: flask.Flask) -> Document:
    found: Document = app.extensions["pugmill.api"].document()
    return found


def test_replayed_in_order_on_an_empty_workshop_they_are_answered_as_recorded() -> None:
    """Says which operations answer otherwise; `pugmill openapi` records their answers."""
    now, committed = recorded(), json.loads(ANSWERS.read_text("utf-8"))

    assert [name for name in {*now, *committed} if now.get(name) != committed.get(name)] == []
    assert ANSWERS.read_text("utf-8") == written(now)


def in_texts(data: Any) -> Any:
    """The data with numbers as texts, since a decimal may be sent as either."""
    if isinstance(data, dict):
        return {name: in_texts(each) for name, each in data.items()}
    if isinstance(data, list):
        return [in_texts(each) for each in data]
    return data if isinstance(data, bool) else str(data)


def test_facts_and_terms_are_the_demo_s() -> None:
    demo = read_files([DEMO / "workshop.yaml"]).document

    assert set(FACTS) == set(COLLECTIONS)
    for name in COLLECTIONS:
        for code, facts in FACTS[name].items():
            assert in_texts(facts) == in_texts(demo[name][code]["facts"]), code
        for code, terms in TERMS.get(name, {}).items():
            assert in_texts(terms) == in_texts(demo[name][code]["rates"][FIRST_DAY]), code


def test_each_works_on_the_demo_at_once(app: flask.Flask, contract: Contract, document: Document) -> None:
    """As 'Execute' in the interactive documentation sends it."""
    demo = loaded_demo(app, contract)
    _quote_and_reprice(demo)
    refused = []
    for template, method, operation in operations(document):
        if method == "delete" or template.endswith(NEEDS_WHAT_CAME_BEFORE):
            continue
        address, options = next(requests_of(document, template, operation))
        body = options.pop("data", None)
        headers = {**options["headers"], **({"Content-Type": options["content_type"]} if body else {})}
        answer = demo.request(method.upper(), address, body, headers=headers, query_string=options["query_string"])
        if answer.status_code not in (200, 201):
            refused.append((method, address, answer.text))
    assert refused == []


def _quote_and_reprice(demo: Client) -> None:
    """What scripts/start does once the demo is loaded."""
    line = {"product": "brick", "quantity": 500, "tax": "standard", "policy": {"target": "margin", "value": "0.30"}}
    assert demo.post("quotations", {"customer": {"name": "Harbour Garden Trust"}, "lines": [line]}).status_code == 201
    assert demo.post("repricings", {"apply": True}).status_code == 201


def test_every_parameter_has_one(document: Document) -> None:
    for template, method, operation in operations(document):
        for each in operation.get("parameters", ()):
            kind, _, name = each.get("$ref", "").removeprefix("#/components/").partition("/")
            told = document["components"][kind][name] if name else each
            has_one = {"example", "examples"} & {*told, *told["schema"]}
            assert has_one, (template, method, told["name"])
            assert not told.get("required") or {"example", "examples"} & {*told}, (template, method, told["name"])
