"""A month's words in every language with a catalogue: none missing, none unused, with the same placeholders."""

import ast
import re
from pathlib import Path

import pytest
from babel.messages.pofile import read_po

from service.documents.month import month_view
from service.documents.writing.labels import CATALOGUES, LANGUAGES, labels_for

TRANSLATED = LANGUAGES[1:]
SAME = {"de": set(), "es": {"Total"}, "fr": {"Volume", "Total"}, "nl": {"Product", "Volume"}, "pt": {"Total", "Volume"}}
"""Words that are spelt the same in English."""
every_language = pytest.mark.parametrize("language", TRANSLATED)


def catalogue(language: str) -> dict[str, str]:
    with (CATALOGUES / "month" / f"{language}.po").open("rb") as file:
        return {str(each.id): str(each.string) for each in read_po(file, locale=language) if each.id}


def asked_for() -> set[str]:
    """Every text that the documents of a month look up in the catalogue, read from their source code."""
    found = set()
    for module in (path.read_text("utf-8") for path in Path(month_view.__file__).parent.glob("*.py")):
        asked = "words" if "MonthWriting" in module else "said"  # in a chart, `words` is another function
        for node in ast.walk(ast.parse(module)):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                name = getattr(node.func, "attr", None) or getattr(node.func, "id", None)
                if name == asked:
                    found.add(node.args[0].value)
    return found


@every_language
def test_none_is_missing_and_none_unused(language: str) -> None:
    assert set(catalogue(language)) == asked_for()


@every_language
def test_each_has_the_placeholders_of_the_english_text(language: str) -> None:
    for message, translation in catalogue(language).items():
        assert sorted(re.findall(r"{\w+}", translation)) == sorted(re.findall(r"{\w+}", message)), message


@every_language
def test_none_is_left_in_english(language: str) -> None:
    assert {message for message, translation in catalogue(language).items() if message == translation} == SAME[language]


def test_a_workshop_s_locale_decides() -> None:
    assert labels_for("de_AT", "month")("Does the month pay?") == "Trägt sich der Monat?"
    assert labels_for("sv_SE", "month")("Does the month pay?") == "Does the month pay?"
