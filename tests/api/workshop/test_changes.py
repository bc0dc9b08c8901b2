"""The audit trail: who changed what, when, from which state to which; entries cannot be changed or removed."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote
from uuid import UUID

import flask
import pytest
import sqlalchemy as sa

from service.domain.audit import Action
from service.store.engine.database import Database
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from tests.api.outside import at, parameters, refused
from tests.api.repriced import FIRST, LATER, MONDAY, applied, raise_electricity, register_shop
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.days import on_day
from tests.support.feed import FeedServer, day_of, sending, with_rates, xml_of
from tests.support.furnishing import furnishes

pytestmark = pytest.mark.every_engine

RATE = "materials/hdpe/rates/2026-01-01"
FILE = builders.CsvFile("day,base,currency,rate\n2026-11-02,EUR,USD,1.07\n")


def trail(client: Client, query: str = "", limit: int = 500) -> list[Any]:
    """All entries, newest first, from all pages."""
    found = client.get(f"changes?limit={limit}{query}").json
    items = list(found["items"])
    while found["next"]:
        found = client.get(found["next"]).json
        items += found["items"]
    return items


def made(client: Client, *deeds: Callable[[], Any]) -> list[tuple[str, str, Any, Any]]:
    """The entries made by some actions, oldest first: subject, action, before, after."""
    before = len(trail(client))
    for deed in deeds:
        answer = deed()
        assert answer is None or answer.status_code < 300, answer.text
    entries = trail(client)[: -before or None][::-1]
    return [(each["subject"], each["action"], each["before"], each["after"]) for each in entries]


def publish(client: Client, server: FeedServer, days_before: int, dollars: str) -> Any:
    """Refresh from a feed whose file contains only this day."""
    server.answer = sending(xml_of({day_of(days_before): with_rates(USD=dollars)}))
    return client.post("exchange-rates/refresh", {"span": "latest"})


@pytest.fixture
@furnishes
def stocked(client: Client) -> Client:
    """A workshop with a material that has a rate."""
    client.register("materials/hdpe", builders.material(), **{"2026-01-01": builders.material_rate("0.80")})
    return client


@pytest.fixture
@furnishes
def shop(client: Client) -> Client:
    """A workshop with prices in force."""
    register_shop(client)
    applied(client, FIRST)
    return client


class TestWhatIsChanged:
    def test_facts_are_registered_replaced_retired_and_registered_again(self, client: Client) -> None:
        facts = client.put("materials/hdpe", builders.material()).json
        other = {**facts, "note": "washed"}

        found = made(
            client,
            lambda: client.put("materials/hdpe", other),
            lambda: client.delete("materials/hdpe"),
            lambda: client.put("materials/hdpe", facts),
        )

        assert trail(client, "&subject=materials")[-1]["before"] is None
        assert found == [
            ("materials/hdpe", "replaced", facts, other),
            ("materials/hdpe", "retired", other, None),
            ("materials/hdpe", "registered", None, facts),
        ]

    def test_rates_are_registered_replaced_and_withdrawn(self, client: Client) -> None:
        client.put("materials/hdpe", builders.material())

        found = made(
            client,
            lambda: client.put(RATE, builders.material_rate("0.80")),
            lambda: client.put(RATE, builders.material_rate("0.85")),
            lambda: client.delete(RATE),
        )

        assert [(subject, action) for subject, action, _, _ in found] == [
            (RATE, "registered"),
            (RATE, "replaced"),
            (RATE, "withdrawn"),
        ]
        prices = [tuple(each and each["price"]["amount"] for each in told) for _, _, *told in found]
        assert prices == [(None, "0.80"), ("0.80", "0.85"), ("0.85", None)]

    def test_exchange_rates_are_entered_imported_and_withdrawn(self, client: Client) -> None:
        day, rates = "exchange-rates/2026-11-02", {"base": "EUR", "rates": {"USD": "1.1"}}
        imported = {"base": "EUR", "rates": {"USD": "1.07"}}

        found = made(
            client,
            lambda: client.put(day, rates),
            lambda: client.put(day, {**rates, "rates": {"USD": "1.2"}}),
            lambda: client.delete(f"{day}?source=manual"),
            lambda: client.post("exchange-rates/import?source=customs", FILE),
        )

        assert found == [
            (f"{day}/manual", "registered", None, rates),
            (f"{day}/manual", "replaced", rates, {**rates, "rates": {"USD": "1.2"}}),
            (f"{day}/manual", "withdrawn", {**rates, "rates": {"USD": "1.2"}}, None),
            (f"{day}/customs", "imported", None, imported),
        ]

    def test_exchange_rates_are_fetched_held_back_released_confirmed_and_dropped(
        self, client: Client, feed_server: FeedServer
    ) -> None:
        days = {before: f"{day_of(before)}/ECB" for before in range(1, 5)}
        found = made(
            client,
            lambda: publish(client, feed_server, 4, "1.07"),
            lambda: publish(client, feed_server, 3, "9"),
            lambda: publish(client, feed_server, 3, "1.08"),
            lambda: publish(client, feed_server, 2, "9"),
            lambda: publish(client, feed_server, 1, "99"),
            lambda: client.post(f"exchange-rates/{day_of(2)}/confirm", None),
            lambda: client.delete(f"exchange-rates/{day_of(1)}/held"),
        )

        assert [(subject, action) for subject, action, _, _ in found[:2]] == [
            (f"exchange-rates/{days[4]}", "fetched"),
            (f"held-exchange-rates/{days[3]}", "held_back"),
        ]
        # Entries of one action are in the order of their subjects only.
        assert sorted((subject, action) for subject, action, _, _ in found[2:]) == sorted(
            [
                (f"exchange-rates/{days[2]}", "confirmed"),
                (f"exchange-rates/{days[3]}", "fetched"),
                (f"held-exchange-rates/{days[1]}", "dropped"),
                (f"held-exchange-rates/{days[1]}", "held_back"),
                (f"held-exchange-rates/{days[1]}", "held_back"),  # compared with 1.08, later with 9
                (f"held-exchange-rates/{days[2]}", "confirmed"),
                (f"held-exchange-rates/{days[2]}", "held_back"),
                (f"held-exchange-rates/{days[3]}", "released"),
            ]
        )

    def test_prices_are_repriced_and_rolled_back_with_old_and_new_price_and_the_repricing(self, client: Client) -> None:
        register_shop(client)
        with on_day(MONDAY):
            first = applied(client, FIRST)
            raise_electricity(client)
            second = applied(client, MONDAY, rules={"least_move_share": "0"})
            rolled = client.post(f"repricings/{second['id']}/rollback", None)
        assert rolled.status_code == 200

        one = trail(client, f"&subject=listings/sheet-online/price/{MONDAY}")[::-1]

        assert [each["action"] for each in one] == ["repriced", "repriced", "rolled_back"]
        assert [each["change_id"] for each in one[:2]] == [first["id"], second["id"]]
        changes = client.get(f"repricings/{second['id']}/changes").json["items"]
        (told,) = (each for each in changes if each["listing"] == "sheet-online")
        old = {**told["old"]["price"], "repricing": first["id"]}
        new = {**told["new"]["price"], "repricing": second["id"]}
        assert [(each["before"], each["after"]) for each in one] == [(None, old), (old, new), (new, old)]
        every = trail(client, "&action=rolled_back")
        assert {each["subject"] for each in every} == {
            f"listings/{each['listing']}/price/{MONDAY}" for each in changes if each["decision"] == "changed"
        }
        assert len({(each["change_id"], each["at"]) for each in every}) == 1

    def test_rolling_back_a_first_price_leaves_none(self, client: Client) -> None:
        register_shop(client)
        first = applied(client, FIRST)

        found = made(client, lambda: client.post(f"repricings/{first['id']}/rollback", None))

        assert len(found) == 5
        assert all(before["repricing"] == first["id"] and after is None for _, _, before, after in found)

    def test_a_price_for_a_later_day_is_of_that_day_and_ends_on_the_day_of_its_rollback(self, client: Client) -> None:
        register_shop(client)
        with on_day("2026-11-27"):
            applied(client, FIRST)
            raise_electricity(client)
            second = applied(client, MONDAY)
            today = made(client, lambda: client.post("repricings", {"apply": True}))
        with on_day("2026-12-02"):
            client.post(f"repricings/{second['id']}/rollback", None)

        one = trail(client, f"&subject=listings/sheet-online/price/{MONDAY}")[::-1]

        assert today == []
        (told,) = (each for each in second["changes"]["items"] if each["listing"] == "sheet-online")
        new = {**told["new"]["price"], "repricing": second["id"]}
        assert [(each["before"], each["after"]) for each in one] == [
            (None, new),
            (new, {**new, "valid_until": "2026-12-02"}),
        ]
        subjects = {each["subject"] for each in trail(client, "&subject=listings/sheet-online/price")}
        assert subjects == {f"listings/sheet-online/price/{day}" for day in ("2026-11-27", MONDAY)}

    def test_keys_are_created_and_revoked_on_the_command_line_without_their_secret(
        self, client: Client, database: Database
    ) -> None:
        workshop_id = client.workshop.workshop_id
        secret = keys.create_key(database, workshop_id, "till", frozenset({"read"}))
        key_id = keys.list_keys(database, workshop_id)[-1].key_id
        assert keys.revoke_key(database, workshop_id, key_id)
        assert not keys.revoke_key(database, workshop_id, key_id)

        found = trail(client)

        told = {"name": "till", "scopes": ["read"]}
        assert [(each["action"], each["before"], each["after"]) for each in found[:2]] == [
            ("key_revoked", told, None),
            ("key_created", None, told),
        ]
        assert {each["subject"] for each in found[:2]} == {f"keys/{key_id}"}
        assert {(each["by"], each["key_id"]) for each in found} == {("command line", None)}
        assert [each["after"]["name"] for each in found[2:]] == ["tests"]  # the workshop's first key
        assert secret.rpartition("_")[2] not in str(found)

    def test_entries_have_the_key_and_the_time(self, stocked: Client, database: Database) -> None:
        workshop_id = stocked.workshop.workshop_id
        till = replace(stocked, key=keys.create_key(database, workshop_id, "till", frozenset({"read", "write"})))
        started = datetime.now(UTC)
        till.put(RATE, builders.material_rate("0.90"))
        ended = datetime.now(UTC)

        (newest, *_) = trail(stocked)

        assert newest["by"] == "till"
        assert newest["key_id"] == str(keys.list_keys(database, workshop_id)[-1].key_id)
        assert started <= datetime.fromisoformat(newest["at"]) <= ended

    def test_each_entry_begins_where_the_one_before_ended_and_the_last_is_the_present_state(
        self, shop: Client, database: Database, feed_server: FeedServer
    ) -> None:
        """The entries include every kind of action."""
        workshop_id = shop.workshop.workshop_id
        raise_electricity(shop)
        second = applied(shop, MONDAY, rules={"least_move_share": "0"})
        shop.post(f"repricings/{second['id']}/rollback", None)
        raise_electricity(shop, "0.50")
        raise_electricity(shop, on="2027-01-01")
        shop.delete("tariffs/grid/rates/2027-01-01")
        applied(shop, MONDAY, scope={"channel": "fair"})
        shop.put("materials/spare", builders.material())
        shop.delete("materials/spare")
        shop.post("exchange-rates/import?source=customs", FILE)
        for days_before, dollars in ((4, "1.07"), (3, "9"), (3, "1.08"), (2, "9"), (1, "99"), (0, "0.01")):
            publish(shop, feed_server, days_before, dollars)
        shop.post(f"exchange-rates/{day_of(2)}/confirm", None)
        shop.delete(f"exchange-rates/{day_of(1)}/held")
        keys.create_key(database, workshop_id, "lost", frozenset({"read"}))
        keys.revoke_key(database, workshop_id, keys.list_keys(database, workshop_id)[-1].key_id)
        slower = {"units_started": "20", "operations": [{"operation": "pressing", "minutes": "920"}]}
        records = [builders.batch_record(code=f"B-{number}", **slower) for number in range(5)]
        assert shop.post("batch-records", {"records": records}).status_code == 200
        cycle = {"fact": "cycle_minutes", "item": "pressing"}
        assert shop.post("products/sheet/learning", {"facts": [cycle], "apply": True}).status_code == 200

        entries = trail(shop)[::-1]

        assert {each["action"] for each in entries} == set(Action)
        state: dict[str, Any] = {}
        for each in entries:
            if each["action"] == Action.LEARNT:
                continue  # the reason of other entries, not a state
            assert state.get(each["subject"]) == each["before"] != each["after"]
            state[each["subject"]] = each["after"]
        left = {subject: after for subject, after in state.items() if after is not None}
        assert {each for each in left if each.startswith("batch-records/")} == {
            f"batch-records/B-{n}" for n in range(5)
        }
        assert {each: left[each] for each in left if not each.startswith("batch-records/")} == present(shop, database)


def present(client: Client, database: Database) -> dict[str, Any]:
    """The present state of everything that a workshop has, by subject."""
    found: dict[str, Any] = {}
    for collection in client.app.extensions["pugmill.api"].spec.to_dict()["paths"]:
        name = collection.removeprefix("/v1/").removesuffix("/{code}")
        if (
            collection != f"/v1/{name}/{{code}}" or name == "batch-records"
        ):  # of a record more is answered than was sent
            continue
        for item in client.get(f"{name}?limit=500").json["items"]:
            code = item.pop("code")
            found[f"{name}/{code}"] = item
            rates = at(client, f"/v1/{name}/{code}/rates?limit=500")
            for rate in rates.json["items"] if rates.status_code == 200 else ():
                found[f"{name}/{code}/rates/{rate.pop('valid_from')}"] = rate
    for path in ("exchange-rates", "held-exchange-rates"):
        for item in client.get("exchange-rates/held" if "held" in path else path).json["items"]:
            day = item.get("day", item)
            told = item if "held" in path else {"base": day["base"], "rates": day["rates"]}
            found[f"{path}/{day['published_on']}/{day['source']}"] = told
    found |= prices_set(client)
    for key in keys.list_keys(database, client.workshop.workshop_id):
        if key.revoked_at is None:
            found[f"keys/{key.key_id}"] = {"name": key.name, "scopes": sorted(key.scopes)}
    return found


def prices_set(client: Client) -> dict[str, Any]:
    """The price of each listing and first day; of those of one day the last counts."""
    found = {}
    for code in (each["code"] for each in client.get("listings").json["items"]):
        for entry in client.get(f"listings/{code}/price-history?as_of={LATER}&limit=500").json["items"][::-1]:
            if entry["rolled_back_at"] is None:
                told = {**entry["price"], "repricing": entry["repricing"]}
                found[f"listings/{code}/price/{entry['valid_from']}"] = told
    return found


class TestWhatChangesNothing:
    def test_repeating_the_same_makes_no_entry(self, shop: Client, feed_server: FeedServer) -> None:
        shop.put("exchange-rates/2026-11-02", {"base": "EUR", "rates": {"USD": "1.1"}})
        shop.post("exchange-rates/import?source=customs", FILE)
        publish(shop, feed_server, 1, "1.07")

        found = made(
            shop,
            lambda: shop.put("materials/resin", builders.material(name="Resin")),
            lambda: shop.put("materials/resin/rates/2026-01-01", builders.material_rate("4.00")),
            lambda: shop.put("exchange-rates/2026-11-02", {"base": "EUR", "rates": {"USD": "1.10"}}),
            lambda: shop.post("exchange-rates/import?source=customs", FILE),
            lambda: publish(shop, feed_server, 1, "1.07"),
            lambda: shop.post("repricings", {"as_of": FIRST, "apply": True}),
            lambda: shop.post("repricings", {"as_of": FIRST, "apply": True, "include_unchanged": True}),
        )

        assert found == []

    def test_a_preview_makes_no_entry(self, shop: Client) -> None:
        rates = {"tariffs/grid": builders.tariff_rate("0.60", "0.40")}

        assert made(shop, lambda: shop.post("repricings", {"as_of": FIRST, "rates": rates})) == []

    def test_a_refused_request_makes_no_entry(self, shop: Client) -> None:
        stale = {"headers": {"If-Match": '"0"'}}

        refused(shop, "DELETE", "materials/hdpe", status=409)
        refused(shop, "PUT", "materials/hdpe", builders.material(unit="g"), status=422)
        refused(shop, "PUT", RATE, builders.material_rate("9"), status=412, **stale)
        refused(shop, "POST", "repricings", {"as_of": MONDAY, "apply": True}, status=412, **stale)

    def test_a_change_whose_entry_cannot_be_stored_is_not_made(self, stocked: Client, database: Database) -> None:
        def fail(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
            if statement.startswith("INSERT INTO changes"):
                raise sa.exc.OperationalError(statement, None, Exception("no room"))

        sa.event.listen(database.engine, "before_cursor_execute", fail)
        try:
            refused(stocked, "PUT", RATE, builders.material_rate("9"), status=503)
        finally:
            sa.event.remove(database.engine, "before_cursor_execute", fail)


class TestReading:
    def test_another_workshop_sees_nothing_of_it(self, stocked: Client, stranger: Client) -> None:
        assert {each["subject"].partition("/")[0] for each in trail(stranger)} == {"keys"}
        assert trail(stranger, "&subject=materials") == []
        assert len(trail(stocked, "&subject=materials")) == 2

    def test_needs_a_key_that_may_read(self, stocked: Client, database: Database) -> None:
        workshop_id = stocked.workshop.workshop_id
        writing = replace(stocked, key=keys.create_key(database, workshop_id, "w", frozenset({"write"})))
        reading = replace(stocked, key=keys.create_key(database, workshop_id, "r", frozenset({"read"})))

        refused(writing, "GET", "changes", status=403)
        assert len(trail(reading)) == 5

    @pytest.mark.parametrize("limit", [1, 2, 3, 500])
    def test_in_pages_is_newest_first_and_within_an_action_backwards_by_subject(self, shop: Client, limit: int) -> None:
        found = trail(shop, limit=limit)

        order = [(UUID(each["change_id"]), each["subject"]) for each in found]
        assert order == sorted(set(order), reverse=True)
        # Not by `at`: the clock may be set back while a shop is made.
        assert (found[0]["action"], found[-1]["action"]) == ("repriced", "key_created")

    def test_pages_are_stable_while_entries_are_added_and_keep_the_filters(self, shop: Client) -> None:
        before = trail(shop, "&subject=listings&action=repriced&by=tests")
        page = shop.get("changes?limit=2&subject=listings&action=repriced&by=tests").json
        seen = page["items"]
        raised = iter(("0.4", "0.5", "0.6", "0.7"))
        while page["next"]:
            raise_electricity(shop, next(raised))
            applied(shop, MONDAY)
            page = shop.get(page["next"]).json
            seen += page["items"]

        assert seen == before
        assert len(trail(shop, "&subject=listings&action=repriced&by=tests")) > len(before)

    def test_by_subject_finds_it_and_what_is_below_it_but_no_other_with_the_same_beginning(
        self, client: Client
    ) -> None:
        for code in ("a", "ab", "a-b", "a.b", "a_b", "axb", "a0", "A"):
            client.register(f"materials/{code}", builders.material(), **{"2026-01-01": builders.material_rate()})

        def subjects(subject: str) -> set[str]:
            return {each["subject"] for each in trail(client, f"&subject={quote(subject, safe='')}")}

        assert subjects("materials/a") == {"materials/a", "materials/a/rates/2026-01-01"}
        assert subjects("materials/a/") == subjects("materials/a")
        assert subjects("materials/a_b") == {"materials/a_b", "materials/a_b/rates/2026-01-01"}
        assert len(subjects("materials")) == 16
        for none in ("materials/a%", "%", "_aterials", "materials\\", "material", "'; DROP TABLE changes", "é", "/"):
            assert subjects(none) == set()

    def test_can_be_filtered_by_key_and_by_action(self, shop: Client) -> None:
        every = trail(shop)

        assert trail(shop, "&by=command line") == [each for each in every if each["by"] == "command line"]
        assert trail(shop, "&by=test%") == []
        for action in Action:
            assert trail(shop, f"&action={action}") == [each for each in every if each["action"] == action]

    def test_since_and_until_the_same_instant_leave_no_gap_and_no_overlap(self, stocked: Client) -> None:
        every = trail(stocked)
        moment = every[1]["at"]

        assert trail(stocked, f"&since={moment}") == every[:2]
        assert trail(stocked, f"&until={moment}") == every[2:]
        elsewhere = datetime.fromisoformat(moment) + timedelta(hours=2)
        told = quote(f"{elsewhere:%Y-%m-%dT%H:%M:%S.%f}+02:00")
        assert trail(stocked, f"&since={told}") == every[:2]

    def test_since_and_until_use_days_of_the_workshop_and_include_both(
        self, app: flask.Flask, contract: Contract, database: Database
    ) -> None:
        for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):  # 25 hours apart, so never on the same day
            made = new_workshop(name="Far", address="", currency="EUR", locale="en", time_zone=zone)
            far = Client(app=app, contract=contract, key=keys.create_workshop(database, made, "first"), workshop=made)
            today = made.today()
            yesterday, tomorrow = today - timedelta(days=1), today + timedelta(days=1)

            assert [len(trail(far, f"&since={day}")) for day in (yesterday, today, tomorrow)] == [1, 1, 0]
            assert [len(trail(far, f"&until={day}")) for day in (yesterday, today, tomorrow)] == [0, 1, 1]

    @pytest.mark.parametrize("name", ["since", "until"])
    @pytest.mark.parametrize(
        "told",
        [
            "yesterday",
            "2026-13-01",
            "2026-11-25T09:30:00",
            "2026-11-25T09:30:00+01:00",
            "2026-11-25T25:00:00Z",
            "0001-01-01",
            "20261125",
            "",
        ],
    )
    def test_an_invalid_moment_is_refused_by_name(self, client: Client, name: str, told: str) -> None:
        """A plus in a query means a space, so an offset must be written as %2B."""
        response = refused(client, "GET", f"changes?{name}={told}", status=422)

        assert parameters(response) == [name]

    @pytest.mark.parametrize("query", ["action=eaten", "action=", "subject=", "subject=%00", "by=", "by=%20", "x=1"])
    def test_any_other_invalid_parameter_is_refused_by_name(self, client: Client, query: str) -> None:
        response = refused(client, "GET", f"changes?{query}", status=422)

        assert parameters(response) == [query.partition("=")[0]]

    @pytest.mark.parametrize("method", ["PUT", "POST", "DELETE", "PATCH"])
    def test_is_the_only_operation(self, stocked: Client, method: str) -> None:
        before = trail(stocked)

        assert at(stocked, "/v1/changes", method).status_code == 405
        assert trail(stocked) == before
