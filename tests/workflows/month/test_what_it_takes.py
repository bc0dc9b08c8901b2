"""What a stored month takes of materials, electricity and work, and what is left of it after tax."""

from fractions import Fraction

import pytest

from service.domain.month.statement import AfterIncomeTax, MonthStatement
from service.domain.values.errors import InvalidValuesError
from tests.domain.examples import D, euros
from tests.support import builders
from tests.support.builders import planned
from tests.workflows.owner import Owner

DAY = "2026-01-01"
STARTED = Fraction(20) / Fraction("0.95")
"""Pieces that are started for a batch of 20 good ones."""


def after_tax(found: MonthStatement) -> AfterIncomeTax:
    assert found.after_income_tax is not None
    return found.after_income_tax


def test_a_plan_of_sheets_takes_flakes_electricity_and_hours(furnished: Owner) -> None:
    found = furnished.plan_month(lines=[planned(policy=None, price="60")])

    taken, batches = found.resources_used, 5
    (flakes,) = taken.materials
    assert (flakes.resource, flakes.name, flakes.unit, flakes.reclaimed) == (
        "materials/hdpe",
        "HDPE flakes",
        "kg",
        D(0),
    )
    assert abs(Fraction(flakes.issued) - STARTED * Fraction("9.6") * batches) < Fraction(1, 10**8)
    kwh = STARTED * 40 / 60 * 12 * Fraction("0.6") * batches
    assert [(each.resource, each.band) for each in taken.electricity] == [
        ("tariffs/grid", "day"),
        ("tariffs/grid", "night"),
    ]
    for band, share in zip(taken.electricity, (Fraction("0.7"), Fraction("0.3")), strict=True):
        assert abs(Fraction(band.kwh) - kwh * share) < Fraction(1, 10**8)
    hours = (20 + STARTED * 40 / 4) / 60 * batches
    assert [each.name for each in taken.labour] == ["Operator"]
    assert abs(Fraction(taken.hours_worked) - hours) < Fraction(1, 10**8)
    assert taken.contribution_per_hour_worked is not None
    assert taken.profit_per_hour_worked is not None
    of_an_hour = Fraction(found.contribution.amount) / hours
    assert abs(Fraction(taken.contribution_per_hour_worked.amount) - of_an_hour) < Fraction(1, 10**6)
    of_an_hour = Fraction(found.profit.amount) / hours
    assert abs(Fraction(taken.profit_per_hour_worked.amount) - of_an_hour) < Fraction(1, 10**6)


def test_products_that_share_a_material_take_it_together(furnished: Owner) -> None:
    pellets = [{"material": "hdpe", "quantity_per_piece": "2", "process_loss_share": "0.2", "reclaim_share": "0.5"}]
    furnished.put("products/bag", {"name": "Bag", "bill_of_materials": pellets})
    bag = planned(product="bag", policy=None, price="9", standard_batch=8, pieces=10)

    alone = furnished.plan_month(lines=[bag]).resources_used
    together = furnished.plan_month(lines=[planned(), bag]).resources_used

    (of_bags,), (of_both,) = alone.materials, together.materials
    assert (of_bags.issued, of_bags.reclaimed, of_bags.net) == (D("25"), D("2.5"), D("22.5"))  # 20 ÷ 0.8; 5 × 0.5
    assert abs(Fraction(of_both.issued) - 25 - STARTED * Fraction("9.6") * 5) < Fraction(1, 10**8)
    assert (of_both.reclaimed, alone.hours_worked, alone.profit_per_hour_worked) == (D("2.5"), D(0), None)


@pytest.mark.parametrize(
    ("price", "share", "tax"), [("100", "0.25", "0.25"), ("0.50", "0.25", "0"), ("100", "0", "0"), ("100", "1", "1")]
)
def test_income_tax_is_a_share_of_a_profit_and_never_of_a_loss(
    furnished: Owner, price: str, share: str, tax: str
) -> None:
    found = furnished.plan_month(lines=[planned(policy=None, price=price)], income_tax_share=share)

    taken = after_tax(found)
    assert taken.income_tax_share == D(share)
    assert abs(taken.income_tax.amount - max(found.profit.amount, D(0)) * D(tax)) <= D("0.005")
    assert taken.profit_after_tax.amount == found.profit.amount - taken.income_tax.amount


def test_a_tax_of_half_a_cent_is_rounded_up(furnished: Owner) -> None:
    """Without fixed cost, a bag sold at 0.90 of what costs 0.80 leaves 0.10 a piece."""
    furnished.put(
        "products/bag", {"name": "Bag", "bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "1"}]}
    )
    bag = planned(product="bag", policy=None, price="0.90", tax=None, pieces=1, most_per_month=1)

    found = furnished.plan_month(lines=[bag], leave_out=["machines/press", "overheads/rent"], income_tax_share="0.25")

    assert found.profit == euros("0.10")
    assert after_tax(found).income_tax == euros("0.03")
    assert after_tax(found).profit_after_tax == euros("0.07")


def test_no_tax_is_told_where_none_is_given(furnished: Owner) -> None:
    assert furnished.plan_month().after_income_tax is None


@pytest.mark.parametrize("share", ["-0.01", "1.01"])
def test_a_tax_share_is_of_one(furnished: Owner, share: str) -> None:
    with pytest.raises(InvalidValuesError, match="income_tax_share: must be"):
        furnished.plan_month(income_tax_share=share)


def test_what_if_a_step_wastes_more_more_is_taken(furnished: Owner) -> None:
    wasteful = builders.product(operations=[builders.operation(yield_share="0.5")])

    usual, more = furnished.plan_month(), furnished.plan_month(facts={"products/sheet": wasteful})

    assert usual.resources_used.materials[0].issued < more.resources_used.materials[0].issued == D("1920")
