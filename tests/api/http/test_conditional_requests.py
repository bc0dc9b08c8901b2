"""Conditional requests: an unseen change is not overwritten, and an unchanged state is not sent again
(RFC 9110, HTTP Semantics, sections 8.8.3 and 13, 2022)."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import flask
import pytest

from service import clock
from tests.api.outside import in_form, is_problem, leaving_as_it_is, over_wsgi, refused
from tests.api.places import KEYED, Ids, Place, ids_of, named, register_everything
from tests.conftest import Client, make_client
from tests.support.builders import listing, material, material_rate, register_workshop
from tests.support.contract import Contract

pytestmark = pytest.mark.every_engine


@dataclass(frozen=True, slots=True, kw_only=True)
class Resource:
    """An address and three states for it."""

    path: str
    first: Any
    second: Any
    third: Any
    is_retired_by_delete: bool = True


RESOURCES = {
    "facts": Resource(
        path="materials/hdpe", first=material(), second=material(note="black"), third=material(note="white")
    ),
    "rate": Resource(
        path="materials/base/rates/2026-01-01",
        first=material_rate("0.80"),
        second=material_rate("0.90"),
        third=material_rate("1.00"),
    ),
    "exchange rates": Resource(
        path="exchange-rates/2026-01-01",
        first={"base": "EUR", "rates": {"USD": "1.10"}},
        second={"base": "EUR", "rates": {"USD": "1.20"}},
        third={"base": "EUR", "rates": {"USD": "1.30"}},
    ),
}

every_resource = pytest.mark.parametrize("resource", RESOURCES.values(), ids=RESOURCES.keys())
retired_by_delete = pytest.mark.parametrize(
    "resource",
    [each for each in RESOURCES.values() if each.is_retired_by_delete],
    ids=[name for name, each in RESOURCES.items() if each.is_retired_by_delete],
)


def make(client: Client, resource: Resource) -> str:
    """Store the first state; returns its entity tag."""
    client.register("materials/base", material())
    response = client.put(resource.path, resource.first)
    assert response.status_code == 201
    tag: str = response.headers["ETag"]
    return tag


class TestEntityTags:
    @every_resource
    def test_a_tag_is_strong_and_the_same_for_every_method(self, client: Client, resource: Resource) -> None:
        tag = make(client, resource)

        assert tag.startswith('"')
        assert tag.endswith('"')
        assert client.get(resource.path).headers["ETag"] == tag
        assert client.request("HEAD", resource.path).headers["ETag"] == tag

    @every_resource
    def test_a_tag_stays_while_the_state_stays(self, client: Client, resource: Resource) -> None:
        tag = make(client, resource)
        client.register("materials/other", material())

        assert client.put(resource.path, resource.first).headers["ETag"] == tag
        assert client.get(resource.path).headers["ETag"] == tag

    @every_resource
    def test_a_new_state_has_a_tag_that_was_never_used_before(self, client: Client, resource: Resource) -> None:
        first = make(client, resource)
        states = (resource.second, resource.first, resource.third)

        tags = [client.put(resource.path, state).headers["ETag"] for state in states]

        assert len({first, *tags}) == 4

    @every_resource
    def test_a_put_answers_with_what_is_stored(self, client: Client, resource: Resource) -> None:
        make(client, resource)

        for state in (resource.second, resource.second, resource.third):
            put = client.put(resource.path, state)
            got = client.get(resource.path)
            assert (put.json, put.headers["ETag"]) == (got.json, got.headers["ETag"])

    @pytest.mark.parametrize("again", ["0.10", "0.1000", 0.1])
    def test_a_put_of_the_same_figure_in_other_digits_answers_with_what_is_stored(
        self, client: Client, again: Any
    ) -> None:
        client.register("materials/hdpe", material(unit="l", mass_kg_per_unit="0.1"))

        put = client.put("materials/hdpe", material(unit="l", mass_kg_per_unit=again))
        got = client.get("materials/hdpe")

        assert (put.json, put.headers["ETag"]) == (got.json, got.headers["ETag"])


class TestReading:
    @every_resource
    @pytest.mark.parametrize("form", ["{tag}", "W/{tag}", '"other", {tag}', "*", '"other",W/{tag} '])
    def test_a_known_state_is_not_sent_again(self, client: Client, resource: Resource, form: str) -> None:
        tag = make(client, resource)

        for method in ("GET", "HEAD"):
            response = client.request(method, resource.path, headers={"If-None-Match": form.format(tag=tag)})
            assert response.status_code == 304
            assert response.headers["ETag"] == tag
            assert response.data == b""

    @every_resource
    def test_a_changed_state_is_sent(self, client: Client, resource: Resource) -> None:
        tag = make(client, resource)
        client.put(resource.path, resource.second)

        response = client.get(resource.path, headers={"If-None-Match": tag})

        assert response.status_code == 200
        assert response.headers["ETag"] != tag

    @every_resource
    @pytest.mark.parametrize("form", ["{tag}", "*", '"other", {tag}'])
    def test_if_match_with_a_matching_tag_reads(self, client: Client, resource: Resource, form: str) -> None:
        tag = make(client, resource)

        response = client.get(resource.path, headers={"If-Match": form.format(tag=tag)})

        assert response.status_code == 200

    @every_resource
    @pytest.mark.parametrize("form", ['"other"', "W/{tag}"])
    def test_if_match_without_a_matching_tag_is_a_problem(self, client: Client, resource: Resource, form: str) -> None:
        tag = make(client, resource)

        refused(client, "GET", resource.path, status=412, headers={"If-Match": form.format(tag=tag)})

    def test_an_unknown_thing_is_not_found_whatever_the_condition(self, client: Client) -> None:
        for condition in ({"If-None-Match": "*"}, {"If-None-Match": '"1"'}):
            refused(client, "GET", "materials/unknown", status=404, headers=condition)


class TestWriting:
    @every_resource
    @pytest.mark.parametrize("form", ["{tag}", "*", '"other", {tag}'])
    def test_if_match_with_a_matching_tag_writes(self, client: Client, resource: Resource, form: str) -> None:
        tag = make(client, resource)

        response = client.put(resource.path, resource.second, headers={"If-Match": form.format(tag=tag)})

        assert response.status_code == 200

    @every_resource
    @pytest.mark.parametrize("form", ['"other"', "W/{tag}", '"other", W/{tag}', "garbage", "W/"])
    def test_a_stale_weak_or_malformed_tag_writes_nothing(self, client: Client, resource: Resource, form: str) -> None:
        tag = make(client, resource)
        sent = form.format(tag=tag)

        refused(client, "PUT", resource.path, resource.second, status=412, headers={"If-Match": sent})

    @every_resource
    def test_an_empty_condition_writes_nothing(self, client: Client, resource: Resource) -> None:
        make(client, resource)
        with leaving_as_it_is(client):
            response = over_wsgi(client, "DELETE", f"/v1/{resource.path}", HTTP_IF_MATCH="")

            assert response.status_code in (400, 405, 412)
            assert is_problem(response)

    @every_resource
    def test_an_unknown_thing_matches_no_tag(self, client: Client, resource: Resource) -> None:
        client.register("materials/base", material())

        for condition in ("*", '"1"'):
            refused(client, "PUT", resource.path, resource.first, status=412, headers={"If-Match": condition})

    @every_resource
    def test_a_star_creates_and_never_replaces(self, client: Client, resource: Resource) -> None:
        client.register("materials/base", material())
        only_new = {"If-None-Match": "*"}

        created = client.put(resource.path, resource.first, headers=only_new)

        assert created.status_code == 201
        refused(client, "PUT", resource.path, resource.second, status=412, headers=only_new)
        refused(client, "PUT", resource.path, resource.first, status=412, headers=only_new)

    @every_resource
    def test_of_two_writers_from_the_same_state_the_second_is_refused(self, client: Client, resource: Resource) -> None:
        seen = {"If-Match": make(client, resource)}

        first = client.put(resource.path, resource.second, headers=seen)
        refused(client, "PUT", resource.path, resource.third, status=412, headers=seen)
        again = client.put(resource.path, resource.third, headers={"If-Match": first.headers["ETag"]})

        assert (first.status_code, again.status_code) == (200, 200)
        assert client.get(resource.path).headers["ETag"] == again.headers["ETag"]

    @every_resource
    def test_a_plain_put_needs_no_condition(self, client: Client, resource: Resource) -> None:
        make(client, resource)

        assert client.put(resource.path, resource.second).status_code == 200

    @retired_by_delete
    def test_only_the_seen_state_is_deleted(self, client: Client, resource: Resource) -> None:
        tag = make(client, resource)

        for condition in ('"other"', f"W/{tag}"):
            refused(client, "DELETE", resource.path, status=412, headers={"If-Match": condition})
        retired = client.app.test_client().delete(
            f"/v1/{resource.path}", headers={"Authorization": f"Bearer {client.key}", "If-Match": tag}
        )

        assert retired.status_code == 204
        assert client.get(resource.path).status_code == 404

    def test_a_retired_thing_counts_as_new(self, client: Client) -> None:
        client.register("materials/hdpe", material())
        client.app.test_client().delete("/v1/materials/hdpe", headers={"Authorization": f"Bearer {client.key}"})

        response = client.put("materials/hdpe", material(), headers={"If-None-Match": "*"})

        assert response.status_code == 201

    def test_a_condition_depends_on_the_state_of_the_thing_and_not_of_the_workshop(self, client: Client) -> None:
        client.register("materials/hdpe", material())
        tag = client.get("materials/hdpe").headers["ETag"]
        client.register("materials/pp", material())

        response = client.put("materials/hdpe", material(note="black"), headers={"If-Match": tag})

        assert response.status_code == 200


class TestSheets:
    question = "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25"

    def test_a_sheet_is_not_sent_again_while_nothing_has_changed(self, client: Client) -> None:
        register_workshop(client)
        first = client.get(self.question)

        again = client.get(self.question, headers={"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 304
        assert again.headers["ETag"] == first.headers["ETag"]
        assert client.get(self.question).data == first.data

    @pytest.mark.parametrize(
        ("path", "body"),
        [
            ("materials/hdpe/rates/2026-02-01", material_rate("0.95")),
            (
                "products/sheet",
                {"name": "Sheet", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "1"}]},
            ),
            ("overheads/insurance", {"name": "Insurance", "base": "piece"}),
        ],
        ids=["a rate", "the product", "a pool"],
    )
    def test_a_sheet_is_sent_again_once_something_it_depends_on_has_changed(
        self, client: Client, path: str, body: Any
    ) -> None:
        register_workshop(client)
        first = client.get(self.question)
        client.put(path, body)
        client.put(
            "overheads/insurance/rates/2026-01-01",
            {"amount_per_month": {"amount": "9", "currency": "EUR"}, "base_per_month": "9"},
        )

        again = client.get(self.question, headers={"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 200
        assert again.json != first.json
        assert again.headers["ETag"] != first.headers["ETag"]

    def test_withdrawing_a_rate_restores_the_previous_sheet(self, client: Client) -> None:
        register_workshop(client)
        first = client.get(self.question).json
        client.put("materials/hdpe/rates/2026-02-01", material_rate("0.95"))
        assert client.get(self.question).json != first

        client.app.test_client().delete(
            "/v1/materials/hdpe/rates/2026-02-01", headers={"Authorization": f"Bearer {client.key}"}
        )

        assert client.get(self.question).json == first

    def test_exchange_rates_change_a_sheet_too(self, client: Client) -> None:
        register_workshop(client)
        client.put("materials/hdpe/rates/2026-02-01", {"price": {"amount": "1", "currency": "USD"}})
        client.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.10"}})
        first = client.get(self.question)
        client.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.20"}})

        again = client.get(self.question, headers={"If-None-Match": first.headers["ETag"]})

        assert again.status_code == 200
        assert again.json != first.json

    def test_a_sheet_depends_on_its_day_and_its_batch(self, client: Client) -> None:
        register_workshop(client)
        client.put("materials/hdpe/rates/2026-06-01", material_rate("0.95"))

        before = client.get("products/sheet/cost-sheet?quantity=20&as_of=2026-05-31")
        after = client.get("products/sheet/cost-sheet?quantity=20&as_of=2026-06-01")
        larger = client.get("products/sheet/cost-sheet?quantity=21&as_of=2026-05-31")

        assert before.json["subtotals"] != after.json["subtotals"]
        assert before.json["subtotals"] != larger.json["subtotals"]

    def test_if_match_reads_a_sheet_or_is_a_problem(self, client: Client) -> None:
        register_workshop(client)
        tag = client.get(self.question).headers["ETag"]

        for condition in ("*", tag):
            assert client.get(self.question, headers={"If-Match": condition}).status_code == 200
        refused(client, "GET", self.question, status=412, headers={"If-Match": '"other"'})


class TestMidnight:
    """Midnight in the workshop's time zone, which is far east of UTC."""

    LAST_MOMENT = datetime(2026, 12, 10, 10, 59, 59, 999999, UTC)
    MIDNIGHT = datetime(2026, 12, 10, 11, tzinfo=UTC)

    @pytest.fixture
    def client(self, app: flask.Flask, contract: Contract) -> Client:
        """A workshop in Auckland with a rate that rises on 11 December 2026."""
        made = make_client(app, contract, time_zone="Pacific/Auckland")
        register_workshop(made)
        made.register("listings/sheet", listing())
        made.put("materials/hdpe/rates/2026-12-11", material_rate("9"))
        return made

    @pytest.mark.parametrize(
        "question",
        [
            "products/sheet/cost-sheet?quantity=20",
            "products/sheet/lead-time?quantity=20",
            "listings/sheet/price-sheet",
            "price-list",
            "capacity",
            "rate-card",
        ],
    )
    def test_changes_answers_for_today(self, client: Client, question: str) -> None:
        with clock.set_to(self.LAST_MOMENT):
            told = client.get(question)
            seen = {"If-None-Match": told.headers["ETag"]}
            assert client.get(question).data == told.data
            assert client.get(question, headers=seen).status_code == 304

        with clock.set_to(self.MIDNIGHT):
            again, unseen = client.get(question), client.get(question, headers=seen)

        assert b"2026-12-10" in told.data
        assert told.data != again.data == unseen.data
        assert b"2026-12-11" in again.data
        assert again.status_code == unseen.status_code == 200
        assert again.headers["ETag"] == unseen.headers["ETag"] != told.headers["ETag"]


class TestEveryRead:
    @pytest.mark.parametrize("place", [each for each in KEYED if each.method == "GET"], ids=named)
    def test_has_a_tag_and_is_not_sent_again_if_the_tag_matches(self, workshop: Client, ids: Ids, place: Place) -> None:
        address = place.address(ids)
        first = workshop.get(address)
        assert first.status_code == 200, first.text
        tag = first.headers["ETag"]
        assert tag.startswith('"')

        for condition in (tag, f"W/{tag}", "*"):
            again = workshop.get(address, headers={"If-None-Match": condition})
            assert (again.status_code, again.data) == (304, b"")
            assert again.headers["ETag"] == tag
        assert workshop.get(address, headers={"If-None-Match": '"other"'}).data == first.data
        assert workshop.get(address, headers={"If-Match": tag}).status_code == 200
        refused(workshop, "GET", address, status=412, headers={"If-Match": '"other"'})

    def test_of_a_list_has_a_new_tag_once_something_is_added(self, client: Client) -> None:
        client.register("materials/hdpe", material())
        before = client.get("materials").headers["ETag"]
        client.register("materials/pp", material())

        response = client.get("materials", headers={"If-None-Match": before})

        assert response.status_code == 200
        assert response.headers["ETag"] != before

    @pytest.mark.parametrize("form", ["text/csv", "application/x-ndjson", "application/json"])
    def test_of_recorded_changes_has_a_tag_in_each_form(self, workshop: Client, ids: Ids, form: str) -> None:
        address = in_form(f"repricings/{ids['repricing_id']}/changes", form)
        first = workshop.get(address)
        tag = first.headers["ETag"]

        again = workshop.get(address, headers={"If-None-Match": tag})

        assert (first.status_code, again.status_code) == (200, 304)
        refused(workshop, "GET", address, status=412, headers={"If-Match": '"other"'})


class TestRollingBack:
    def test_only_the_seen_state_is_rolled_back(self, client: Client) -> None:
        register_everything(client)
        address = f"repricings/{ids_of(client)['repricing_id']}"
        tag = client.get(address).headers["ETag"]

        refused(client, "POST", f"{address}/rollback", status=412, headers={"If-Match": '"other"'})
        done = client.post(f"{address}/rollback", None, headers={"If-Match": tag})

        assert done.status_code == 200
        assert client.get(address).headers["ETag"] == done.headers["ETag"] != tag
        refused(client, "POST", f"{address}/rollback", status=412, headers={"If-Match": tag})
