"""Published overall equipment effectiveness (OEE), computed from the service's figures.

Availability is the machine's utilisation share (or operating time ÷ loading time), performance is ideal run time ÷
operating time, and quality is the yield.
"""

from decimal import Decimal

import pytest

from tests.conftest import Client
from tests.published.examples import bill_of, make, rounded, run
from tests.support.builders import machine_rate, money

LOADING, OPERATING = Decimal(460), Decimal(400)  # minutes: 480 less a planned stop of 20; less 60 of downtime
OUTPUT, REJECTS = 400, 8


class TestShiftOf480Minutes:
    """Introduction to TPM: worked example of OEE, Euromotor (AGENDA 2000, EU Leonardo course), tpm24, 2000.

    480 minutes with 20 of planned stops and 60 of downtime, 400 pieces with an ideal cycle of 0.5 minutes, 8 of them
    rejected: availability 0.87, performance 0.50, quality 0.98, OEE 42.6 %.
    """

    @pytest.fixture
    def workshop(self, client: Client) -> Client:
        run(client, "press", hours_per_week=str(LOADING / 60), working_weekdays=["monday"])
        quality = Decimal(OUTPUT - REJECTS) / OUTPUT
        pressing = {"name": "pressing", "machine": "press", "cycle_minutes": "0.5", "yield_share": str(quality)}
        make(client, "piece", None, pressing)
        return client

    def test_392_good_pieces_are_400_started_at_a_quality_of_0_98(self, workshop: Client) -> None:
        (step,) = bill_of(workshop, "piece", OUTPUT - REJECTS)["steps"]

        assert Decimal(step["pieces_started"]) == OUTPUT
        assert rounded(Decimal(step["pieces_good"]) / Decimal(step["pieces_started"])) == Decimal("0.98")

    def test_they_run_200_of_400_minutes_a_performance_of_0_50(self, workshop: Client) -> None:
        (step,) = bill_of(workshop, "piece", OUTPUT - REJECTS)["steps"]

        assert Decimal(step["run_minutes"]) / OPERATING == Decimal("0.50")

    def test_the_effectiveness_of_the_460_minutes_is_42_6_per_cent(self, workshop: Client) -> None:
        (step,) = bill_of(workshop, "piece", OUTPUT - REJECTS)["steps"]
        (press,) = workshop.get("capacity?starting_on=2026-11-30&weeks=1").json["resources"]
        there = Decimal(press["minutes_available"])

        availability, performance = OPERATING / there, Decimal(step["run_minutes"]) / OPERATING
        quality = Decimal(step["pieces_good"]) / Decimal(step["pieces_started"])

        assert rounded(there, "0.000001") == LOADING
        assert rounded(availability) == Decimal("0.87")
        assert rounded(availability * performance * quality, "0.001") == Decimal("0.426")

    def test_an_hour_of_the_press_costs_its_full_rate_divided_by_its_availability(self, client: Client) -> None:
        availability = str(OPERATING / LOADING)[:28]
        rate = machine_rate(replacement_value=money("10000"), planned_hours_per_year="1000")
        client.register(
            "machines/press",
            {"name": "press"},
            **{"2026-01-01": rate, "2026-02-01": {**rate, "utilisation_share": availability}},
        )

        def hour(day: str) -> Decimal:
            (entry,) = client.get(f"rate-card?as_of={day}").json["rates"]
            return Decimal(entry["unit_rates"][0]["amount"])

        assert hour("2026-01-15") == 1  # 10,000 over ten years of 1,000 hours
        assert rounded(1 / hour("2026-02-15")) == Decimal("0.87")
