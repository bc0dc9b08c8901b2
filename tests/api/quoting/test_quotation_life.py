"""The life cycle of a quotation over HTTP: numbers in addresses, entity tags, states, lists by state."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support.builders import policy, quotation, register_workshop

pytestmark = pytest.mark.every_engine

BREAKS = [{"product": "sheet", "quantity": 20, "quantity_breaks": [50], "tax": "vat", "policy": policy()}]


@pytest.fixture
def workshop(client: Client) -> Client:
    register_workshop(client)
    return client


def draft(client: Client, **changes: Any) -> Any:
    made = client.post("quotations", quotation(**changes))
    assert made.status_code == 201, made.json
    return made.json


def issued(client: Client, **changes: Any) -> Any:
    found = client.post(f"quotations/{draft(client, **changes)['id']}/issue", None)
    assert found.status_code == 200, found.json
    return found.json


class TestAddresses:
    def test_contain_the_id_or_once_issued_the_number(self, workshop: Client) -> None:
        made = issued(workshop)

        by_id, by_number = workshop.get(f"quotations/{made['id']}"), workshop.get("quotations/Q000001")

        assert made["number"] == "Q000001"
        assert by_id.json == by_number.json == made
        assert workshop.get("quotations/Q000001/recomputation").json["agrees"] is True

    @pytest.mark.parametrize("number", ["Q000002", "Q999999999999999999"])
    def test_with_an_unknown_number_are_not_found(self, workshop: Client, number: str) -> None:
        issued(workshop)

        assert workshop.get(f"quotations/{number}").status_code == 404

    @pytest.mark.parametrize("text", ["Q1", "q000001", "Q0000001", "1", f"Q{10**19}"])
    def test_with_neither_an_id_nor_a_number_are_refused(self, workshop: Client, text: str) -> None:
        refused = workshop.get(f"quotations/{text}")

        assert refused.status_code == 422
        assert refused.json["errors"][0]["parameter"] == "quotation_id"


class TestStates:
    def test_go_from_draft_to_completed_each_with_its_own_tag(self, workshop: Client) -> None:
        made = draft(workshop, lines=BREAKS)
        address = f"quotations/{made['id']}"
        tags = [workshop.get(address).headers["ETag"]]
        for step, body in (
            ("issue", None),
            ("accept", {"quantities": [50], "reference": "order 7"}),
            ("complete", None),
        ):
            found = workshop.post(f"{address}/{step}", body)
            assert found.status_code == 200, found.json
            tags.append(found.headers["ETag"])

        found = workshop.get(address)

        assert len(set(tags)) == 4
        assert found.headers["ETag"] == tags[-1]
        assert found.json["status"] == "completed"
        assert found.json["acceptance"]["quantities"] == ["50"]
        assert found.json["figures"] == made["figures"]
        events = workshop.get(f"{address}/events").json["items"]
        assert [(each["version"], each["event"]) for each in events] == [
            (1, "drafted"),
            (2, "issued"),
            (3, "accepted"),
            (4, "completed"),
        ]
        assert {each["by"] for each in events} == {"tests"}

    def test_a_step_that_the_state_does_not_allow_is_a_conflict_with_state_and_remedy(self, workshop: Client) -> None:
        made = draft(workshop)

        refused = workshop.post(f"quotations/{made['id']}/accept", {})

        assert refused.status_code == 409
        assert refused.json["type"].endswith("quotation-state")
        assert refused.json["status"] == 409
        assert refused.json["state"] == "draft"
        assert "issue it first" in refused.json["detail"]

    def test_a_draft_below_the_floor_is_a_conflict_until_that_is_accepted(self, workshop: Client) -> None:
        floored = {**BREAKS[0], "policy": policy(never_below_cost="full_cost")}
        made = draft(workshop, lines=[{**floored, "allowances": [{"reason": "friends", "share": "0.6"}]}])
        address = f"quotations/{made['id']}"

        refusals = [workshop.post(f"{address}/issue", body) for body in (None, {}, {"below_floor": None})]

        for refused in refusals:
            assert refused.status_code == 409
            assert refused.json["type"].endswith("below-floor")
            assert len(refused.json["told"]) == 2
            assert refused.json["told"][0] == made["remarks"]["warnings"][0]["text"]
        wrong = workshop.post(f"{address}/issue", {"below_floor": True})
        assert (wrong.status_code, wrong.json["errors"][0]["pointer"]) == (422, "/below_floor")
        issued = workshop.post(f"{address}/issue", {"below_floor": "accepted"})
        assert (issued.status_code, issued.json["number"]) == (200, "Q000001")
        for form in ("txt", "html", "xml"):
            paper = workshop.get(f"quotations/Q000001/quotation.{form}")
            assert paper.status_code == 200
            assert "floor" not in paper.text

    def test_a_revision_has_an_address_and_supersedes_the_old_quotation(self, workshop: Client) -> None:
        issued(workshop)

        revision = workshop.post("quotations/Q000001/revise", {"request": quotation(lines=BREAKS)})
        assert revision.status_code == 201
        assert workshop.post(f"{revision.headers['Location']}/issue", None).json["number"] == "Q000002"

        old = workshop.get("quotations/Q000001").json
        assert (old["status"], old["superseded_by_number"]) == ("superseded", "Q000002")
        assert workshop.get("quotations/Q000002").json["revises_number"] == "Q000001"

    def test_a_revision_without_a_request_has_the_old_one(self, workshop: Client) -> None:
        old = issued(workshop)

        revision = workshop.post("quotations/Q000001/revise", {})

        assert revision.json["request"]["lines"] == old["request"]["lines"]

    def test_a_draft_can_be_discarded_but_not_an_issued_quotation(self, workshop: Client) -> None:
        made = draft(workshop)

        assert workshop.delete(f"quotations/{made['id']}").status_code == 204
        assert workshop.get(f"quotations/{made['id']}").status_code == 404
        issued(workshop)
        assert workshop.delete("quotations/Q000001").status_code == 409


class TestEntityTags:
    def test_spare_the_body_while_the_state_stays(self, workshop: Client) -> None:
        made = issued(workshop)
        tag = workshop.get("quotations/Q000001").headers["ETag"]

        same = workshop.get("quotations/Q000001", headers={"If-None-Match": tag})
        assert same.status_code == 304
        assert same.headers["ETag"] == tag

        workshop.post(f"quotations/{made['id']}/decline", {"reason": "too dear"})
        assert workshop.get("quotations/Q000001", headers={"If-None-Match": tag}).status_code == 200

    @pytest.mark.parametrize(("step", "body"), [("issue", None), ("accept", {}), ("decline", {}), ("revise", {})])
    def test_that_are_stale_or_weak_prevent_every_step(self, workshop: Client, step: str, body: Any) -> None:
        made = draft(workshop) if step == "issue" else issued(workshop)
        address = f"quotations/{made['id']}"
        tag = workshop.get(address).headers["ETag"]

        for stale in ('"1-other"', f"W/{tag}"):
            refused = workshop.post(f"{address}/{step}", body, headers={"If-Match": stale})
            assert refused.status_code == 412, refused.json
        assert workshop.get(address).headers["ETag"] == tag
        assert workshop.post(f"{address}/{step}", body, headers={"If-Match": tag}).status_code in (200, 201)

    def test_that_are_stale_prevent_discarding_a_draft(self, workshop: Client) -> None:
        made = draft(workshop)

        refused = workshop.delete(f"quotations/{made['id']}", headers={"If-Match": '"1-other"'})

        assert refused.status_code == 412
        assert workshop.get(f"quotations/{made['id']}").status_code == 200


class TestLists:
    def test_by_state_keep_the_state_on_further_pages(self, workshop: Client) -> None:
        wanted = [issued(workshop)["number"] for _ in range(3)]
        draft(workshop)

        first = workshop.get("quotations?status=issued&limit=2")
        second = workshop.get(first.json["next"])

        assert "status=issued" in first.json["next"]
        assert [each["number"] for page in (first, second) for each in page.json["items"]] == wanted
        assert second.json["next"] is None
        assert workshop.get("quotations?status=declined").json["items"] == []

    def test_by_an_unknown_state_are_refused(self, workshop: Client) -> None:
        refused = workshop.get("quotations?status=lost")

        assert refused.status_code == 422
        assert refused.json["errors"][0]["parameter"] == "status"


class TestBadInput:
    @pytest.mark.parametrize(
        ("changes", "pointer"),
        [
            ({"currency": "XXX"}, "/currency"),
            ({"locale": "klingon"}, "/locale"),
            ({"payment": {"advance_share": "1.5"}}, "/payment/advance_share"),
            ({"payment": {"due_days": 366}}, "/payment/due_days"),
            ({"minimum_order": {"amount": "0", "tax": "vat"}}, "/minimum_order/amount"),
            ({"minimum_order": {"amount": "10", "tax": "none"}}, "/minimum_order/tax"),
            ({"rush_charge": {"tax": "vat"}}, "/rush_charge/amount"),
            ({"shipping": {"service": "none", "zone": "home", "tax": "vat"}}, "/shipping/service"),
            ({"lines": [{**BREAKS[0], "tooling": "free"}]}, "/lines/0/tooling"),
            ({"lines": [{**BREAKS[0], "supplied_materials": ["pp"]}]}, "/lines/0/supplied_materials/0"),
            (
                {"lines": [{**BREAKS[0], "automatic_breaks": {"least_fall_share": "0", "up_to": 90}}]},
                "/lines/0/automatic_breaks/least_fall_share",
            ),
        ],
    )
    def test_is_named_and_stores_nothing(self, workshop: Client, changes: dict[str, Any], pointer: str) -> None:
        refused = workshop.post("quotations", quotation(**changes))

        assert refused.status_code == 422, refused.json
        assert [each["pointer"] for each in refused.json["errors"]] == [pointer]
        assert workshop.get("quotations").json["items"] == []

    @pytest.mark.parametrize(
        ("body", "pointer"),
        [
            ({"quantities": []}, "/quantities"),
            ({"quantities": [20, 20]}, "/quantities"),
            ({"quantities": ["20.5"]}, "/quantities/0"),
            ({"accepted_on": "2026-13-01"}, "/accepted_on"),
            ({"accepted_on": "2020-01-01"}, "/accepted_on"),
            ({"status": "accepted"}, "/status"),
        ],
    )
    def test_in_an_acceptance_is_named_and_changes_nothing(
        self, workshop: Client, body: dict[str, Any], pointer: str
    ) -> None:
        issued(workshop)

        refused = workshop.post("quotations/Q000001/accept", body)

        assert refused.status_code == 422, refused.json
        assert [each["pointer"] for each in refused.json["errors"]] == [pointer]
        assert workshop.get("quotations/Q000001").json["status"] == "issued"
