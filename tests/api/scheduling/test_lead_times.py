"""Lead times over HTTP: accepted orders, closures, rush orders, and the lead time in a quotation."""

from typing import Any

import pytest

from tests.conftest import Client
from tests.support.builders import machine, product, quotation, register_workshop
from tests.support.furnishing import furnishes

ASKED = "products/sheet/lead-time?quantity=20&starting_on=2026-11-30"
"""Starts on a Monday. 20 sheets take the press 20 + 20 ÷ 0.95 × 40 = 862.105… minutes, of 480 a day."""
PRESS = "machines/press"


@pytest.fixture
@furnishes
def workshop(client: Client) -> Client:
    register_workshop(client)
    client.register(PRESS, machine(hours_per_week="40"))
    return client


def accepted(client: Client) -> str:
    """The address of an accepted order of 20 sheets."""
    address = f"quotations/{client.post('quotations', quotation()).json['id']}"
    for step, body in (("issue", None), ("accept", {})):
        assert client.post(f"{address}/{step}", body).status_code == 200
    return address


def ready_on(client: Client, asked: str = ASKED) -> Any:
    found = client.get(asked)
    assert found.status_code == 200, found.json
    return found.json["ready_on"]


class TestLeadTime:
    def test_names_the_bottleneck_and_the_load_of_everything(self, workshop: Client) -> None:
        found = workshop.get(ASKED).json

        assert (found["ready_on"], found["bottleneck"], found["reason"]) == ("2026-12-01", PRESS, "")
        assert found["bottleneck_name"] == "Sheet press"
        press, operator = found["loads"]
        assert (press["minutes_needed"], press["done_on"]) == ("862.105263158", "2026-12-01")
        # 20 + 842.105… × 0.25; the operator's hours are not registered
        assert (operator["minutes_needed"], operator["hours_per_week"]) == ("230.526315789", None)

    def test_leaves_out_days_on_which_the_workshop_is_closed(self, workshop: Client) -> None:
        workshop.register("closures/move", {"name": "Move", "first_day": "2026-12-01", "last_day": "2026-12-02"})
        assert ready_on(workshop) == "2026-12-03"

        assert workshop.delete("closures/move").status_code == 204
        assert ready_on(workshop) == "2026-12-01"

    def test_comes_after_accepted_orders_until_they_are_completed(self, workshop: Client) -> None:
        address = accepted(workshop)

        assert ready_on(workshop) == "2026-12-03"  # twice 862.105… minutes are 3.6 days
        assert ready_on(workshop, f"{ASKED}&is_rush=true") == "2026-12-01"
        assert workshop.post(f"{address}/complete", None).status_code == 200
        assert ready_on(workshop) == "2026-12-01"

    def test_has_a_reason_if_there_is_no_day(self, workshop: Client) -> None:
        workshop.register(PRESS, machine(hours_per_week="0"))

        found = workshop.get(ASKED).json

        assert (found["ready_on"], found["bottleneck"]) == (None, PRESS)
        assert found["reason"] == "Sheet press works 0 hours a week, and 862.105263158 minutes of it are needed"

    @pytest.mark.parametrize(
        ("query", "parameter"),
        [
            ("starting_on=2026-02-29", "starting_on"),
            ("starting_on=3000-01-01", "starting_on"),
            ("is_rush=maybe", "is_rush"),
            ("is_rush=True", "is_rush"),
            ("is_rush=", "is_rush"),
        ],
    )
    def test_refuses_an_invalid_parameter_by_name(self, workshop: Client, query: str, parameter: str) -> None:
        refused = workshop.get(f"products/sheet/lead-time?quantity=20&{query}")

        assert refused.status_code == 422
        assert [each["parameter"] for each in refused.json["errors"]] == [parameter]


class TestCapacity:
    def test_has_the_minutes_of_some_weeks_less_closures_and_accepted_orders(self, workshop: Client) -> None:
        workshop.register("closures/move", {"name": "Move", "first_day": "2026-12-01", "last_day": "2026-12-06"})
        accepted(workshop)

        found = workshop.get("capacity?starting_on=2026-11-30&weeks=2").json

        assert (found["starting_on"], found["ending_on"]) == ("2026-11-30", "2026-12-13")
        press = {each["resource"]: each for each in found["resources"]}[PRESS]
        assert press["minutes_available"] == "2880"  # a Monday, and the five days after the move: 6 × 480
        assert (press["minutes_promised"], press["free_on"]) == ("862.105263158", "2026-12-07")

    @pytest.mark.parametrize("weeks", ["0", "105", "1.5"])
    def test_covers_1_to_104_weeks(self, workshop: Client, weeks: str) -> None:
        assert workshop.get(f"capacity?weeks={weeks}").status_code == 422


class TestAQuotation:
    def test_says_when_it_could_be_ready_and_warns_if_it_is_wanted_earlier(self, workshop: Client) -> None:
        asked = quotation(quoted_on="2026-11-30", valid_until="2027-01-31")

        late = workshop.post("quotations", {**asked, "needed_by": "2026-11-30"}).json["remarks"]
        in_time = workshop.post("quotations", {**asked, "needed_by": "2026-12-01"}).json["remarks"]

        assert late["lead_time"]["ready_on"] == in_time["lead_time"]["ready_on"] == "2026-12-01"
        told = [each["text"] for each in late["warnings"] if each["code"] == "late"]
        assert told == [
            "The order is wanted by 2026-11-30 and could be ready on 2026-12-01. The bottleneck is Sheet press."
        ]
        assert "late" not in [each["code"] for each in in_time["warnings"]]

    def test_with_a_rush_charge_goes_before_accepted_orders(self, workshop: Client) -> None:
        accepted(workshop)
        asked = quotation(quoted_on="2026-11-30", valid_until="2027-01-31")

        usual, rush = (
            workshop.post("quotations", {**asked, **more}).json["remarks"]["lead_time"]
            for more in ({}, {"rush_charge": {"share": "0.1", "tax": "vat"}})
        )

        assert (usual["ready_on"], usual["is_rush"]) == ("2026-12-03", False)
        assert (rush["ready_on"], rush["is_rush"]) == ("2026-12-01", True)

    @pytest.mark.parametrize("quoted_on", ["2026-11-30", "2999-12-20", "2999-12-31"])
    def test_is_never_refused_because_of_its_lead_time(self, workshop: Client, quoted_on: str) -> None:
        """862 minutes at 1.2 a week take more than 700 weeks; ten years are 522."""
        workshop.register(PRESS, machine(hours_per_week="0.02"))

        made = workshop.post(
            "quotations", quotation(quoted_on=quoted_on, needed_by="2999-12-31", valid_until="2999-12-31")
        )

        assert made.status_code == 201, made.json
        assert made.json["remarks"]["lead_time"]["ready_on"] is None
        assert "late" in [each["code"] for each in made.json["remarks"]["warnings"]]

    def test_of_stages_that_run_in_parallel_is_ready_when_the_slowest_is(self, workshop: Client) -> None:
        """Two days on the press, three on the saw, at 8 hours a day."""
        workshop.register("machines/saw", {"name": "Saw", "hours_per_week": "40"})
        for runs_with_previous, day in ((False, "2026-12-04"), (True, "2026-12-02")):
            stages = [
                {"name": "pressing", "machine": "press", "cycle_minutes": "48", "band_shares": {"day": "1"}},
                {"name": "sawing", "machine": "saw", "cycle_minutes": "72", "runs_with_previous": runs_with_previous},
            ]
            workshop.register("products/sheet", product(operations=stages))

            assert ready_on(workshop) == day
