"""The page and the picture of a month whose products are not all counted in pieces."""

import re
from dataclasses import replace
from decimal import Decimal

import pytest

from service.documents.drawing.drawing import ImageForm
from service.documents.month.month_chart import month_chart
from service.documents.month.month_page import month_page
from service.domain.month.resources_used import ResourcesUsed, Use, resources_used
from service.domain.month.statement import MonthStatement
from service.domain.values.units import Unit
from tests.documents.pictures import Picture
from tests.domain.examples import D
from tests.domain.month.test_units import load, product, stated


def mixed(**changes: str) -> MonthStatement:
    """137.5 kg and 320 pieces on the press; half of the plan breaks even."""
    flakes = product("137.5", Unit.KILOGRAM, price="4.85", name="Flakes")
    sheets = product("320", Unit.PIECE, name="Sheet")
    press = load("900", (flakes, "1"), (sheets, "2"))
    return stated([flakes, sheets], press, fixed="1018.4375", looks_for_best_mix=True, **changes)


def by_weight() -> MonthStatement:
    flakes = product("137.5", Unit.KILOGRAM, price="4.85", name="Flakes", base_quantity=100)
    return stated([flakes], fixed="100", target=None)


def page(statement: MonthStatement, locale: str = "en_IE") -> str:
    """The words of the page, one after the other."""
    body = month_page(statement, locale).partition("<body")[2]
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


def picture(statement: MonthStatement, locale: str = "en_IE") -> Picture:
    return Picture(month_chart(statement, ImageForm.SVG, locale=locale))


def test_a_page_of_several_units_labels_every_figure_and_adds_none_up() -> None:
    text = page(mixed())

    for words in (
        "Break-even 50% of the plan sales of €",
        "For a profit of €60.00 53% of the plan",  # 52.95
        "Product Quantity Price Contribution per unit Contribution",
        "Flakes flakes 137.5 kg €4.85 per kg €0.85 per kg 17.5%",
        "Sheet flakes 320 pieces €10.00 a piece €6.00 a piece 60%",
        "Volume Quantity Sales",
        "Break-even 50% of the plan €",
        "Bottleneck full 115.7% of the plan €",  # 900 ÷ 777.5 minutes
        "Product Of each in the planned mix In the mix If it were alone Flakes flakes 55 kg 68.75 kg",
        "Sheet flakes 128 pieces 160 pieces 170 pieces",
    ):
        assert words in text, words
    assert "457" not in text  # 137.5 + 320


def test_the_best_mix_has_units_too() -> None:
    assert "Sheet flakes 320 pieces 450 pieces" in page(mixed())


def test_a_page_by_weight_adds_kilograms_up() -> None:
    text = page(by_weight())

    for words in (
        "Break-even 117.648 kg sales of €570.59",
        "Margin of safety €96.29 19.852 kg, 14.4%",
        "Flakes flakes 137.5 kg €4.85 per 100 kg €0.85 per kg",
        "The plan 137.5 kg €666.88",
        "Contribution is what one unit, such as a piece, a kilogram or an hour, brings in after fees",
    ):
        assert words in text, words


def test_one_piece_is_no_pieces() -> None:
    text = page(stated([product("1", Unit.PIECE), product("2.5", Unit.HOUR)]))

    assert "flakes 1 piece €" in text
    assert "flakes 2.5 hrs €" in text


def test_a_set_that_is_greater_than_the_plan_is_told_as_the_plan() -> None:
    """The least set of 0.137 kg and 3 pieces has 137 kg and 3,000 pieces."""
    text = page(stated([product("0.137", Unit.KILOGRAM), product("3", Unit.PIECE)]))

    assert "Flakes flakes 0.137 kg" in text
    assert "Flakes flakes 3 pieces" in text
    assert "3,000 pieces" not in text


def test_a_month_in_pieces_has_no_word_of_other_units() -> None:
    text = page(stated([product("100", Unit.PIECE), product("50", Unit.PIECE)]))

    assert "Product Pieces Price a piece Contribution a piece Contribution Flakes flakes 100 €10.00 €6.00" in text
    assert "Break-even 100 pieces" in text
    for words in ("Quantity", "kilogram", "% of the plan", "100 pieces €10.00"):
        assert words not in text, words


def test_a_plan_of_nothing_is_no_part_of_itself() -> None:
    nothing = stated([product("0", Unit.KILOGRAM), product("0", Unit.PIECE)])

    assert "The plan – €0.00" in page(nothing)
    assert "Nothing is planned, so there is no volume to show." in picture(nothing).words


@pytest.mark.parametrize(
    ("locale", "words"),
    [
        ("de_DE", "Flakes flakes 137,5 kg 4,85 € je kg 0,85 € je kg"),
        ("de_DE", "Sheet flakes 320 Stück 10,00 € je Stück 6,00 € je Stück"),
        ("fr_FR", "50 % du plan"),
        ("nl_NL", "50% van het plan"),
    ],
)
def test_other_languages_label_them_as_well(locale: str, words: str) -> None:
    assert words in page(mixed(), locale).replace("\u202f", " ")


def test_the_axis_of_several_units_is_the_part_of_the_plan() -> None:
    drawn = picture(mixed())

    assert {"of the plan", "0%", "50%", "100%", "of the bottleneck"} <= set(drawn.words)
    assert "pieces" not in drawn.words
    assert "break-even, 50% of the plan: €0.00 is left" in drawn.description


@pytest.mark.parametrize(
    ("unit", "caption", "told"), [(Unit.KILOGRAM, "kg", "117.648 kg"), (Unit.HOUR, "hrs", "117.648 hrs")]
)
def test_the_axis_of_one_unit_has_its_sign(unit: Unit, caption: str, told: str) -> None:
    drawn = picture(stated([product("137.5", unit, price="4.85")], fixed="100"))

    assert caption in drawn.words
    assert f"break-even, {told}: €0.00 is left" in drawn.description


def taken(*uses: Use) -> ResourcesUsed:
    return resources_used(uses, Decimal(0), Decimal(0), "EUR")


def use(part: str, quantity: str, rate: str, unit: str = "kg") -> Use:
    return Use(resource=f"materials/crates{part}", name="Crates", unit=unit, quantity=D(quantity), rate=D(rate))


def test_waste_and_what_it_costs_are_told_with_the_gate_fee() -> None:
    used = taken(use("", "100.5", "-0.05"), use("#disposed", "12.25", "0.20"))

    text = page(replace(by_weight(), resources_used=used))

    assert "What Issued Comes back Used up To be disposed of" in text
    assert "Crates materials/crates 100.5 kg 0 kg 100.5 kg 12.25 kg" in text
    assert "For taking Crates you are paid €5.03. To get rid of the waste of Crates costs €2.45." in text


def test_a_material_that_only_comes_back_is_gained() -> None:
    text = page(replace(by_weight(), resources_used=taken(use("#reclaimed", "22.215", "-0.30"))))

    assert "What comes back is reground, as the same material or as another one." in text
    assert "Crates materials/crates 0 kg 22.215 kg 22.215 kg gained" in text


def test_waste_that_costs_nothing_and_no_waste_at_all_have_no_sentence() -> None:
    free = page(replace(by_weight(), resources_used=taken(use("", "9", "0.8"), use("#disposed", "1", "0"))))
    none = page(replace(by_weight(), resources_used=taken(use("", "2", "0.8", unit="m3"))))

    assert "9 kg 1 kg" in free
    assert "What Issued Comes back Used up Crates materials/crates 2 m³ 0 m³ 2 m³" in none
    assert not re.search("get rid of|you are paid", free + none)
