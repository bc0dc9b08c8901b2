"""A stored month of sheets by the piece, flakes by the kilogram and press work by the hour."""

from typing import Any

import pytest

from service.domain.month.verdict import Verdict
from service.domain.values.errors import InvalidValuesError
from service.domain.values.units import Unit
from tests.domain.examples import D, euros
from tests.support import builders
from tests.support.builders import planned
from tests.workflows.owner import Owner

DAY = "2026-01-01"
FLAKES: dict[str, Any] = {
    "name": "Flakes",
    "unit": "kg",
    "bill_of_materials": [{"material": "crates", "quantity_per_piece": "1", "process_loss_share": "0.2"}],
    "operations": [
        {"name": "sorting", "units_per_hour": "40", "labour": [{"labour_grade": "operator", "attendance": "1"}]}
    ],
}
WHOLE = "must be whole: pieces are not divided"


@pytest.fixture
def divided(furnished: Owner) -> Owner:
    """Crates are taken for 0.05 a kilogram; of 1.25 kg a kilogram of flakes comes, and the rest costs 0.20."""
    terms = builders.material_rate("-0.05", disposal_cost=builders.money("0.20"))
    furnished.register("materials/crates", builders.material(name="Crates"), **{DAY: terms})
    furnished.put("machines/press", builders.machine(hours_per_week="15"))
    furnished.put("products/flakes", FLAKES)
    pressing = builders.operation(cycle_minutes="0", units_per_hour="1", yield_share="1", setup_minutes="0")
    furnished.put("products/pressing", {"name": "Press hour", "unit": "hour", "operations": [pressing]})
    return furnished


def flakes(**changes: Any) -> dict[str, Any]:
    return planned(product="flakes", policy=None, price="1.20", pieces="137.5", standard_batch="12.5", **changes)


def pressing(**changes: Any) -> dict[str, Any]:
    hours = {"pieces": "2.25", "standard_batch": "0.5", "pieces_per_order": "0.25"}
    return planned(product="pressing", policy=None, price="45", **hours, **changes)


def test_a_mixed_plan_is_priced_and_costed_in_the_units_of_its_products(divided: Owner) -> None:
    found = divided.plan_month(lines=[planned(policy=None, price="60", pieces=10), flakes(), pressing()])

    assert [(line.unit, line.pieces) for line in found.lines] == [
        (Unit.PIECE, D(10)),
        (Unit.KILOGRAM, D("137.5")),
        (Unit.HOUR, D("2.25")),
    ]
    _, by_weight, by_the_hour = found.lines
    assert by_weight.variable_cost == euros("0.3625")  # 15 ÷ 40 of work, -1.25 × 0.05 of crates, 0.25 × 0.20 of waste
    assert by_weight.month_contribution == euros("115.16")  # 137.5 × 0.8375
    assert by_the_hour.sales == euros("101.25")
    assert found.unit is None
    assert found.sales == euros("866.25")  # 600 + 165 + 101.25
    press = next(load for load in found.loads if load.resource == "machines/press")
    assert press.minutes_needed == D("566.052632")  # 10 ÷ 20 × (20 + 20 ÷ 0.95 × 40), and 2.25 × 60
    assert found.verdict is Verdict.LOSES


def test_the_gate_fee_and_the_disposal_of_waste_are_told(divided: Owner) -> None:
    (crates,) = divided.plan_month(lines=[flakes()]).resources_used.materials

    assert (crates.issued, crates.disposed, crates.net) == (D("171.875"), D("34.375"), D("171.875"))
    assert (crates.gate_fee, crates.disposal_cost) == (euros("8.59"), euros("6.88"))


def test_the_best_mix_sells_by_the_hour_what_whole_sheets_leave_of_the_press(divided: Owner) -> None:
    mix = divided.plan_month(lines=[planned(policy=None, price="60"), pressing()]).best_mix

    assert mix is not None
    assert [each.pieces for each in mix.lines] == [D(90), D("0.342")]  # 3,900 minutes less 3,879.47


def test_a_pool_on_orders_is_absorbed_by_every_order_of_a_listing(divided: Owner) -> None:
    """A batch of 20 is sold in orders of 4: 1.50 of each is 0.375 a sheet."""
    divided.register(
        "overheads/office", {"name": "Office", "base": "order"}, **{DAY: builders.overhead_rate("30", "20")}
    )
    divided.put("listings/sheet-online", builders.listing(pieces_per_order="4"))

    found = divided.plan_month(lines=[{"listing": "sheet-online", "pieces": 6}])

    (office,) = [each for each in found.absorption if each.resource == "overheads/office"]
    assert (office.incurred, office.absorbed) == (euros("30.00"), euros("2.25"))


@pytest.mark.parametrize(
    ("lines", "problems"),
    [
        (
            [planned(pieces="10.5", least_per_month="0.5", most_per_month="20.5", pieces_per_order="2.5")],
            {("lines", 0, name): WHOLE for name in ("pieces", "least_per_month", "most_per_month", "pieces_per_order")},
        ),
        ([flakes(), planned(standard_batch="2.5")], {("lines", 1, "standard_batch"): WHOLE}),
        ([{"listing": "sheet-online", "pieces": "0.5"}], {("lines", 0, "pieces"): WHOLE}),
        ([{"listing": "sheet-online", "pieces": 1, "standard_batch": "2.5"}], {("lines", 0, "standard_batch"): WHOLE}),
    ],
)
def test_what_is_no_quantity_of_a_product_is_named_by_its_place(
    divided: Owner, lines: list[dict[str, Any]], problems: dict[Any, str]
) -> None:
    divided.put("listings/sheet-online", builders.listing())

    with pytest.raises(InvalidValuesError) as refusal:
        divided.plan_month(lines=lines)

    assert {tuple(each.path): each.reason for each in refusal.value.problems} == problems


def test_a_unit_that_is_supposed_must_fit_the_batch_of_a_listing(divided: Owner) -> None:
    divided.put("listings/bulk", builders.listing())
    listed = builders.listing(product="flakes", standard_batch="12.5")
    supposed = {"products/flakes": {**FLAKES, "unit": "piece"}, "listings/bulk": listed}

    with pytest.raises(InvalidValuesError) as refusal:
        divided.plan_month(lines=[{"listing": "bulk", "pieces": 100}], facts=supposed)

    assert {tuple(each.path): each.reason for each in refusal.value.problems} == {
        ("lines", 0, "listing"): f"its standard_batch {WHOLE}"
    }
