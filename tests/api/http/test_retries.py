"""A repeated request is executed once (draft-ietf-httpapi-idempotency-key-header-07, The Idempotency-Key HTTP Header
Field, 2025, sections 2.1 to 2.7; from memory)."""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from typing import Any

import flask
import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st
from jsonschema_rs import Draft202012Validator
from sqlalchemy import event

from service.api.http.problems import ProblemError
from service.api.http.retries import sent_key
from service.store.engine.database import Database
from service.store.engine.tables import idempotency_keys, quotations, repricings
from service.workflows.workshop import keys, retries
from tests.api.outside import in_form, leaving_as_it_is, operations, over_wsgi, refused
from tests.api.places import KEYED, Ids, named
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.furnishing import furnishes
from tests.support.writes import everything_of

pytestmark = pytest.mark.every_engine

KEY = {"Idempotency-Key": '"7f3a-1"'}
QUOTATION = builders.quotation(quoted_on="2026-11-25")
APPLY = {"as_of": "2026-11-25", "apply": True}


@pytest.fixture
@furnishes
def shop(client: Client) -> Client:
    """A workshop with something to quote and something on sale."""
    builders.register_workshop(client)
    client.register("listings/sheet-online", builders.listing())
    return client


def count(client: Client, table: sa.Table) -> int:
    database: Database = client.app.extensions["pugmill.database"]
    with database.reading() as connection:
        query = sa.select(sa.func.count()).select_from(table).where(table.c.workshop_id == client.workshop.workshop_id)
        return int(connection.execute(query).scalar_one())


def aged(client: Client, age: timedelta) -> None:
    """Make the workshop's idempotency keys older."""
    database: Database = client.app.extensions["pugmill.database"]
    with database.writing() as connection:
        ours = idempotency_keys.c.workshop_id == client.workshop.workshop_id
        (at,) = set(connection.execute(sa.select(idempotency_keys.c.claimed_at).where(ours)).scalars())
        connection.execute(idempotency_keys.update().where(ours).values(claimed_at=at - age))


@contextmanager
def meanwhile(database: Database, act: Callable[[], Any]) -> Iterator[list[Any]]:
    """Call `act` while a quotation is being computed, before anything is locked; yields a list for its result."""
    told: list[Any] = []
    begun = []

    def look(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if "registrations" in statement and not begun:
            begun.append(statement)
            with ThreadPoolExecutor(
                1
            ) as elsewhere:  # in the same thread, the request would share the context of the outer one
                told.append(elsewhere.submit(act).result())

    event.listen(database.engine, "before_cursor_execute", look)
    try:
        yield told
    finally:
        event.remove(database.engine, "before_cursor_execute", look)


def is_key(app: flask.Flask, text: str) -> bool:
    """Whether the service accepts the text as a key."""
    with app.test_request_context(environ_overrides={"HTTP_IDEMPOTENCY_KEY": text}):
        try:
            return sent_key() is not None
        except ProblemError:
            return False


def keys_in(contract: Contract) -> dict[str, Any]:
    """The contract's schema of the key, by operation."""
    return {
        f"{method} {template}": parameter["schema"]
        for method, template, operation in operations(contract.document)
        for parameter in operation["parameters"]
        if parameter["name"] == "Idempotency-Key"
    }


def is_key_in(contract: Contract, text: str) -> bool:
    """Whether the contract accepts the text as a key; fails if operations differ."""
    (found,) = {Draft202012Validator(schema).is_valid(text) for schema in keys_in(contract).values()}
    return found


def creations(shop: Client) -> dict[str, tuple[str, Any, sa.Table]]:
    """Every operation that creates something: its address, the body and the table."""
    issued = shop.post("quotations", builders.quotation()).json["id"]
    shop.post(f"quotations/{issued}/issue", None)
    return {
        "quotation": ("quotations", QUOTATION, quotations),
        "revision": (f"quotations/{issued}/revise", {}, quotations),
        "repricing": ("repricings", APPLY, repricings),
    }


TAKING = {
    named(place): place
    for place in KEYED
    if place.method == "POST" and place.stores and not place.template.startswith("/v1/exchange-rates")
}
"""Operations that take a key."""
NASTY = [
    *('"x"', '"a b"', '" "', '"~"', '"!#[]}"', '"a\\\\b"', '"a\\"b"', '"\\\\\\""', '"7f3a-1/+=,;"', f'"{"x" * 253}"'),
    *("", '"', '""', "x", '"x', 'x"', '"x""', '"x"y', '"a" "b"', '"a", "b"', '"a";x=1', f'"{"x" * 254}"'),
    *('"a\\b"', '"\\"', '"\\\\\\"', '"a\tb"', '"a\x00b"', '"\x1f"', '"\x7f"', '"é"', '"\xa0"', "'x'", "“x”"),
]
"""Valid keys, and texts that are nearly valid."""

EACH = pytest.mark.parametrize("kind", ["quotation", "revision", "repricing"])


class TestTheKey:
    @EACH
    def test_is_required_for_every_creation(self, shop: Client, kind: str) -> None:
        path, body, _ = creations(shop)[kind]
        with leaving_as_it_is(shop):
            answer = shop.app.test_client().post(
                f"/v1/{path}", json=body, headers={"Authorization": f"Bearer {shop.key}"}
            )

            assert (answer.status_code, answer.content_type) == (400, "application/problem+json")
            assert "Idempotency-Key" in answer.json["detail"]

    @pytest.mark.parametrize(
        "key",
        ["7f3a", '"', '""', '"7f3a', '7f3a"', '"a" "b"', '"a", "b"', '"a\\b"', '"é"', '"a";x=1', f'"{"x" * 254}"'],
    )
    def test_must_be_a_text_in_quotes(self, shop: Client, key: str) -> None:
        refused(shop, "POST", "quotations", QUOTATION, status=400, headers={"Idempotency-Key": key})

    @pytest.mark.parametrize("name", TAKING)
    @pytest.mark.parametrize("key", ["7f3a", '"7f3a', '""'])
    def test_that_is_malformed_is_refused_by_every_operation_that_takes_one(
        self, workshop: Client, ids: Ids, name: str, key: str
    ) -> None:
        place = TAKING[name]

        answer = refused(workshop, "POST", place.address(ids), place.body, status=400, headers={"Idempotency-Key": key})

        assert answer.json["type"].endswith("idempotency-key")
        assert "Idempotency-Key must be in double quotes" in answer.json["detail"]

    @pytest.mark.parametrize("form", ["application/json", "text/csv", "application/x-ndjson"])
    def test_that_is_malformed_is_refused_by_a_preview_too(self, workshop: Client, form: str) -> None:
        """The client would send the same key to apply the repricing."""
        preview = {"as_of": "2026-11-25"}
        address = in_form("repricings", form)

        malformed = refused(workshop, "POST", address, preview, status=400, headers={"Idempotency-Key": "7f3a"})
        assert malformed.json["type"].endswith("idempotency-key")
        assert workshop.post(address, preview, headers={"Idempotency-Key": '"7f3a"'}).status_code == 200

    def test_is_in_the_contract_for_every_operation_that_takes_one(self, contract: Contract) -> None:
        assert keys_in(contract).keys() == TAKING.keys()

    @pytest.mark.parametrize("text", NASTY)
    def test_is_valid_for_the_service_exactly_if_valid_by_the_contract(
        self, app: flask.Flask, contract: Contract, text: str
    ) -> None:
        assert is_key(app, text) is is_key_in(contract, text)

    @given(st.text(st.sampled_from('"\\ a~!#[]}\t\x1f\x7f\xe9\xa0,;'), max_size=8), st.booleans())
    def test_is_valid_for_the_service_exactly_if_valid_by_the_contract_for_any_text(
        self, app: flask.Flask, contract: Contract, text: str, is_quoted: bool
    ) -> None:
        sent = f'"{text}"' if is_quoted else text.strip(" \t")  # a header's value neither begins nor ends with a blank

        assert is_key(app, sent) is is_key_in(contract, sent)

    @pytest.mark.parametrize("key", ['"x"', f'"{"x" * 253}"', '"a b"', '"a\\"b\\\\c"'])
    def test_may_be_any_valid_text(self, shop: Client, key: str) -> None:
        assert shop.post("quotations", QUOTATION, headers={"Idempotency-Key": key}).status_code == 201

    def test_is_not_needed_for_a_preview(self, shop: Client) -> None:
        preview = shop.app.test_client().post(
            "/v1/repricings", json={"as_of": "2026-11-25"}, headers={"Authorization": f"Bearer {shop.key}"}
        )

        assert preview.status_code == 200
        assert count(shop, idempotency_keys) == 0

    def test_is_not_needed_if_repeating_the_request_changes_nothing(self, shop: Client) -> None:
        made = shop.post("quotations", QUOTATION).json["id"]

        for _ in range(2):
            issued = over_wsgi(shop, "POST", f"/v1/quotations/{made}/issue")
            assert issued.status_code == 200, issued.text


class TestARepeatedRequest:
    @EACH
    def test_is_executed_once_and_gets_the_same_answer(self, shop: Client, kind: str) -> None:
        path, body, table = creations(shop)[kind]
        before = count(shop, table)

        first, second, third = (shop.post(path, body, headers=KEY) for _ in range(3))

        assert first.status_code == second.status_code == third.status_code == 201
        assert first.data == second.data == third.data
        for name in ("Location", "Content-Type", "ETag", "Link"):
            assert first.headers.get(name) == second.headers.get(name)
        assert count(shop, table) == before + 1

    def test_gets_the_first_answer_even_after_later_changes(self, shop: Client) -> None:
        first = shop.post("quotations", QUOTATION, headers=KEY)
        shop.post(f"quotations/{first.json['id']}/issue", None)

        assert shop.post("quotations", QUOTATION, headers=KEY).data == first.data

    def test_with_the_precondition_of_a_preview_is_not_stale(self, shop: Client) -> None:
        tag = shop.post("repricings", {"as_of": "2026-11-25"}).headers["ETag"]
        sent = {**KEY, "If-Match": tag}

        first = shop.post("repricings", APPLY, headers=sent)

        assert first.status_code == 201
        assert shop.post("repricings", APPLY, headers=sent).data == first.data

    @pytest.mark.parametrize("form", ["text/csv", "application/x-ndjson"])
    def test_gets_a_long_answer_written_again_from_the_stored_changes(self, shop: Client, form: str) -> None:
        first, second = (shop.post(in_form("repricings", form), APPLY, headers=KEY) for _ in range(2))

        assert first.data == second.data
        assert first.data
        assert (second.status_code, second.headers["Location"]) == (201, first.headers["Location"])
        assert second.content_type == first.content_type
        assert count(shop, repricings) == 1

    @pytest.mark.parametrize("form", ["application/json", "text/csv", "application/x-ndjson"])
    def test_that_found_nothing_to_change_gets_the_same_answer(self, shop: Client, form: str) -> None:
        shop.post("repricings", APPLY)
        first, second = (shop.post(in_form("repricings", form), APPLY, headers=KEY) for _ in range(2))

        assert (first.status_code, second.status_code) == (200, 200)
        assert first.data == second.data

    def test_of_an_operation_that_needs_no_key_gets_the_same_answer_too(self, shop: Client) -> None:
        applied = shop.post("repricings", APPLY).json["id"]

        first, second = (shop.post(f"repricings/{applied}/rollback", None, headers=KEY) for _ in range(2))

        assert (first.status_code, second.status_code) == (200, 200)
        assert first.data == second.data
        assert shop.post(f"repricings/{applied}/rollback", None).status_code == 409

    def test_with_another_api_key_of_the_workshop_counts_as_the_same(self, shop: Client, database: Database) -> None:
        other = replace(
            shop, key=keys.create_key(database, shop.workshop.workshop_id, "other", frozenset({"read", "write"}))
        )

        first = shop.post("quotations", QUOTATION, headers=KEY)

        assert other.post("quotations", QUOTATION, headers=KEY).data == first.data

    def test_by_another_workshop_counts_as_another(self, shop: Client, stranger: Client) -> None:
        builders.register_workshop(stranger)
        ours = shop.post("quotations", QUOTATION, headers=KEY)

        theirs = stranger.post("quotations", QUOTATION, headers=KEY)

        assert theirs.status_code == 201
        assert theirs.json["id"] != ours.json["id"]

    def test_is_executed_again_a_day_later(self, shop: Client) -> None:
        first = shop.post("quotations", QUOTATION, headers=KEY)
        aged(shop, retries.KEPT + timedelta(seconds=1))

        second = shop.post("quotations", QUOTATION, headers=KEY)

        assert second.json["id"] != first.json["id"]
        assert count(shop, idempotency_keys) == 1


class TestAnotherRequest:
    @pytest.mark.parametrize("body", [builders.quotation(quoted_on="2026-11-24"), "unreadable"])
    def test_with_the_same_key_is_refused(self, shop: Client, body: Any) -> None:
        shop.post("quotations", QUOTATION, headers=KEY)

        status = 400 if body == "unreadable" else 422
        refused(shop, "POST", "quotations", body, status=status, headers=KEY)

    def test_at_another_address_is_refused(self, shop: Client) -> None:
        made = shop.post("quotations", QUOTATION, headers=KEY).json["id"]

        problem = refused(shop, "POST", f"quotations/{made}/issue", status=422, headers=KEY)

        assert problem.json["type"].endswith("idempotency-key-used-otherwise")

    def test_with_another_query_is_refused(self, shop: Client) -> None:
        shop.post("repricings?limit=1", APPLY, headers=KEY)

        problem = refused(shop, "POST", "repricings?limit=2", APPLY, status=422, headers=KEY)

        assert problem.json["type"].endswith("idempotency-key-used-otherwise")

    def test_may_use_the_key_of_a_refused_one(self, shop: Client) -> None:
        refused(shop, "POST", "quotations", builders.quotation(lines=[]), status=422, headers=KEY)
        unknown = builders.quotation()
        unknown["lines"][0]["product"] = "unheard-of"
        refused(shop, "POST", "quotations", unknown, status=422, headers=KEY)

        assert shop.post("quotations", QUOTATION, headers=KEY).status_code == 201


class TestConcurrentRequests:
    def test_ten_with_one_key_are_executed_once(self, shop: Client) -> None:
        with ThreadPoolExecutor(10) as threads:
            answers = list(threads.map(lambda _: shop.post("quotations", QUOTATION, headers=KEY), range(10)))

        told = {each.status_code for each in answers}
        assert 201 in told
        assert told <= {201, 409, 503}
        assert len({each.data for each in answers if each.status_code == 201}) == 1
        assert all(each.headers["Retry-After"] for each in answers if each.status_code != 201)
        assert count(shop, quotations) == 1

    def test_the_second_is_asked_to_wait_while_the_first_is_running(self, shop: Client, database: Database) -> None:
        with meanwhile(database, lambda: shop.post("quotations", QUOTATION, headers=KEY)) as told:
            first = shop.post("quotations", QUOTATION, headers=KEY)

        (second,) = told
        assert first.status_code == 201
        assert second.status_code == 409
        assert second.json["type"].endswith("still-running")
        assert 1 <= int(second.headers["Retry-After"]) <= 10
        assert count(shop, quotations) == 1


class PowerCutError(BaseException):
    """Ends a request as a power cut would."""


def cut_off_at(database: Database, wanted: str) -> Any:
    """Abort before a statement, as if the process had ended there; returns the function that undoes this."""

    def stop(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
        if wanted in statement:
            raise PowerCutError

    event.listen(database.engine, "before_cursor_execute", stop)
    return lambda: event.remove(database.engine, "before_cursor_execute", stop)


class TestAfterACrash:
    @pytest.mark.parametrize("moment", ["INSERT INTO quotations", "UPDATE idempotency_keys"])
    def test_nothing_is_half_done_and_a_repeated_request_is_executed_once(
        self, shop: Client, database: Database, app: flask.Flask, monkeypatch: pytest.MonkeyPatch, moment: str
    ) -> None:
        monkeypatch.setattr("service.api.http.retries._release", lambda _: None)  # the process is gone
        over = cut_off_at(database, moment)
        with pytest.raises(PowerCutError):
            shop.post("quotations", QUOTATION, headers=KEY)
        over()
        assert count(shop, quotations) == 0

        refused(shop, "POST", "quotations", QUOTATION, status=409, headers=KEY)
        aged(shop, retries.CUT_OFF)
        made = shop.post("quotations", QUOTATION, headers=KEY)

        assert made.status_code == 201
        assert shop.post("quotations", QUOTATION, headers=KEY).data == made.data
        assert count(shop, quotations) == 1

    def test_a_request_that_fails_frees_its_key(self, shop: Client, database: Database) -> None:
        over = cut_off_at(database, "INSERT INTO quotations")
        before = everything_of(database, shop.workshop.workshop_id)
        with pytest.raises(PowerCutError):
            shop.post("quotations", QUOTATION, headers=KEY)
        over()

        assert everything_of(database, shop.workshop.workshop_id) == before
        assert shop.post("quotations", QUOTATION, headers=KEY).status_code == 201

    def test_of_two_concurrent_executions_only_one_is_stored(self, shop: Client, database: Database) -> None:
        """The first one is taken for interrupted but is still running, and finishes too late."""

        def overtake() -> Any:
            aged(shop, retries.CUT_OFF)
            return shop.post("quotations", QUOTATION, headers=KEY)

        with meanwhile(database, overtake) as answers:
            late = shop.post("quotations", QUOTATION, headers=KEY)

        (done,) = answers
        assert (done.status_code, late.status_code) == (201, 409)
        assert count(shop, quotations) == 1
        assert shop.post("quotations", QUOTATION, headers=KEY).data == done.data
