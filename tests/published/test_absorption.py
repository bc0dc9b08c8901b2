"""Published over- and under-absorption of overheads, and normal capacity, read off a month.

A source's budget is the rate of a pool: its amount a month and the quantity that this is spread over. What a source
spent beyond its budget is another fixed cost of the month, since a rate knows no more than what it is stated for.
"""

from decimal import Decimal
from typing import Any

import pytest

from tests.conftest import Client
from tests.published.examples import (
    DAY,
    absorb,
    amount,
    cost_sheet,
    employ,
    make,
    month,
    rounded,
    run,
    sold,
    unit_cost,
    working,
)
from tests.support.builders import labour_rate, machine_rate, money


def over_absorbed(found: Any) -> Decimal:
    """Absorbed less spent, negative where too little is absorbed."""
    told = found["reconciliation"]
    return amount(told["over_absorbed"]) - amount(told["under_absorbed"]) - amount(told["other_fixed_costs"])


def absorbed(found: Any) -> Decimal:
    (pool,) = found["absorption"]
    return amount(pool["absorbed"])


def by_the_hour(client: Client, budget: str, hours: str) -> Client:
    """A piece is an hour of work that costs its part of a pool and nothing else."""
    employ(client, "worker", "0")
    absorb(client, "overhead", "labour_hour", budget, hours)
    make(client, "hour", None, working("1", "worker"))
    return client


class TestARateOf10AUnit:
    """CIMA P1 integrated workbook, flipbuilder, 2018, page 13, example 2.

    A rate of 10, 21,000 units and overheads of 200,000.
    """

    def test_absorbs_210_000_which_is_10_000_too_much(self, client: Client) -> None:
        absorb(client, "overhead", "piece", "200000", "20000")
        make(client, "unit", None, {"name": "making", "cycle_minutes": "1"})

        found = month(client, None, sold("unit", 21_000, "15"))

        assert absorbed(found) == 210_000
        assert over_absorbed(found) == 10_000
        assert amount(found["reconciliation"]["profit_of_products"]) == 21_000 * 5
        assert amount(found["profit"]) == 21_000 * 5 + 10_000


class TestARateThatTheSourceRounds:
    """CIMA BA2 integrated workbook, flipbuilder, 2018, page 81, section 6.2.

    175,000 over 12,000 hours; 11,500 hours and 182,000 came of it. The source takes 14.58 an hour and so absorbs
    167,670, 14,330 too little; nothing is rounded here, so that 14,291.67 are too little.
    """

    def test_absorbs_38_33_more_unrounded(self, client: Client) -> None:
        found = month(by_the_hour(client, "175000", "12000"), "7000", sold("hour", 11_500, "20"))

        assert rounded(unit_cost(cost_sheet(client, "hour"))) == Decimal("14.58")
        assert absorbed(found) == Decimal(167670) + Decimal("38.33")
        assert over_absorbed(found) == Decimal(-14330) + Decimal("38.33") == Decimal("-14291.67")


class TestThreeMonths:
    """Over/(under) absorption of overheads, basiccollegeaccounting.com, 2007, illustration: 2,500 over 1,000 hours."""

    @pytest.mark.parametrize(
        ("hours", "spent", "of_them_absorbed", "over"),
        [(1000, "4000", 2500, -1500), (2000, "5000", 5000, 0), (2000, "3500", 5000, 1500)],
    )
    def test_absorb_2_50_an_hour(
        self, client: Client, hours: int, spent: str, of_them_absorbed: int, over: int
    ) -> None:
        beyond_budget = str(Decimal(spent) - 2500)

        found = month(by_the_hour(client, "2500", "1000"), beyond_budget, sold("hour", hours, "10"))

        assert unit_cost(cost_sheet(client, "hour")) == Decimal("2.50")
        assert absorbed(found) == of_them_absorbed
        assert over_absorbed(found) == over
        profits = Decimal(hours) * (10 - Decimal("2.50"))
        assert amount(found["reconciliation"]["profit_of_products"]) == profits
        assert amount(found["profit"]) == profits + over


class TestNormalCapacity:
    """IAS 2 Inventories, IASB, 2003, paragraph 13 (the rule from memory, the figures our own).

    Fixed production overheads are allocated on the normal capacity of the facilities; the amount allocated to each unit
    is not increased as a consequence of low production or idle plant, and unallocated overheads are an expense of the
    period.
    """

    @pytest.mark.parametrize(("pieces", "left"), [(100, "0.00"), (40, "120.00"), (0, "200.00")])
    def test_a_poor_month_makes_no_piece_dearer(self, client: Client, pieces: int, left: str) -> None:
        """A press of 2,400 a year runs 1,200 hours, 100 a month."""
        run(client, "press")
        year = machine_rate(replacement_value=money("2400"), life_years="1", planned_hours_per_year="1200")
        assert client.put(f"machines/press/rates/{DAY}", year).status_code == 200
        make(client, "piece", None, {"name": "pressing", "machine": "press", "cycle_minutes": "60"})

        found = month(client, None, sold("piece", pieces, "5"))

        assert unit_cost(cost_sheet(client, "piece")) == 2
        assert found["reconciliation"]["under_absorbed"] == money(left)
        assert amount(found["profit"]) == pieces * (5 - 2) - Decimal(left)

    @pytest.mark.parametrize(("pieces", "idle"), [(80, "0.00"), (20, "1200.00")])
    def test_people_paid_by_the_month_absorb_their_pay_in_their_productive_hours(
        self, client: Client, pieces: int, idle: str
    ) -> None:
        """100 hours at 16 are paid, and 80 of them are worked on orders, at 20 each."""
        terms = labour_rate("16", productive_share="0.8", paid_hours_per_month="100")
        client.register("labour-grades/worker", {"name": "worker"}, **{DAY: terms})
        make(client, "hour", None, working("1", "worker"))

        found = month(client, None, sold("hour", pieces, "25"))

        assert unit_cost(cost_sheet(client, "hour")) == 20
        assert unit_cost(cost_sheet(client, "hour"), "variable_cost") == 0
        assert found["paid_idle"] == found["reconciliation"]["under_absorbed"] == money(idle)
        assert amount(found["profit"]) == pieces * (25 - 20) - Decimal(idle)
