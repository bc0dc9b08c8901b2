"""The words of the price history's picture in every language with a catalogue."""

import ast
import re
from datetime import date
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from service.documents.drawing.drawing import ImageForm
from service.documents.listing import price_history_chart as chart
from service.documents.writing.labels import CATALOGUES
from tests.documents.pictures import Picture
from tests.domain.listing.test_price_history import entry

every_language = pytest.mark.parametrize("language", ["de", "es", "fr", "nl", "pt"])


def catalogue(language: str) -> dict[str, str]:
    with (CATALOGUES / "price_history" / f"{language}.po").open("rb") as file:
        return {str(each.id): str(each.string) for each in read_po(file, locale=language) if each.id}


def asked_for() -> set[str]:
    """Every text that the picture looks up in the catalogue, read from its source code."""
    found = set()
    for module, asked in (("price_history_chart", ("said", "terms.words")), ("price_panel", ("words", "terms.words"))):
        source = Path(chart.__file__).with_name(f"{module}.py").read_text("utf-8")
        for node in ast.walk(ast.parse(source)):
            if isinstance(node, ast.Call) and ast.unparse(node.func).removeprefix("self.") in asked:
                found |= {each.value for each in node.args if isinstance(each, ast.Constant)}
    return found - {"text", "run", "about"}  # names of data fields, not words


@every_language
def test_none_is_missing_and_none_unused(language: str) -> None:
    assert set(catalogue(language)) == asked_for()


@every_language
def test_each_has_the_placeholders_of_the_english_text(language: str) -> None:
    for message, translation in catalogue(language).items():
        assert translation != message
        assert sorted(re.findall(r"{\w+}", translation)) == sorted(re.findall(r"{\w+}", message)), message


def test_a_picture_is_written_in_them() -> None:
    drawn = chart.price_history_chart(
        "sack", [entry(1, 0, price="4.20")], ImageForm.SVG, locale="de_DE", time_zone="UTC", as_of=date(2026, 11, 25)
    )

    shown = Picture(drawn)
    assert shown.title == "sack: 4,20\u00a0€ am 25. November 2026"
    assert {"Preis, EUR", "Stückkosten, EUR"} <= set(shown.words)
    assert "angewandte Preise: 1, davon zurückgenommen: 0" in shown.words
