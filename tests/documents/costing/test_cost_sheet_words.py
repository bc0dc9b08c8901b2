"""A cost sheet's words in every language with a catalogue: none missing, none unused, none left in English."""

import ast
import inspect
import re
from collections.abc import Iterator
from dataclasses import fields, replace
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from babel.messages.pofile import read_po

from service.documents.costing import cost_chart as chart_module
from service.documents.costing import cost_sheet_view as view_module
from service.documents.costing.cost_sheet_view import cost_sheet_view
from service.documents.writing.labels import CATALOGUES, LANGUAGES
from service.domain.costing.cost_statement import cost_statement
from service.domain.costing.rates import LabourRate, MachineRate, MaterialRate, TariffRate, ToolRate
from service.domain.currency.exchange_rates import DayRates
from service.domain.explaining import cost_workings as workings_module
from service.domain.explaining.naming import naming
from service.domain.explaining.workbook import LABELS
from service.domain.making.cost_classes import CostClass
from service.domain.values.message import Message
from service.domain.values.money import Money
from service.domain.values.units import Unit
from service.encoding import encoded
from tests.domain.examples import TODAY, Shop, a_line, a_product, a_shop, an_operation, an_overhead, euros
from tests.domain.explaining.test_workbook import workings_of

TRANSLATED = LANGUAGES[1:]
every_language = pytest.mark.parametrize("language", TRANSLATED)
UNITS = {"h", "min", "kg", "l", "m", "m2", "kWh"}
"""Symbols of units (ISO 80000, and the litre and the hour accepted with it), which no language translates."""
SEVERAL = {"orders", "setups"}
"""More than one unit of a pool's base."""


def catalogue(language: str) -> dict[str, str]:
    with (CATALOGUES / "cost_sheet" / f"{language}.po").open("rb") as file:
        return {str(each.id): str(each.string) for each in read_po(file, locale=language) if each.id}


def _texts(node: ast.expr) -> Iterator[str]:
    for each in ast.walk(node):
        if isinstance(each, ast.Constant) and isinstance(each.value, str):
            yield each.value


def said_in_the_document() -> set[str]:
    """The texts that the view and its picture look up in the catalogue, read from their source code."""
    found: set[str] = set()
    for module, catalogue_is in ((view_module, "words"), (chart_module, "labels")):
        for call in ast.walk(ast.parse(inspect.getsource(module))):
            if isinstance(call, ast.Call):
                asked = getattr(call.func, "attr", getattr(call.func, "id", ""))
                found |= set(_texts(call.args[0])) if asked == catalogue_is else set()
    return found - {"_", " "}


def noted_in_workings() -> set[str]:
    """The titles and names of workings that are literals in their source code."""
    found = set()
    for call in ast.walk(ast.parse(inspect.getsource(workings_module))):
        if isinstance(call, ast.Call) and getattr(call.func, "attr", "") in ("note", "section") and call.args:
            named = call.args[0] if call.func.attr == "section" else call.args[1]
            found |= {named.value} if isinstance(named, ast.Constant) else set()
    return {each for each in found if isinstance(each, str)}


def dollars(amount: str) -> Money:
    return Money(amount=Decimal(amount), currency="USD")


def everything() -> Shop:
    """A workshop whose cost sheet has every kind of line."""
    operation = an_operation(name="pressing", tool="mould", warm_up_minutes="30", pieces_per_cycle=3, yield_share="0.9")
    part = a_product(bill_of_materials=[a_line(reclaim_share="0.5", process_loss_share="0.1")], operations=[operation])
    whole = a_product(bill_of_materials=[a_line(), a_line(product="part-1")], operations=[operation])
    grid = {"day": dollars("0.30"), "night": dollars("0.20")}
    day = DayRates(source="manual", base="EUR", published_on=TODAY, rates={"USD": Decimal("1.08")})
    terms = {
        "materials/hdpe": MaterialRate(
            price=euros("0.80"), reclaim_value=dollars("0.20"), disposal_cost=dollars("0.11")
        ),
        "labour-grades/operator": LabourRate(
            wage_per_hour=dollars("15"), on_cost_share=Decimal("0.2"), productive_share=Decimal("0.8")
        ),
        "machines/press": MachineRate(
            replacement_value=euros("24000"),
            residual_value=euros("2000"),
            life_years=Decimal(10),
            interest_share=Decimal("0.05"),
            floor_m2=Decimal(12),
            space_cost_per_m2_month=euros("6"),
            maintenance_share=Decimal("0.04"),
            other_per_year=euros("300"),
            planned_hours_per_year=Decimal(1600),
            utilisation_share=Decimal("0.7"),
        ),
        "tariffs/grid": TariffRate(
            price_per_kwh=grid,
            standing_charge_per_month=euros("20"),
            demand_charge_per_month=euros("30"),
            expected_kwh_per_month=Decimal(900),
        ),
        "tools/mould": ToolRate(cost=euros("3000"), life_shots=Decimal(60_000)),
    }
    bases = {
        "rent": "machine_hour",
        "buying": "direct_material_value",
        "care": "piece",
        "desk": "order",
        "fit": "setup",
    }
    pools = {code: an_overhead(base) for code, base in bases.items()}
    return replace(a_shop(whole, part, terms=terms, overheads=pools), days=(day,))


def by_the_kilogram() -> Shop:
    """The same with a product by the kilogram, which has a part by the piece."""
    shop = everything()
    kneading = an_operation(name="kneading", pieces_per_cycle=2, yield_share="0.9")
    extruding = an_operation(name="extruding", cycle_minutes="0", units_per_hour="20", pieces_per_cycle=1)
    lines = [a_line(disposal_share="0.3", process_loss_share="0.1"), a_line(product="part-1", quantity_per_piece="0.5")]
    flakes = a_product(unit="kg", bill_of_materials=lines, operations=[kneading, extruding])
    return shop.with_product("sheet", flakes)


def said_of_everything() -> set[str]:
    """The names, titles and units of cost sheets with every kind of line."""
    return said_of(everything()) | said_of(by_the_kilogram()) | SEVERAL | set(map(by_the_unit, named_by_the_unit()))


def named_by_the_unit() -> Iterator[str]:
    for names in map(naming, (Unit.PIECE, Unit.KILOGRAM)):
        yield from (getattr(names, field.name) for field in fields(names) if field.name != "fields")
        yield from names.fields.values()


def by_the_unit(name: str) -> str:
    """As the catalogue has it: for any unit."""
    return name.replace(" per kg", " per {unit}")


def said_of(shop: Shop) -> set[str]:
    sections = workings_of(shop, 10).sections
    workings = [each for section in sections for each in section.workings]
    units = {part for each in workings for part in each.unit.split("/")} - {"", "EUR"} - UNITS
    named = {name for each in workings for name in re.findall(r"\{([^}]+)\}", each.formula)}
    named.remove("USD for 1 EUR")  # the catalogue has it as a pattern for any currencies
    lines = {line.name.template for line in shop.sheet(10).lines if isinstance(line.name, Message)}
    names = {section.title for section in sections} | {each.name for each in workings} | named
    return set(map(by_the_unit, names)) | units | lines


def needed() -> set[str]:
    headings = {each.value.replace("_", " ") for each in CostClass}
    return (
        said_in_the_document()
        | noted_in_workings()
        | said_of_everything()
        | set(LABELS.values())
        | headings
        | {heading.capitalize() for heading in headings}
    )


class TestEveryLanguage:
    @every_language
    def test_has_each_word_and_none_that_is_not_needed(self, language: str) -> None:
        found, wanted = set(catalogue(language)), needed()

        assert wanted - found == set()
        assert found - wanted == set()

    @every_language
    def test_has_the_placeholders_of_the_english_sentences(self, language: str) -> None:
        for message, translation in catalogue(language).items():
            assert translation, message
            assert sorted(re.findall(r"\{\w+\}", translation)) == sorted(re.findall(r"\{\w+\}", message)), message

    @every_language
    def test_is_used_to_write_a_sheet(self, language: str) -> None:
        shop, words = everything(), catalogue(language)
        statement = cost_statement(shop.sheet(10), rates_valid_from={"materials/hdpe": TODAY})

        view = cost_sheet_view(statement, workings_of(shop, 10), seller="Marrow Bay Plastics", locale=language)

        assert view.language == language
        assert view.word == words["Cost sheet"]
        assert words["Direct material"] in view.chart
        assert view.groups[0].total.text == words["Direct material"]
        cycles = next(each for section in view.workings for each in section.workings if "⌈" in each.formula)
        assert words["pieces a cycle"] in cycles.formula
        assert "{" not in cycles.formula


def test_a_sheet_by_the_kilogram_says_piece_in_no_language() -> None:
    shop = by_the_kilogram()
    shop = shop.with_product("part-1", replace(shop.catalogue.products["part-1"], unit=Unit.KILOGRAM))
    pools = {code: pool for code, pool in shop.catalogue.overheads.items() if code != "care"}
    shop = replace(shop, catalogue=replace(shop.catalogue, overheads=pools))
    statement, workings = cost_statement(shop.sheet(10), rates_valid_from={}), workings_of(shop, 10)
    pieces = {"en": "piece", "de": "stück", "es": "pieza", "fr": "pièce", "nl": "stuk", "pt": "peça"}

    for language, piece in pieces.items():
        view = cost_sheet_view(statement, workings, seller="Marrow Bay Plastics", locale=language)
        assert [text for text in texts_of(encoded(view)) if piece in text.lower()] == []


def texts_of(view: Any) -> Iterator[str]:
    """Every text of a view, without the names of its members."""
    if isinstance(view, str):
        yield view
    elif isinstance(view, dict | list):
        for each in view.values() if isinstance(view, dict) else view:
            yield from texts_of(each)


def test_a_language_without_a_catalogue_is_written_in_english_with_its_own_figures() -> None:
    shop = a_shop()
    statement = replace(cost_statement(shop.sheet(10), rates_valid_from={}), warnings=(), cautions=())

    view = cost_sheet_view(statement, workings_of(shop, 10), seller="Marrow Bay Plastics", locale="fi_FI")

    assert (view.language, view.word) == ("en", "Cost sheet")
    assert "," in view.groups[0].total.amount


def test_catalogues_are_installed_with_the_package() -> None:
    settings = (Path(__file__).resolve().parents[3] / "pyproject.toml").read_text()

    assert '"catalogues/*/*.po"' in settings
