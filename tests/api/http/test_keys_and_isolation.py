"""Authorization: every operation is tried with every kind of key, and by another workshop."""

import base64
from dataclasses import replace
from typing import Any

import flask
import pytest

from service.store.engine.database import Database
from service.workflows.workshop import keys
from tests.api.outside import is_problem, leaving_as_it_is, operations, pointers, refused, stored
from tests.api.places import KEYED, PLACES, Ids, Place, named, register_everything
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import Contract

pytestmark = pytest.mark.every_engine_by_night

OPEN_PATHS = {"/health", "/ready", "/metrics"}
OUTSIDE_THE_CONTRACT = {"/", "/openapi.json", "/docs", "/docs/", "/docs/<path:path>"}
MARK = "nobody else's business"


@pytest.fixture(scope="module")
def owner(app: flask.Flask, contract: Contract) -> Client:
    return make_client(app, contract)


@pytest.fixture(scope="module")
def ids(owner: Client) -> Ids:
    """Ids of the owner's quotation and repricing, after registering everything; texts of the owner contain the mark."""
    made = register_everything(owner)
    owner.register("materials/hdpe", builders.material(note=MARK))
    owner.register("products/sheet", builders.measured(name="Sheet", note=MARK))
    return made


def with_scopes(client: Client, database: Database, *scopes: str) -> Client:
    key = keys.create_key(database, client.workshop.workshop_id, "-".join(scopes), frozenset(scopes))
    return replace(client, key=key)


def keyless(client: Client) -> Client:
    return replace(client, headers={"Authorization": ""})


def test_every_operation_is_among_the_places(contract: Contract) -> None:
    there = {(method, template) for method, template, _ in operations(contract.document)}

    assert {(place.method, place.template) for place in PLACES} == there


def test_every_route_needs_a_key_or_is_known_to_be_open(app: flask.Flask, contract: Contract) -> None:
    rules = {rule.rule for rule in app.url_map.iter_rules()}

    open_rules = {rule for rule in rules if not rule.startswith("/v1/")}
    assert open_rules <= OPEN_PATHS | OUTSIDE_THE_CONTRACT
    templates = {rule.replace("<", "{").replace(">", "}") for rule in rules - OUTSIDE_THE_CONTRACT}
    assert templates == set(contract.document["paths"])


@pytest.mark.parametrize("place", PLACES, ids=named)
def test_the_contract_says_which_operations_need_a_key(contract: Contract, place: Place) -> None:
    operation = contract.document["paths"][place.template][place.method.lower()]

    needs_key = operation.get("security", contract.document.get("security")) == [{"key": []}]
    assert needs_key is place.path.startswith("/v1/")


@pytest.mark.parametrize("scheme", ["Bearer ", "bearer ", "Bearer  ", "BEARER    "])
def test_any_spaces_may_stand_between_bearer_and_the_key(client: Client, scheme: str) -> None:
    """RFC 6750, Bearer Token Usage, section 2.1, 2012: "Bearer", one space or more, the token."""
    assert client.get("materials", headers={"Authorization": f"{scheme}{client.key}"}).status_code == 200


def test_any_spaces_may_stand_between_basic_and_the_credentials(client: Client) -> None:
    credentials = base64.b64encode(f"owner:{client.key}".encode()).decode()

    assert client.get("materials", headers={"Authorization": f"Basic   {credentials}"}).status_code == 200


def wrong_headers(key: str, workshop: str) -> list[str]:
    """Invalid Authorization headers, most of them nearly right."""
    secret = key.split("_", 2)[2]
    return [
        "",
        "Bearer",
        "Bearer ",
        "Bearer  ",
        f"Bearer\t{key}",
        f"Bearer{key}",
        "Bearer x",
        f"Basic {key}",
        f"Token {key}",
        key,
        f"Bearer {key}x",
        f"Bearer {key[:-1]}",
        f"Bearer {key} {key}",
        f"Bearer {key}, Bearer {key}",
        f"Bearer pugmill_{workshop}_",
        f"Bearer pugmill_{'0' * 32}_{secret}",
        f"Bearer pugmill_{'z' * 32}_{secret}",
        f"Bearer {'x' * 10_000}",
    ]


@pytest.mark.parametrize("place", KEYED, ids=named)
def test_a_request_without_a_valid_key_is_refused(owner: Client, ids: Ids, place: Place) -> None:
    with leaving_as_it_is(owner):
        for header in wrong_headers(owner.key, owner.workshop.workshop_id.hex):
            response = owner.request(place.method, place.address(ids), place.body, headers={"Authorization": header})
            assert response.status_code == 401, header
            assert is_problem(response)
            assert response.headers["WWW-Authenticate"].startswith("Bearer realm="), header
            assert MARK not in response.text


@pytest.mark.parametrize("place", KEYED, ids=named)
def test_a_key_in_the_query_string_opens_nothing(owner: Client, ids: Ids, place: Place) -> None:
    address = place.address(ids)
    joint = "&" if "?" in address else "?"

    with_keys = f"{address}{joint}key={owner.key}&api_key={owner.key}&access_token={owner.key}"
    response = refused(keyless(owner), place.method, with_keys, place.body, status=401)

    assert "WWW-Authenticate" in response.headers


@pytest.mark.parametrize("place", KEYED, ids=named)
def test_a_revoked_key_opens_nothing(owner: Client, ids: Ids, database: Database, place: Place) -> None:
    revoked = with_scopes(owner, database, "read", "write")
    workshop_id = owner.workshop.workshop_id
    newest = keys.list_keys(database, workshop_id)[-1]
    assert keys.revoke_key(database, workshop_id, newest.key_id)

    response = refused(revoked, place.method, place.address(ids), place.body, status=401)

    assert 'error="invalid_token"' in response.headers["WWW-Authenticate"]


@pytest.mark.parametrize("place", KEYED, ids=named)
def test_a_key_does_only_what_its_scopes_allow(owner: Client, ids: Ids, database: Database, place: Place) -> None:
    reading, writing = with_scopes(owner, database, "read"), with_scopes(owner, database, "write")
    refused_key, needed = (reading, "write") if place.stores else (writing, "read")

    response = refused(refused_key, place.method, place.address(ids), place.body, status=403)

    assert f'scope="{needed}"' in response.headers["WWW-Authenticate"]
    if not place.stores:
        assert reading.request(place.method, place.address(ids), place.body).status_code == 200


def test_a_key_without_any_scope_does_nothing(owner: Client, ids: Ids, database: Database) -> None:
    bare = with_scopes(owner, database)

    for place in KEYED:
        refused(bare, place.method, place.address(ids), place.body, status=403)


@pytest.mark.parametrize("place", KEYED, ids=named)
def test_another_workshop_finds_nothing_and_changes_nothing(
    owner: Client, ids: Ids, stranger: Client, place: Place
) -> None:
    with leaving_as_it_is(owner):
        response = stranger.request(place.method, place.address(ids), place.body)

        assert response.status_code == place.for_stranger, response.text
    assert MARK.encode() not in response.data
    assert owner.workshop.workshop_id.hex.encode() not in response.data
    if response.status_code == 200 and response.is_json and "items" in response.json:
        assert response.json["items"] == []
    if place.for_stranger >= 400:
        assert is_problem(response)


def test_a_foreign_thing_and_an_unknown_thing_have_the_same_answer(owner: Client, ids: Ids, stranger: Client) -> None:
    quotation_id = ids["quotation_id"]
    unknown_id = "0" * 8 + quotation_id[8:]

    foreign = stranger.get(f"quotations/{quotation_id}")
    unknown = stranger.get(f"quotations/{unknown_id}")

    assert foreign.status_code == unknown.status_code == 404
    assert foreign.json["detail"].replace(quotation_id, unknown_id) == unknown.json["detail"]


FOREIGN_REFERENCES = [
    (
        "bill-of-materials-material",
        {"name": "Copy", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "1"}]},
        "/bill_of_materials/0/material",
    ),
    (
        "sub-assembly",
        {"name": "Copy", "bill_of_materials": [{"product": "sheet", "quantity_per_piece": "1"}]},
        "/bill_of_materials/0/product",
    ),
    ("machine", {"name": "Copy", "operations": [{"name": "pressing", "machine": "press"}]}, "/operations/0/machine"),
    ("tool", {"name": "Copy", "operations": [{"name": "pressing", "tool": "mould"}]}, "/operations/0/tool"),
    (
        "labour-grade",
        {
            "name": "Copy",
            "operations": [{"name": "pressing", "labour": [{"labour_grade": "operator", "attendance": "1"}]}],
        },
        "/operations/0/labour/0/labour_grade",
    ),
]


@pytest.mark.parametrize(
    ("body", "pointer"), [each[1:] for each in FOREIGN_REFERENCES], ids=[each[0] for each in FOREIGN_REFERENCES]
)
def test_a_product_cannot_be_made_of_another_workshops_things(
    owner: Client, ids: Ids, stranger: Client, body: Any, pointer: str
) -> None:
    response = refused(stranger, "PUT", "products/copy", body, status=422)

    assert pointers(response) == [pointer]


def test_a_machine_cannot_use_another_workshops_tariff(owner: Client, ids: Ids, stranger: Client) -> None:
    response = refused(stranger, "PUT", "machines/press", builders.machine(), status=422)

    assert pointers(response) == ["/tariff"]


def test_another_workshops_things_cannot_be_quoted_taxed_or_supposed(owner: Client, ids: Ids, stranger: Client) -> None:
    stranger.register("materials/own", builders.material(), **{"2026-01-01": builders.material_rate()})
    stranger.register(
        "products/own", {"name": "Own", "bill_of_materials": [{"material": "own", "quantity_per_piece": "1"}]}
    )
    line = {"product": "own", "quantity": 1, "tax": "vat", "policy": builders.policy()}
    supposed = {"quantity": 1, "rates": {"materials/hdpe": builders.material_rate()}}

    tax = refused(stranger, "POST", "quotations", builders.quotation(lines=[line]), status=422)
    what_if = refused(stranger, "POST", "products/own/cost-sheet", supposed, status=422)
    price = stranger.get("products/own/price-sheet?quantity=1&target=margin&value=0.1&tax=vat")

    assert pointers(tax) == ["/lines/0/tax"]
    assert pointers(what_if) == ["/rates/materials~1hdpe"]
    assert price.status_code == 422
    assert price.json["errors"][0]["parameter"] == "tax"


def test_no_answer_and_no_table_contains_a_key(owner: Client, ids: Ids, database: Database) -> None:
    secret = owner.key.split("_", 2)[2]

    answers = [owner.request(place.method, place.address(ids)) for place in KEYED if place.method == "GET"]

    assert all(secret.encode() not in answer.data and secret not in str(answer.headers) for answer in answers)
    assert secret not in repr(stored(owner))
