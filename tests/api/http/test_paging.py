"""Lists in pages: complete, stable while rows are added and removed; a cursor is valid for its list only (RFC 8288)."""

import base64
import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import flask
import pytest

from service import clock
from service.api.http.operations import current
from service.api.http.paging import cursor_for
from service.workflows.workshop import keys
from tests.api.outside import at, parameters, refused
from tests.api.places import KEYED, register_everything
from tests.conftest import Client, make_client
from tests.support.builders import listing, material, material_rate, quotation, register_workshop
from tests.support.contract import Contract

pytestmark = pytest.mark.every_engine

DAYS = [f"2026-{month:02}-15" for month in range(1, 13)]
CODES = ["A", "B", "Z", "a", "a-b", "a.b", "a_b", "ab", "b1", "b10", "b2", "z"]


def add_materials(client: Client) -> list[str]:
    for code in reversed(CODES):
        client.register(f"materials/{code}", material(name=f"called {code}"))
    return CODES


def add_rates(client: Client) -> list[str]:
    client.register("materials/rated", material())
    for day in reversed(DAYS):
        client.put(f"materials/rated/rates/{day}", material_rate())
    return DAYS


def add_exchange_rates(client: Client) -> list[str]:
    for day in DAYS:
        client.put(f"exchange-rates/{day}", {"base": "EUR", "rates": {"USD": "1.1"}})
    return DAYS[::-1]


def add_quotations(client: Client) -> list[str]:
    register_workshop(client)
    return [client.post("quotations", quotation(quoted_on="2026-11-25")).json["id"] for _ in range(12)]


def add_changes(client: Client) -> list[str]:
    (first,) = client.get("changes").json["items"]  # the key itself
    for code in CODES[1:]:
        client.register(f"materials/{code}", material(name=f"called {code}"))
    return [*(f"materials/{code}" for code in reversed(CODES[1:])), first["subject"]]


Add = Callable[[Client], list[str]]
LISTS: dict[str, tuple[str, str, Add]] = {
    "materials": ("materials", "code", add_materials),
    "rates": ("materials/rated/rates", "valid_from", add_rates),
    "exchange rates": ("exchange-rates", "published_on", add_exchange_rates),
    "quotations": ("quotations", "id", add_quotations),
    "changes": ("changes", "subject", add_changes),
}

every_list = pytest.mark.parametrize(("path", "key", "add"), LISTS.values(), ids=LISTS.keys())


def pages(client: Client, path: str, limit: int) -> list[Any]:
    """All pages, by following the links."""
    found = [client.get(f"{path}?limit={limit}")]
    while found[-1].json["next"] is not None:
        assert len(found) < 100
        found.append(client.get(found[-1].json["next"]))
    return found


def keys_of(answers: list[Any], key: str) -> list[str]:
    return [item[key] for answer in answers for item in answer.json["items"]]


@every_list
@pytest.mark.parametrize("limit", [1, 5, 11, 12, 13, 500])
def test_the_pages_together_are_the_list(client: Client, path: str, key: str, add: Add, limit: int) -> None:
    expected = add(client)

    found = pages(client, path, limit)

    assert sorted(keys_of(found, key)) == sorted(expected)
    assert len(found) == -(-len(expected) // limit)
    assert all(len(page.json["items"]) <= limit for page in found)
    if path != "materials":  # the order of codes depends on the engine's collation
        assert keys_of(found, key) == expected


@every_list
def test_the_link_and_the_member_have_the_same_address(client: Client, path: str, key: str, add: Add) -> None:
    add(client)

    found = pages(client, path, 5)

    for page in found[:-1]:
        assert page.headers["Link"] == f'<{page.json["next"]}>; rel="next"'
        assert page.json["next"].startswith(f"/v1/{path}?")
    assert "Link" not in found[-1].headers


def test_an_empty_list_is_an_empty_page(client: Client) -> None:
    for path in ("materials", "exchange-rates", "quotations", "products"):
        assert client.get(path).json == {"items": [], "next": None}


def test_the_order_is_the_same_whatever_the_page(client: Client) -> None:
    add_materials(client)

    orders = {tuple(keys_of(pages(client, "materials", limit), "code")) for limit in (1, 2, 3, 7, 12, 100)}

    assert len(orders) == 1


def test_rows_added_between_pages_neither_repeat_nor_hide_others(client: Client) -> None:
    """Rows inserted before, at or after the cursor do not matter: each original row appears exactly once."""
    add_materials(client)
    found = [client.get("materials?limit=3")]
    number = 0
    while found[-1].json["next"] is not None:
        for code in (f"0{number}", f"a{number}", f"zz{number}"):
            client.register(f"materials/{code}", material())
        number += 1
        found.append(client.get(found[-1].json["next"]))
        assert number < 50

    seen = keys_of(found, "code")
    assert len(seen) == len(set(seen))
    assert set(CODES) <= set(seen)


def test_exchange_rates_added_between_pages_neither_repeat_nor_hide_others(client: Client) -> None:
    days = add_exchange_rates(client)
    first = client.get("exchange-rates?limit=5")
    for day in ("2027-01-15", "2026-08-16", "2025-12-15"):
        client.put(f"exchange-rates/{day}", {"base": "EUR", "rates": {"USD": "1.1"}})

    rest = follow(client, first)

    seen = keys_of([first, *rest], "published_on")
    assert len(seen) == len(set(seen))
    assert set(days) <= set(seen)
    assert "2027-01-15" not in seen
    assert "2025-12-15" in seen


def follow(client: Client, page: Any) -> list[Any]:
    """All pages after this one."""
    found = []
    while page.json["next"] is not None:
        page = client.get(page.json["next"])
        found.append(page)
    return found


def test_a_retired_row_disappears_and_its_cursor_still_works(client: Client) -> None:
    add_materials(client)
    first = client.get("materials?limit=3")
    *_, last = keys_of([first], "code")

    at(client, f"/v1/materials/{last}", "DELETE")

    rest = keys_of(follow(client, first), "code")
    assert last not in rest
    assert sorted([*keys_of([first], "code"), *rest]) == sorted(CODES)
    assert last not in keys_of(pages(client, "materials", 3), "code")


@every_list
def test_a_changed_cursor_is_refused(client: Client, path: str, key: str, add: Add) -> None:
    add(client)
    following = client.get(f"{path}?limit=5").json["next"]
    address, _, cursor = following.partition("cursor=")

    changed = [
        cursor[:-1],
        cursor[1:],
        cursor + "A",
        cursor + cursor,
        cursor.swapcase(),
        "A" * len(cursor),
        "0",
        "W10",
        "bnVsbA",
        "%00",
        "%ff",
        "%E2%82%AC",
        "..%2F..",
        "'%3B%20DROP%20TABLE",
        "",
    ]
    changed += [
        cursor[:place] + ("A" if cursor[place] != "A" else "B") + cursor[place + 1 :]
        for place in range(len(cursor) - 1)
    ]
    for each in changed:
        response = client.get(f"{address}cursor={each}")
        assert response.status_code == 422, each
        assert parameters(response) == ["cursor"]


@every_list
def test_another_workshops_cursor_is_refused(
    app: flask.Flask, contract: Contract, client: Client, path: str, key: str, add: Add
) -> None:
    add(client)
    other = make_client(app, contract)
    add(other)

    foreign = client.get(f"{path}?limit=5").json["next"]

    assert parameters(refused(other, "GET", foreign, status=422)) == ["cursor"]


def lists_of_the_contract(client: Client) -> list[tuple[str, str, Any]]:
    """Method, address and body of every operation that takes a cursor, of a workshop with something in every list."""
    ids, paths = register_everything(client), client.get("/openapi.json").json["paths"]
    return [
        (place.method, place.address(ids), {"as_of": "2026-11-25"} if place.method == "POST" else None)
        for place in KEYED
        for parameter in paths[place.template][place.method.lower()].get("parameters", [])
        if parameter.get("$ref", "").endswith("/Cursor")
    ]


NO_KEYS: list[Any] = [
    [],
    "text",
    None,
    7,
    {},
    [None],
    [7],
    [["nested"]],
    ["\0"],
    ["\ud800"],
    ["a", "b", "c", "d"],
    ["", ""],
    ["2026-13-45", "ECB"],
    ["no id", "no-code"],
    [{"a": []}],
]


def test_a_forged_cursor_is_refused_by_every_list(app: flask.Flask, client: Client) -> None:
    """By whoever knows how a cursor is made, but not the workshop's secret; and by whoever knew that, too."""
    access = keys.open_with(client.database, client.key)
    lists = lists_of_the_contract(client)
    assert len(lists) > 25

    for method, address, body in lists:
        path, _, rest = address.partition("?")
        bound = f"{client.workshop.workshop_id} {path} ".encode()
        for key in NO_KEYS:
            told = json.dumps(key).encode()
            seal = hashlib.sha256(bound + told).digest()[:16]
            forged = [base64.urlsafe_b64encode(seal + told).decode().rstrip("=")] if key in ([], "text") else []
            if isinstance(key, list):
                with app.test_request_context(path):
                    current().access = access
                    forged.append(cursor_for(key, path))
            for cursor in forged:
                answer = client.request(method, f"{path}?{rest}&cursor={cursor}".replace("?&", "?"), body)
                assert (answer.status_code, parameters(answer)) == (422, ["cursor"]), (address, key)


def test_what_is_sealed_for_a_list_is_its_cursor_whoever_of_the_workshop_asks(client: Client) -> None:
    add_materials(client)
    following = client.get("materials?limit=3").json["next"]

    another = keys.create_key(client.database, client.workshop.workshop_id, "another", frozenset({"read"}))
    answer = client.get(following, headers={"Authorization": f"Bearer {another}"})

    assert answer.json == client.get(following).json


def test_what_was_made_last_is_the_newest_also_if_the_clock_was_set_back(client: Client) -> None:
    """Or if a machine whose clock is behind made it."""
    register_workshop(client)
    client.register("listings/sheet-online", listing())

    def act(price: str) -> tuple[str, str]:
        client.put("materials/hdpe/rates/2026-01-01", material_rate(price))
        quoted = client.post("quotations", quotation(quoted_on="2026-11-25"))
        applied = client.post("repricings", {"as_of": "2026-11-25", "apply": True})
        assert (quoted.status_code, applied.status_code) == (201, 201)
        return quoted.json["id"], applied.headers["Location"].rpartition("/")[2]

    made = [act("1.01")]
    with clock.set_to(clock.now() - timedelta(days=400)):
        made.append(act("2.02"))
        made.append(act("3.03"))
    made.append(act("4.04"))

    quotations = [each["id"] for each in client.get("quotations").json["items"]]
    repricings = [each["id"] for each in client.get("repricings").json["items"]]
    history = [each["repricing"] for each in client.get("listings/sheet-online/price-history").json["items"]]
    changed = client.get("changes?subject=materials/hdpe/rates&limit=500").json["items"]
    assert quotations == [quoted for quoted, _ in made]
    assert repricings == [repriced for _, repriced in made][::-1]
    assert history == repricings
    assert [each["after"]["price"]["amount"] for each in changed][:4] == ["4.04", "3.03", "2.02", "1.01"]


def test_another_lists_cursor_is_refused(client: Client) -> None:
    add_materials(client)
    for code in CODES:
        client.register(f"labour-grades/{code}", {"name": code})
    cursor = client.get("materials?limit=3").json["next"].partition("?")[2]

    assert parameters(refused(client, "GET", f"labour-grades?{cursor}", status=422)) == ["cursor"]


def test_the_limit_may_change_between_pages(client: Client) -> None:
    add_materials(client)
    first = client.get("materials?limit=3")
    cursor = first.json["next"].partition("cursor=")[2]

    rest = client.get(f"materials?limit=500&cursor={cursor}")

    assert len(rest.json["items"]) == len(CODES) - 3


@pytest.mark.parametrize("limit", ["0", "-1", "501", "1.0", "1e1", "", "abc", "%D9%A1", "01", "+1", "9" * 5000])
def test_an_invalid_limit_is_refused(workshop: Client, limit: str) -> None:
    assert parameters(refused(workshop, "GET", f"materials?limit={limit}", status=422)) == ["limit"]


def test_the_default_page_has_a_hundred_entries(client: Client) -> None:
    for number in range(101):
        client.register(f"labour-grades/g{number:03}", {"name": "Grade"})

    first = client.get("labour-grades")

    assert len(first.json["items"]) == 100
    assert keys_of(follow(client, first), "code") == ["g100"]
