"""Published electricity figures: power × time × load × tariff, read from the bill of resources and the cost sheet."""

from decimal import Decimal
from typing import Any

import flask
import pytest

from tests.conftest import Client, make_client
from tests.published.examples import DAY, amount_of, asked, batch_cost, bill_of, cost_sheet, make, rounded, run, supply
from tests.support.builders import material, material_rate
from tests.support.contract import Contract

GRID = "tariffs/grid#all"


def appliance(client: Client, power_kw: str, minutes: str, price_per_kwh: str, **facts: Any) -> None:
    """Register an appliance, and a product that takes a number of minutes on it."""
    supply(client, price_per_kwh, client.workshop.currency)
    run_with_power = {"rated_power_kw": power_kw, "tariff": "grid", **facts}
    run(client, "appliance", **run_with_power)
    make(client, "use", None, {"name": "use", "machine": "appliance", "cycle_minutes": minutes})


def cost_of_a_use(client: Client) -> Decimal:
    """The cost of a single use to six decimals, because it may be less than a cent."""
    (line,) = (each for each in cost_sheet(client, "use")["lines"] if each["resource"] == GRID)
    return Decimal(line["amount_per_piece"]["amount"])


class TestRatedPowerWithADutyFactor:
    """Determining kWh use: estimating, a utility energy library (Apogee), no year: 1,200 W for a fifth of the time.

    The source rounds the year to about 2,100 kWh.
    """

    @pytest.mark.parametrize(("days", "kwh"), [(1, "5.76"), (365, "2102.4")])
    def test_a_day_draws_5_76_kwh_and_a_year_2_102_4(self, client: Client, days: int, kwh: str) -> None:
        appliance(client, "1.2", str(24 * 60), "0.15", load_factor="0.20")

        (step,) = bill_of(client, "use", days)["steps"]

        assert Decimal(step["electricity_kwh"]) == Decimal(kwh)


class TestPowerTimesTimeTimesTariff:
    """Teaching pages of basicsofelectricalengineering.com, cyberphysics.co.uk and e-consult.co.ke, no year."""

    @pytest.mark.parametrize(
        ("power_kw", "minutes", "price", "currency", "cost"),
        [
            ("3", "10", "0.15", "USD", "0.075"),
            ("3", "180", "0.20", "GBP", "1.80"),
            ("2.5", "30", "0.24", "GBP", "0.30"),
            ("1.5", "12", "0.15", "USD", "0.045"),
        ],
    )
    def test_one_use_costs(
        self, app: flask.Flask, contract: Contract, *, power_kw: str, minutes: str, price: str, currency: str, cost: str
    ) -> None:
        client = make_client(app, contract, currency=currency)
        appliance(client, power_kw, minutes, price)

        assert cost_of_a_use(client) == Decimal(cost)

    def test_thirty_days_of_0_045_cost_1_35(self, client: Client) -> None:
        appliance(client, "1.5", "12", "0.15")

        assert batch_cost(cost_sheet(client, "use", 30)) == Decimal("1.35")


class TestHalfACentInACostTable:
    """4.2.4 Energy and cost, e-consult.co.ke, cost comparison table, no year; three decimals, half up."""

    @pytest.mark.parametrize(
        ("power_kw", "minutes", "kwh", "cost", "printed"),
        [("1.5", "15", "0.375", "0.05625", "0.056"), ("0.05", "300", "0.25", "0.0375", "0.038")],
        ids=["kettle", "laptop"],
    )
    def test_the_energy_and_its_cost_come_out(
        self, client: Client, power_kw: str, minutes: str, kwh: str, cost: str, printed: str
    ) -> None:
        appliance(client, power_kw, minutes, "0.15")

        (step,) = bill_of(client, "use")["steps"]

        assert Decimal(step["electricity_kwh"]) == Decimal(kwh)
        assert cost_of_a_use(client) == Decimal(cost)
        assert rounded(cost_of_a_use(client), "0.001") == Decimal(printed)

    def test_the_cents_of_a_batch_are_rounded_from_the_exact_cost(self, client: Client) -> None:
        appliance(client, "0.05", "300", "0.15")

        assert amount_of(cost_sheet(client, "use"), GRID) == Decimal("0.04")
        assert amount_of(cost_sheet(client, "use", 100), GRID) == Decimal("3.75")


class TestHeatingAKilogramOfHdpe:
    """Extrusion & Thermal Properties: Not Just for the Lab Guys, Plastics Technology, no year.

    HDPE takes 0.55 BTU/(lb °F) on average, 2.303 kJ/(kg K): 0.115 kWh for a kilogram from 20 to 200 °C (derived).
    """

    @pytest.mark.parametrize(("share_of_it", "warned"), [("1", False), ("0.5", True)])
    def test_a_sheet_warns_at_half_that_energy_and_not_at_all_of_it(
        self, client: Client, share_of_it: str, warned: bool
    ) -> None:
        needed_kwh = Decimal("2.303") * (200 - 20) / 3600
        supply(client, "0.30")
        run(client, "press", rated_power_kw=str(rounded(needed_kwh, "0.001")), load_factor=share_of_it, tariff="grid")
        client.register("materials/hdpe", material(), **{DAY: material_rate()})
        heating = {"name": "pressing", "machine": "press", "cycle_minutes": "60", "processing_temperature_c": "200"}
        make(client, "sheet", {"hdpe": "1"}, heating)

        codes = [warning["code"] for warning in asked(client, "products/sheet/cost-sheet", quantity=1)["warnings"]]

        assert rounded(needed_kwh, "0.001") == Decimal("0.115")
        assert ("less-energy-than-melting" in codes) is warned
