"""Published job and batch costs: overhead absorbed on a base, and the full cost of a unit."""

from decimal import Decimal

import pytest

from tests.conftest import Client
from tests.published.examples import (
    absorb,
    amount,
    amount_of,
    batch_cost,
    buy,
    cost_sheet,
    employ,
    make,
    price_of,
    run,
    unit_cost,
    unit_rates,
    working,
)
from tests.support.builders import money


def machining(hours: str, machine: str = "machine") -> dict[str, str]:
    return {"name": machine, "machine": machine, "cycle_minutes": str(Decimal(hours) * 60)}


class TestRateOfALabourHour:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 2.3."""

    def test_1_140_000_over_38_000_hours_puts_180_on_a_job_of_6_hours(self, client: Client) -> None:
        employ(client, "worker", "0")
        absorb(client, "overhead", "labour_hour", "1140000", "38000")
        make(client, "job", None, working("6", "worker"))

        assert unit_rates(client)["overheads/overhead"] == 30
        assert amount_of(cost_sheet(client, "job"), "overheads/overhead") == 180


class TestRateOfAMachineHour:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 2.3, review problem 2.3."""

    def test_500_000_over_100_000_hours_puts_10_000_on_a_job_of_2_000_hours(self, client: Client) -> None:
        run(client, "machine")
        absorb(client, "overhead", "machine_hour", "500000", "100000")
        make(client, "job", None, machining("2000"))

        assert unit_rates(client)["overheads/overhead"] == 5
        assert amount_of(cost_sheet(client, "job"), "overheads/overhead") == 10_000


class TestPlantWideRateOfTheSailboats:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 3.2.

    Labour costs 600 for 40 hours and 750 for 50: an hourly wage of 15.
    """

    @pytest.fixture
    def boatyard(self, client: Client) -> Client:
        employ(client, "worker", "15")
        absorb(client, "plant", "labour_hour", "8000000", "250000")
        for code, material, hours in (("basic", "1000", "40"), ("deluxe", "1300", "50")):
            buy(client, f"{code}-material", material)
            make(client, code, {f"{code}-material": "1"}, working(hours, "worker"))
        return client

    def test_the_rate_is_32_a_labour_hour(self, boatyard: Client) -> None:
        assert unit_rates(boatyard)["overheads/plant"] == 32

    @pytest.mark.parametrize(
        ("boat", "labour", "overhead", "cost"), [("basic", 600, 1280, 2880), ("deluxe", 750, 1600, 3650)]
    )
    def test_a_boat_costs(self, boatyard: Client, boat: str, labour: int, overhead: int, cost: int) -> None:
        sheet = cost_sheet(boatyard, boat)

        assert amount_of(sheet, "labour-grades/worker") == labour
        assert amount_of(sheet, "overheads/plant") == overhead
        assert unit_cost(sheet) == cost

    @pytest.mark.parametrize(("boat", "price", "profit"), [("basic", "3200", 320), ("deluxe", "4500", 850)])
    def test_a_boat_leaves_a_profit(self, boatyard: Client, boat: str, price: str, profit: int) -> None:
        assert amount(price_of(boatyard, boat, kept_at=price)["profit"]) == profit


FIVE_POOLS = {
    "purchasing": ("1200000", "10000"),
    "setups": ("1600000", "2000"),
    "machine-hours": ("2700000", "90000"),
    "labour-hours": ("1500000", "250000"),
    "inspection-hours": ("1000000", "20000"),
}
"""Each pool's yearly cost and the yearly volume of its cost driver."""


class TestActivityBasedCostOfTheSailboats:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 3.3.

    Setups and hours are bases of pools; inspection is an hour at a bench of its own. The orders that the source counts
    are those placed with suppliers: they are entered as a material bought for a batch at the published rate. Of each
    boat a hundred batches are made in the year, basic ones with 11 setups and 70 orders, deluxe ones with 9 and 30.
    """

    @pytest.fixture
    def boatyard(self, client: Client) -> Client:
        employ(client, "worker", "15")
        run(client, "machine")
        run(client, "bench")
        absorb(client, "setups", "setup", *FIVE_POOLS["setups"])
        absorb(client, "machine-hours", "machine_hour", *FIVE_POOLS["machine-hours"], machines=["machine"])
        absorb(client, "labour-hours", "labour_hour", *FIVE_POOLS["labour-hours"])
        absorb(client, "inspection-hours", "machine_hour", *FIVE_POOLS["inspection-hours"], machines=["bench"])
        buy(client, "purchasing", "120")
        for code, material, hours, inspection, orders, setups in (
            ("basic", "1000", ("10", "40"), "2.4", 70, 11),
            ("deluxe", "1300", ("40", "50"), "8", 30, 9),
        ):
            buy(client, f"{code}-material", material)
            bill = [
                {"material": f"{code}-material", "quantity_per_piece": "1"},
                {"material": "purchasing", "quantity_per_batch": orders},
            ]
            steps = (machining(hours[0]), machining(inspection, "bench"), working(hours[1], "worker"))
            again = ({"name": f"setup {place}", "setup_minutes": "1"} for place in range(setups))
            make(client, code, None, *steps, *again, bill_of_materials=bill)
        return client

    def test_the_rates_of_the_five_pools_come_out(self, client: Client) -> None:
        for code, (cost, volume) in FIVE_POOLS.items():
            absorb(client, code, "piece", cost, volume)

        rates = unit_rates(client)

        assert [rates[f"overheads/{code}"] for code in FIVE_POOLS] == [120, 800, 30, 6, 50]

    @pytest.mark.parametrize(
        ("boat", "boats", "direct", "total", "cost"),
        [("basic", 50, 1600, 5_020_000, 2604), ("deluxe", 10, 2050, 2_980_000, 5030)],
    )
    def test_a_year_of_boats_costs(
        self, boatyard: Client, boat: str, boats: int, direct: int, total: int, cost: int
    ) -> None:
        sheet = cost_sheet(boatyard, boat, boats)

        assert (batch_cost(sheet) - direct * boats) * 100 == total
        assert unit_cost(sheet) == cost

    @pytest.mark.parametrize(
        ("boat", "boats", "price", "profit"), [("basic", 50, "3200", 596), ("deluxe", 10, "4500", -530)]
    )
    def test_the_deluxe_boat_loses_what_the_plant_wide_rate_hid(
        self, boatyard: Client, boat: str, boats: int, price: str, profit: int
    ) -> None:
        assert amount(price_of(boatyard, boat, boats, kept_at=price)["profit"]) == profit


class TestSetupSpreadOverABatch:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 3.3: 800 a setup; the cost a piece is
    derived."""

    @pytest.mark.parametrize(("batch", "cost"), [(1, 800), (10, 80), (100, 8)])
    def test_a_piece_bears_its_part_of_the_setup(self, client: Client, batch: int, cost: int) -> None:
        employ(client, "setter", "800")
        setup = {"name": "setup", "setup_minutes": "60", "labour": [{"labour_grade": "setter", "setup_crew": "1"}]}
        make(client, "piece", None, setup)

        assert unit_cost(cost_sheet(client, "piece", batch)) == cost


class TestOverheadOnLabourCostAndByDepartment:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 3.2, review problem 3.2."""

    def test_800_000_on_160_000_of_labour_is_500_per_cent_of_it(self, client: Client) -> None:
        employ(client, "worker", "20")
        absorb(client, "overhead", "direct_labour_value", "800000", "160000")
        make(client, "job", None, working("1", "worker"))

        sheet = cost_sheet(client, "job")

        assert unit_rates(client)["overheads/overhead"] == 5
        assert amount_of(sheet, "overheads/overhead") == 100  # five times the 20 of labour, by hand
        assert unit_cost(sheet) == 120

    def test_the_departments_charge_8_a_machine_hour_and_12_a_labour_hour(self, client: Client) -> None:
        run(client, "machine")
        employ(client, "worker", "0")
        absorb(client, "machining", "machine_hour", "200000", "25000")
        absorb(client, "assembly", "labour_hour", "600000", "50000")
        make(client, "job", None, machining("1"), working("1", "worker"))

        sheet = cost_sheet(client, "job")

        assert amount_of(sheet, "overheads/machining") == 8
        assert amount_of(sheet, "overheads/assembly") == 12


class TestFullAbsorptionUnitCost:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 9.3, figure 9.9 and the review problem."""

    @pytest.mark.parametrize(
        ("pounds", "price", "hours", "wage", "overhead", "units", "costs"),
        [
            ("2", "1", "0.10", "13", "240480", "200400", ("2.00", "1.30", "1.20", "4.50")),
            ("1.5", "2", "0.20", "12", "545360", "401000", ("3.00", "2.40", "1.36", "6.76")),
        ],
        ids=["ice cream", "cookies"],
    )
    def test_material_labour_and_overhead_add_up(
        self,
        client: Client,
        *,
        pounds: str,
        price: str,
        hours: str,
        wage: str,
        overhead: str,
        units: str,
        costs: tuple[str, ...],
    ) -> None:
        buy(client, "ingredients", price)
        employ(client, "worker", wage)
        absorb(client, "overhead", "piece", overhead, units)
        make(client, "unit", {"ingredients": pounds}, working(hours, "worker"))

        sheet = cost_sheet(client, "unit", int(units))

        assert [amount(line["amount_per_piece"]) for line in sheet["lines"]] == [Decimal(cost) for cost in costs[:3]]
        assert unit_cost(sheet) == Decimal(costs[3])
        assert amount_of(sheet, "overheads/overhead") == Decimal(overhead)


class TestFlexibleBudget:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 10.2.

    The unit figures are printed; the total of 210,000 units is only in a picture, so it is recomputed. Variable
    overhead is 5 a labour hour: 100,200 over 20,040.
    """

    def test_210_000_units_at_a_standard_variable_cost_of_3_80(self, client: Client) -> None:
        buy(client, "ingredients", "1")
        employ(client, "worker", "13")
        absorb(client, "variable-overhead", "labour_hour", "100200", "20040", variable=True)
        make(client, "unit", {"ingredients": "2"}, working("0.10", "worker"))

        sheet = cost_sheet(client, "unit", 210_000)

        assert [line["amount_per_piece"] for line in sheet["lines"]] == [
            money("2.000000"),
            money("1.300000"),
            money("0.500000"),
        ]
        assert unit_cost(sheet, "variable_cost") == Decimal("3.80")
        assert batch_cost(sheet, "variable_cost") == 798_000
        assert batch_cost(sheet, "fixed_cost") == 0
