"""What pugmill month prints of products by the kilogram and by the hour."""

from dataclasses import replace
from typing import Any

from service.client.text.month import month_text
from service.domain.month.statement import MonthStatement
from service.domain.values.units import Unit
from service.encoding import encoded
from tests.documents.month.test_units_of_a_month import by_weight, mixed, taken, use
from tests.domain.month.test_units import load, product, stated


def printed(statement: MonthStatement, **options: Any) -> list[str]:
    text = month_text(encoded(statement), 100, **{"full": True, **options})
    return [" ".join(line.split()) for line in text.splitlines()]


def test_a_mixed_plan_has_its_units_and_no_sum_of_them() -> None:
    assert {
        "break-even, quantity 50 % of the plan",
        "for a profit of 60.00, quantity 53 % of the plan",
        "product quantity price contributes together break-even alone",
        "Flakes 137.5 kg 4.85 per kg 0.850 per kg 116.88 1198.162 kg (too much)",
        "Sheet 320 pieces 10 per piece 6.00 per piece 1920.00 170 pieces",
        "volume quantity sales bottleneck profit",
        "bottleneck full 115.7 % of the plan 4476.13 100 % 1339.36",
        "Sheet 320 pieces 450 pieces 180.00",
    } <= set(printed(mixed()))


def test_in_short_the_part_of_the_plan_is_told() -> None:
    assert "break-even, quantity 50 % of the plan" in printed(mixed(), full=False)


def test_kilograms_alone_are_added_up() -> None:
    assert {
        "break-even, quantity 117.648 kg",
        "Flakes 137.5 kg 4.85 per 100 kg 0.850 per kg 116.88 117.648 kg",
        "the plan 137.5 kg 666.88 - 16.88",
    } <= set(printed(by_weight()))


def test_one_hour_and_square_metres_are_written_as_people_do() -> None:
    lines = printed(stated([product("1", Unit.HOUR), product("2.5", Unit.SQUARE_METRE), product("3", Unit.HOUR)]))

    assert any(line.startswith("Flakes 1 hour 10 per hour ") for line in lines)
    assert any(line.startswith("Flakes 2.5 m² 10 per m² ") for line in lines)
    assert any(line.startswith("Flakes 3 hours 10 per hour ") for line in lines)


def test_pieces_alone_stay_bare_numbers() -> None:
    sheets = product("320", Unit.PIECE, name="Sheet")

    lines = printed(stated([sheets], load("100", (sheets, "1")), looks_for_best_mix=True))

    assert {
        "break-even, pieces 100",
        "product pieces price contributes together break-even alone",
        "Sheet 320 10 6.00 1920.00 100",
        "bottleneck full 100 1000.00 100 % 0.00",
        "Sheet 320 100 360.00",
    } <= set(lines)


def test_a_plan_of_nothing_is_no_part_of_itself() -> None:
    lines = printed(stated([product("0", Unit.KILOGRAM), product("0", Unit.PIECE)]))

    assert "break-even, quantity nothing is planned" in lines
    assert "the plan - 0.00 - -600.00" in lines


def test_waste_and_what_it_costs_and_brings_are_told() -> None:
    used = taken(use("", "100.5", "-0.05"), use("#disposed", "12.25", "0.20"))

    lines = printed(replace(by_weight(), resources_used=used))

    assert {
        "material issued comes back used up to be disposed of",
        "Crates 100.5 kg 0 kg 100.5 kg 12.25 kg",
        "material to you by you",
        "Crates 5.03 2.45",
    } <= set(lines)


def test_a_material_that_only_comes_back_is_gained() -> None:
    lines = printed(replace(by_weight(), resources_used=taken(use("#reclaimed", "22.215", "-0.30"))))

    assert "Crates 0 kg 22.215 kg 22.215 kg gained" in lines


def test_waste_that_costs_nothing_has_no_table_of_costs() -> None:
    lines = printed(replace(by_weight(), resources_used=taken(use("", "9", "0.8"), use("#disposed", "1", "0"))))

    assert "Crates 9 kg 0 kg 9 kg 1 kg" in lines
    assert "material to you by you" not in lines
