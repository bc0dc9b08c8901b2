"""Published machine-hour rates: a machine, its tariff and its tool are registered, and the sheets give the rate."""

from decimal import Decimal

import pytest

from tests.conftest import Client
from tests.published.examples import DAY, amount_of, components_of, cost_sheet, make, rounded, supply, unit_cost
from tests.support.builders import machine_rate, money


def an_hour(**changes: str) -> dict[str, str]:
    """An operation that takes one hour of the machine."""
    return {"name": "running", "machine": "machine", "cycle_minutes": "60", **changes}


def a_28_decimal_share(part: str, whole: str) -> str:
    """A share with infinitely many decimals, cut to the 28 that the interface takes; the hourly cost stays precise."""
    return str((Decimal(part) / Decimal(whole)).quantize(Decimal(1).scaleb(-28)))


class TestReplacementValueToolAndDisposal:
    """'Maschinenstundensatzrechnung - Lösung', ABWL-Camp (university course site), section 4.4.D, no year.

    Three of its inputs are converted to the service's terms:
    - Interest. The source takes it on half the purchase price, the service on the mean of replacement and residual
      value. The two do not correspond, so the source's interest (60,000 a year, the 15 % implied by the 16.67 it
      prints on 800,000 ÷ 2) is entered as a yearly amount.
    - Space. The source divides 20 m² × 8 by the hours of a year without multiplying by twelve: its 8 is taken as
      a yearly rent, and a twelfth of it is entered.
    - Maintenance. The cost of ten years is entered as a yearly share of the replacement value.
    """

    @pytest.fixture
    def workshop(self, client: Client) -> Client:
        supply(client, "0.35")
        maintenance_of_ten_years = 5 * 5000 + 5 * 10000 + 15000
        kilowatts = Decimal(4200) / Decimal(300)
        terms = machine_rate(
            replacement_value=money(str(Decimal(800_000) / 110 * 143)),
            residual_value=money("-10000"),
            life_years="10",
            floor_m2="20",
            space_cost_per_m2_month=money(a_28_decimal_share("8", "12")),
            maintenance_share=a_28_decimal_share(str(maintenance_of_ten_years), "10400000"),
            other_per_year=money("60000"),
            planned_hours_per_year=str(250 * 2 * 8),
            utilisation_share="0.90",
        )
        facts = {"name": "machine", "rated_power_kw": str(kilowatts), "tariff": "grid"}
        client.register("machines/machine", facts, **{DAY: terms})
        tool = {"cost": money(str(2000 + 9 * 25 * Decimal("2.8"))), "life_shots": str(10 * 15)}
        client.register("tools/tool", {"name": "tool"}, **{DAY: tool})
        make(client, "hour", None, an_hour(tool="tool"))
        return client

    def test_the_replacement_value_is_1_040_000(self, workshop: Client) -> None:
        terms = workshop.get(f"machines/machine/rates/{DAY}").json

        assert Decimal(terms["replacement_value"]["amount"]) == 1_040_000

    @pytest.mark.parametrize(
        ("component", "printed"),
        [("depreciation", "29.17"), ("maintenance", "2.50"), ("space", "0.04"), ("other", "16.67"), ("interest", "0")],
    )
    def test_each_component_of_the_hour_comes_out(self, workshop: Client, component: str, printed: str) -> None:
        assert rounded(components_of(workshop, "machines/machine")[component]) == Decimal(printed)

    def test_electricity_is_4_90_an_hour(self, workshop: Client) -> None:
        assert amount_of(cost_sheet(workshop, "hour"), "tariffs/grid#all") == Decimal("4.90")

    def test_the_tool_is_17_53_an_hour(self, workshop: Client) -> None:
        assert amount_of(cost_sheet(workshop, "hour"), "tools/tool") == Decimal("17.53")

    def test_the_hour_is_70_81_in_all(self, workshop: Client) -> None:
        sheet = cost_sheet(workshop, "hour")

        assert rounded(unit_cost(sheet)) == Decimal("70.81")
        assert unit_cost(sheet) == Decimal("70.811111")  # the source's rounded components hide the last ninth of a cent

    def test_on_the_mean_capital_the_interest_is_more_than_the_source_takes(self, workshop: Client) -> None:
        terms = workshop.get(f"machines/machine/rates/{DAY}").json | {"interest_share": "0.15"}
        workshop.register("machines/machine", workshop.get("machines/machine").json, **{DAY: terms})

        interest = components_of(workshop, "machines/machine")["interest"]

        # (1,040,000 − 10,000) ÷ 2 × 15 % ÷ 3,600 h, by hand; the source has 16.67 on the purchase price.
        assert rounded(interest) == Decimal("21.46")


class TestComprehensiveRateOfStandingChargesAndLifeHours:
    """DCOM202 Cost Accounting-I, Unit 9, Lovely Professional University, p. 183, no year.

    The source prints every line; the total of 1.86 is their sum. It rounds repairs (0.0625) to 0.06; the service
    rounds once, at the end, and arrives at the same cents.
    """

    @pytest.fixture
    def workshop(self, client: Client) -> Client:
        supply(client, "0.06")
        rent, lighting, foreman = 780 // 5, 288 * 2 // 12, 6000 // 4
        standing = rent + lighting + 36 + 60 + foreman
        terms = machine_rate(
            replacement_value=money("9200"),
            residual_value=money("200"),
            life_years=str(18_000 // 1800),
            maintenance_share=a_28_decimal_share("112.5", "9200"),  # 1,125 over ten years
            other_per_year=money(str(standing)),
            planned_hours_per_year="1800",
        )
        client.register(
            "machines/machine", {"name": "machine", "rated_power_kw": "5", "tariff": "grid"}, **{DAY: terms}
        )
        make(client, "hour", None, an_hour())
        return client

    @pytest.mark.parametrize(
        ("component", "printed"), [("other", "1.00"), ("depreciation", "0.50"), ("maintenance", "0.0625")]
    )
    def test_each_component_of_the_hour_comes_out(self, workshop: Client, component: str, printed: str) -> None:
        assert components_of(workshop, "machines/machine")[component] == Decimal(printed)

    def test_power_is_0_30_an_hour(self, workshop: Client) -> None:
        assert amount_of(cost_sheet(workshop, "hour"), "tariffs/grid#all") == Decimal("0.30")

    def test_the_hour_is_1_86(self, workshop: Client) -> None:
        sheet = cost_sheet(workshop, "hour")

        assert sheet["subtotals"]["full_cost"]["per_batch"] == money("1.86")
        assert unit_cost(sheet) == Decimal("1.8625")


class TestMonthlyFixedPartOfTheRate:
    """How to calculate machine hour rate, svtuition.org (an accounting lecturer's page), 2010.

    The fixed 268.33 a month is printed; the hourly figures are recomputed from the printed inputs, to three
    decimals. The source rounds the monthly insurance (100 ÷ 12) to 8.33; the service takes the yearly 100.
    """

    @pytest.fixture
    def workshop(self, client: Client) -> Client:
        supply(client, "0.05")
        terms = machine_rate(
            replacement_value=money("10000"),
            residual_value=money("900"),
            life_years="10",
            maintenance_share="0.18",  # 18,000 of repairs over ten years, of 10,000
            other_per_year=money(str((300 // 4 + 80 * 2 // 10 + 960 // 6 + 9) * 12 + 10_000 // 100)),
            planned_hours_per_year="4380",
        )
        facts = {"name": "machine", "rated_power_kw": "15", "tariff": "grid"}
        client.register("machines/machine", facts, **{DAY: terms})
        make(client, "hour", None, an_hour())
        return client

    @pytest.mark.parametrize(
        ("component", "an_hour_is"), [("other", "0.735"), ("depreciation", "0.208"), ("maintenance", "0.411")]
    )
    def test_each_component_of_the_hour_comes_out(self, workshop: Client, component: str, an_hour_is: str) -> None:
        assert rounded(components_of(workshop, "machines/machine")[component], "0.001") == Decimal(an_hour_is)

    def test_the_fixed_part_of_a_month_of_365_hours_is_268_33(self, workshop: Client) -> None:
        assert rounded(components_of(workshop, "machines/machine")["other"] * 365) == Decimal("268.33")

    def test_power_is_0_75_and_the_hour_2_104(self, workshop: Client) -> None:
        sheet = cost_sheet(workshop, "hour")

        assert amount_of(sheet, "tariffs/grid#all") == Decimal("0.75")
        assert rounded(unit_cost(sheet), "0.001") == Decimal("2.104")
