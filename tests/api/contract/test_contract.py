"""The contract is valid, complete and equal to the committed one; the interactive docs need no other host."""

import json
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from urllib.parse import parse_qsl, urljoin

import flask
import pytest
import yaml
from jsonschema_rs import Draft202012, Draft202012Validator, Registry
from openapi_spec_validator import validate

from service.api.operating.documentation import contract as as_yaml
from service.cli.contract import CONTRACT
from tests.api.outside import operations
from tests.api.places import PLACES, Place, named
from tests.support.contract import Contract, spelt_out

Document = dict[str, Any]


@pytest.fixture(scope="module")
def committed() -> Document:
    """The committed contract."""
    loaded: Document = yaml.safe_load(CONTRACT.read_text())
    return loaded


@pytest.fixture(scope="module")
def document(committed: Document) -> Document:
    """The committed contract with the shared parts of operations expanded where they are used."""
    return spelt_out(committed)


@pytest.fixture(scope="module")
def registry(document: Document) -> Registry:
    """The contract, for schemas that refer to it; made once, as it is long."""
    return Registry([("contract:", document)], draft=Draft202012)


def everything(node: Any, path: str = "#") -> Iterator[tuple[str, dict[str, Any]]]:
    """Every object of the document, with its path."""
    if isinstance(node, dict):
        yield path, node
        for name, child in node.items():
            yield from everything(child, f"{path}/{name}")
    elif isinstance(node, list):
        for place, child in enumerate(node):
            yield from everything(child, f"{path}/{place}")


def resolved(document: Document, node: dict[str, Any]) -> dict[str, Any]:
    """The target of a reference."""
    while "$ref" in node:
        target: Any = document
        for step in node["$ref"].removeprefix("#/").split("/"):
            target = target[step.replace("~1", "/").replace("~0", "~")]
        node = target
    return node


def open_at(document: Document, schema: dict[str, Any], where: str) -> list[str]:
    """The places in a schema where objects may have members that it does not name."""
    schema, found = resolved(document, schema), []
    if "properties" in schema and schema.get("additionalProperties") is not False:
        found.append(where)
    for name, member in schema.get("properties", {}).items():
        found += open_at(document, member, f"{where}/{name}")
    for name in ("items", "additionalProperties"):
        if isinstance(schema.get(name), dict):
            found += open_at(document, schema[name], f"{where}/{name}")
    for each in (*schema.get("anyOf", ()), *schema.get("allOf", ()), *schema.get("oneOf", ())):
        found += open_at(document, each, where)
    return found


class TestDocument:
    def test_it_is_valid_openapi_3_1(self, committed: Document) -> None:
        validate(committed)

        assert committed["openapi"].startswith("3.1.")

    def test_what_is_committed_is_what_is_served(self, app: flask.Flask, committed: Document) -> None:
        served = app.test_client().get("/openapi.json")

        assert served.status_code == 200
        assert served.content_type == "application/json"
        assert served.json == committed

    def test_the_committed_text_equals_the_text_written_by_the_code(self, app: flask.Flask) -> None:
        assert CONTRACT.read_text() == as_yaml(app.extensions["pugmill.api"])

    def test_operation_ids_are_unique_and_valid_names_of_functions(self, document: Document) -> None:
        ids = [operation["operationId"] for _, _, operation in operations(document)]

        assert len(ids) == len(set(ids)) > 60
        assert all(re.fullmatch(r"[a-z][A-Za-z]+", each) for each in ids)

    def test_every_operation_says_what_it_does_and_when_one_needs_it(self, document: Document) -> None:
        groups = {tag["name"]: tag["description"] for tag in document["tags"]}
        for method, path, operation in operations(document):
            assert operation["summary"].endswith("."), (method, path)
            assert operation["description"].endswith("."), (method, path)
            assert [groups[tag].endswith(".") for tag in operation["tags"]] == [True], (method, path)
            assert any(status.startswith("4") for status in operation["responses"]), (method, path)

    def test_it_says_where_to_start_and_whom_to_ask(self, document: Document) -> None:
        told = document["info"]["description"]

        assert "**Start here.**" in told
        for name, _, address in re.findall(r"`((GET|POST) (/v1/[^`]+))`", told):
            template = address.replace("/draft/", "/{quotation_id}/")
            assert name.partition(" ")[0].lower() in document["paths"][template], name
        assert document["info"]["contact"]
        assert document["info"]["license"]

    def test_every_parameter_header_and_response_is_described(self, document: Document) -> None:
        for method, path, operation in operations(document):
            for parameter in operation["parameters"]:
                assert resolved(document, parameter).get("description"), (method, path, parameter)
            for status, response in operation["responses"].items():
                response = resolved(document, response)  # noqa: PLW2901
                assert response["description"], (method, path, status)
                for name, header in response.get("headers", {}).items():
                    assert resolved(document, header).get("description"), (method, path, name)

    def test_every_schema_and_every_member_is_described(self, document: Document) -> None:
        for name, schema in document["components"]["schemas"].items():
            assert schema.get("description"), name
            for member, told in schema.get("properties", {}).items():
                assert told.get("description"), f"{name}.{member}"

    def test_every_shared_part_is_used(self, committed: Document) -> None:
        used = {node["$ref"] for _, node in everything(committed) if isinstance(node.get("$ref"), str)}

        for kind, parts in committed["components"].items():
            if kind != "securitySchemes":
                assert {f"#/components/{kind}/{name}" for name in parts} <= used, kind

    def test_every_path_parameter_is_in_its_path(self, document: Document) -> None:
        for method, path, operation in operations(document):
            named = {parameter["name"] for parameter in operation["parameters"] if parameter["in"] == "path"}
            assert named == set(re.findall(r"{(\w+)}", path)), (method, path)

    @pytest.mark.parametrize("place", [place for place in PLACES if "?" in place.path], ids=named)
    def test_every_accepted_parameter_is_in_the_contract(self, document: Document, place: Place) -> None:
        operation = document["paths"][place.template][place.method.lower()]
        told = {parameter["name"] for parameter in operation.get("parameters", []) if parameter["in"] == "query"}

        taken = {name for name, _ in parse_qsl(place.path.partition("?")[2])}
        assert taken <= told

    def test_every_list_has_parameters_for_pages(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if operation["operationId"].startswith("list"):
                told = {parameter["name"] for parameter in operation["parameters"] if parameter["in"] == "query"}
                assert told >= {"limit", "cursor"}, (method, path)

    def test_bodies_refuse_members_they_do_not_know(self, document: Document) -> None:
        tried = 0
        for method, path, operation in operations(document):
            if "requestBody" in operation:
                for media in operation["requestBody"]["content"].values():
                    assert not open_at(document, media["schema"], f"{method} {path}")
                    tried += 1
        assert tried > 15

    def test_answers_have_no_members_that_the_contract_does_not_name(self, document: Document) -> None:
        """All tests check answers against the contract, so an additional member makes them fail."""
        tried = 0
        for method, path, operation in operations(document):
            for status, response in operation["responses"].items():
                media = response.get("content", {}).get("application/json") if status.startswith("2") else None
                if media is not None:
                    assert not open_at(document, media["schema"], f"{method} {path} {status}")
                    tried += 1
        assert tried > 100


class TestErrors:
    def test_every_error_is_a_problem_document(self, document: Document) -> None:
        for method, path, operation in operations(document):
            for status, response in operation["responses"].items():
                media = set(resolved(document, response).get("content", {}))
                if status >= "400" and (path, status) != ("/ready", "503"):
                    assert media == {"application/problem+json"}, (method, path, status)
                if status in ("204", "304"):
                    assert media == set(), (method, path, status)

    def test_every_operation_with_a_key_lists_the_errors_of_keys(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if path.startswith("/v1/"):
                assert {"401", "403", "503"} <= set(operation["responses"]), (method, path)

    def test_every_operation_with_a_body_lists_the_errors_of_bodies(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if "requestBody" in operation:
                assert {"400", "413", "415", "422"} <= set(operation["responses"]), (method, path)
                media = "text/csv" if path.endswith("/import") else "application/json"
                also = {"text/csv"} if operation["operationId"] == "recordBatches" else set()
                assert set(operation["requestBody"]["content"]) == {media, *also}
                may_lack_it = operation["operationId"] in ("issueQuotation", "completeQuotation")
                assert operation["requestBody"]["required"] is not may_lack_it

    def test_every_thing_that_may_be_missing_lists_404(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if "{" in path and method in ("GET", "DELETE"):
                assert "404" in operation["responses"], (method, path)

    def test_every_conditional_operation_lists_the_statuses_of_conditions(self, document: Document) -> None:
        tried = 0
        for method, path, operation in operations(document):
            headers = {parameter["name"] for parameter in operation["parameters"] if parameter["in"] == "header"}
            if "If-Match" in headers:
                assert "412" in operation["responses"], (method, path)
                tried += 1
            if "If-None-Match" in headers and method == "GET":
                assert "304" in operation["responses"], (method, path)
                assert "ETag" in operation["responses"]["200"]["headers"], (method, path)
                tried += 1
        assert tried > 40

    def test_every_operation_that_changes_a_state_takes_its_tag(self, document: Document) -> None:
        makes_or_takes_over = {"createQuotation", "importExchangeRates", "recordBatches", "refreshExchangeRates"}
        for place in (each for each in PLACES if each.stores):
            operation = document["paths"][place.template][place.method.lower()]
            told = operation.get("parameters", [])
            headers = {parameter["name"] for parameter in told if parameter["in"] == "header"}
            assert ("If-Match" in headers) is (operation["operationId"] not in makes_or_takes_over), named(place)
            assert ("If-None-Match" in headers) is (place.method == "PUT"), named(place)

    def test_every_read_with_a_key_is_conditional(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if method == "GET" and path.startswith("/v1/"):
                headers = {parameter["name"] for parameter in operation["parameters"] if parameter["in"] == "header"}
                assert "If-None-Match" in headers, path
                assert {"304", "412"} <= set(operation["responses"]), path

    def test_every_creation_takes_an_idempotency_key(self, document: Document) -> None:
        tried = 0
        for method, path, operation in operations(document):
            if method == "POST" and "201" in operation["responses"]:
                assert "Idempotency-Key" in {parameter["name"] for parameter in operation["parameters"]}, path
                assert {"400", "409", "422"} <= set(operation["responses"]), path
                tried += 1
        assert tried == 5

    def test_every_creation_has_a_location(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if "201" in operation["responses"]:
                assert "Location" in operation["responses"]["201"]["headers"], (method, path)


class TestExamples:
    def examples(self, document: Document) -> Iterator[tuple[str, Any, Any]]:
        """Every example: its path, its value and its schema."""
        for path, node in everything(document):
            if isinstance(node.get("schema"), dict):
                found = [node["example"]] if "example" in node else []
                found += [resolved(document, each)["value"] for each in node.get("examples", {}).values()]
                yield from ((path, example, node["schema"]) for example in found)
            elif isinstance(node.get("examples"), list):
                yield from ((path, example, node) for example in node["examples"])

    def test_every_body_that_can_be_sent_has_an_example(self, document: Document) -> None:
        for method, path, operation in operations(document):
            if "requestBody" in operation:
                for media in operation["requestBody"]["content"].values():
                    schema = resolved(document, media["schema"])
                    assert {"example", "examples"} & (set(media) | set(schema)), (method, path)

    def test_every_example_is_valid(self, document: Document, registry: Registry) -> None:
        tried = 0
        for where, example, schema in self.examples(document):
            found = validator(registry, schema).iter_errors(example)
            errors = [f"{error.instance_path}: {error.message}" for error in found]
            assert not errors, (where, errors)
            tried += 1
        assert tried >= 18

    def test_amounts_in_examples_are_decimals_as_the_service_writes_them(self, document: Document) -> None:
        for where, example, _ in self.examples(document):
            for path, node in everything(example):
                if set(node) == {"amount", "currency"}:
                    assert re.fullmatch(r"-?[0-9]+(\.[0-9]+)?", node["amount"]), (where, path)


def validator(registry: Registry, schema: Any) -> Draft202012Validator:
    """A validator for a schema of the contract."""
    return Draft202012Validator(_absolute(schema), registry=registry)


def _absolute(schema: Any) -> Any:
    """The schema with absolute references, without examples."""
    if isinstance(schema, list):
        return [_absolute(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    return {
        name: f"contract:{value}" if name == "$ref" else _absolute(value)
        for name, value in schema.items()
        if name not in ("example", "examples")
    }


class _Addresses(HTMLParser):
    """Collects the addresses that a page fetches by itself, and its scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.scripts: list[str] = []
        self._is_script = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._is_script = tag == "script"
        for name, value in attrs:
            if name in ("src", "href", "srcset", "data", "action", "poster") and value and tag != "a":
                self.found.append(value)

    def handle_data(self, data: str) -> None:
        if self._is_script:
            self.scripts.append(data)


@pytest.fixture(scope="module")
def page(app: flask.Flask) -> _Addresses:
    answer = app.test_client().get("/docs/")
    assert answer.status_code == 200
    assert answer.mimetype == "text/html"
    page = _Addresses()
    page.feed(answer.text)
    return page


class TestDocs:
    @pytest.mark.parametrize("address", ["/", "/docs"])
    def test_an_address_leads_to_the_page(self, app: flask.Flask, address: str) -> None:
        answer = app.test_client().get(address)

        assert answer.status_code in (200, 301, 302, 307, 308)
        if answer.status_code != 200:
            assert answer.headers["Location"] == "/docs/"

    def test_everything_the_page_fetches_is_served_here(self, app: flask.Flask, page: _Addresses) -> None:
        assert len(page.found) >= 4
        for address in page.found:
            assert not re.match(r"[a-z]+:|//", address), address
            with app.test_client().get(urljoin("/docs/", address)) as answer:
                assert answer.status_code == 200, address
                assert len(answer.data) > 100

    def test_the_page_names_no_other_host(self, page: _Addresses) -> None:
        script = "".join(page.scripts)

        assert "://" not in re.sub(r"//[^\n]*\n", "", script)
        assert '"url": "/openapi.json"' in script
        assert '"validatorUrl": null' in script

    def test_the_assets_fetch_nothing_from_elsewhere(self, app: flask.Flask, page: _Addresses) -> None:
        """Style sheets can load fonts and sheets, scripts can load scripts; links that a reader clicks do not count."""
        loads = re.compile(
            rb"""@import\s|url\(\s*['"]?(?:https?:)?//|importScripts\(|(?:fetch|open)\(\s*['"](?:GET['"],\s*['"])?https?://"""
            rb"""|\.src\s*=\s*['"]https?://|sendBeacon\(\s*['"]https?://"""
        )

        for address in page.found:
            with app.test_client().get(urljoin("/docs/", address)) as answer:
                assert not loads.search(answer.data), address


def test_the_validator_finds_a_wrong_example(document: Document, registry: Registry) -> None:
    wrong = json.loads('{"amount": 1.5, "currency": "eur"}')

    assert list(validator(registry, document["components"]["schemas"]["Money"]).iter_errors(wrong))


def test_answers_are_checked_against_the_committed_contract(contract: Contract, document: Document) -> None:
    assert contract.document == document
