"""A copied workshop has the rows that registering it would have stored, and no ids of the original workshop."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from inspect import unwrap
from typing import Any
from uuid import UUID

import flask
import pytest

from tests.api.places import register_everything
from tests.api.repriced import applied, register_shop
from tests.conftest import Client, make_client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.furnishing import UUID_TEXT, Rows, furnishes, rows_of
from tests.workflows.owner import Owner

pytestmark = pytest.mark.every_engine


@furnishes
def register_and_accept(client: Client) -> None:
    """Register a shop with prices in force, an accepted quotation and an issued one."""
    register_shop(client)
    applied(client)
    for steps in (("issue", "accept"), ("issue",)):
        made = client.post("quotations", builders.quotation()).json["id"]
        for step in steps:
            assert client.post(f"quotations/{made}/{step}", {} if step == "accept" else None).status_code == 200


FURNISHERS = [builders.register_workshop, builders.register_shipping, register_everything, register_and_accept]


def furnished(app: flask.Flask, contract: Contract, register: Callable[[Any], Any]) -> Client:
    client = make_client(app, contract)
    register(client)
    return client


def stored(client: Client) -> Rows:
    return rows_of(client.database, client.workshop.workshop_id)


def likened(client: Client) -> Any:
    """The stored rows in a form that equal workshops share: each id is replaced by its rank, instants are removed.

    Ids are ranked by the rows they stand in, and only then by themselves: of one millisecond their order is random.
    """
    rows = stored(client)
    stands_in: dict[str, list[str]] = {}
    for name, found in rows.items():
        for row in found:
            text = " ".join(
                str(value) for column, value in row.items() if column != "tag" and not isinstance(value, datetime)
            )
            for each in set(UUID_TEXT.findall(text)):
                stands_in.setdefault(each, []).append(f"{name} {UUID_TEXT.sub('id', text)}")
    ids = sorted(stands_in, key=lambda each: (sorted(stands_in[each]), each))
    places = {found: f"id {place}" for place, found in enumerate(ids)}

    def like(value: Any) -> str:
        text = "an instant" if isinstance(value, datetime) else str(value)
        return UUID_TEXT.sub(lambda found: places[found[0]], text)

    def row_like(row: dict[str, Any]) -> list[str]:  # a tag also depends on the workshop's id
        return [like(value) for column, value in row.items() if column != "tag"]

    return {name: sorted(map(row_like, found)) for name, found in rows.items()}


@pytest.mark.parametrize("register", FURNISHERS, ids=lambda each: each.__name__)
def test_a_copy_has_what_registering_stores(
    app: flask.Flask, contract: Contract, register: Callable[[Any], Any]
) -> None:
    furnished(app, contract, register)  # later calls copy this one's rows

    copy, registered = (furnished(app, contract, each) for each in (register, unwrap(register)))

    assert likened(copy) == likened(registered)
    assert copy.get("changes?limit=500").json["items"][0]["by"] == "tests"


def test_no_two_copies_share_an_id(app: flask.Flask, contract: Contract) -> None:
    first, second, third = (furnished(app, contract, register_and_accept) for _ in range(3))

    ids = [set(UUID_TEXT.findall(str(stored(each)))) for each in (first, second, third)]

    assert all(len(each) > 30 for each in ids)
    assert not ids[0] & ids[1]
    assert not ids[1] & ids[2]


def test_the_registering_function_returns_the_copy_s_ids(app: flask.Flask, contract: Contract) -> None:
    furnished(app, contract, register_everything)
    client = make_client(app, contract)

    ids = register_everything(client)

    assert client.get(f"quotations/{ids['quotation_id']}").status_code == 200
    assert client.get(f"repricings/{ids['repricing_id']}").status_code == 200


def test_a_copy_is_on_record_as_made_just_now_with_its_own_key(app: flask.Flask, contract: Contract) -> None:
    furnished(app, contract, register_everything)
    client = make_client(app, contract)
    before = datetime.now(UTC)

    register_everything(client)
    found = client.get("changes?limit=500").json["items"]

    assert found[0]["at"][:19] >= (before - timedelta(seconds=1)).isoformat()[:19]
    recorded = [row for row in stored(client)["changes"] if row["action"] != "key_created"]
    assert {row["key_id"] for row in recorded} == {client.actor.key_id}
    created = max(each["change_id"] for each in stored(client)["changes"] if each["action"] == "key_created")
    assert all(row["change_id"] > created for row in recorded)


def test_a_workshop_that_is_not_empty_gets_no_copy(client: Client) -> None:
    client.register("materials/other", builders.material())

    builders.register_workshop(client)

    assert client.get("materials/other").status_code == client.get("products/sheet").status_code == 200


def test_an_owner_s_copy_is_on_record_as_the_owner_s(client: Client, stranger: Client) -> None:
    for each in (stranger, client):
        owner = Owner(database=each.database, workshop_id=each.workshop.workshop_id)
        builders.register_workshop(owner)

    recorded = [row for row in stored(client)["changes"] if row["action"] != "key_created"]
    assert {(row["by"], row["key_id"]) for row in recorded} == {("owner", UUID(int=7))}
    assert owner.revision == len(recorded)
