"""Catalogues of single papers: each has what its paper says, in every language, and nothing else."""

import re
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po

from service.documents.listing import price_list_view
from service.documents.making import job_sheet_view
from service.documents.writing.labels import CATALOGUES, LANGUAGES
from tests.documents.writing.test_labels import catalogue, ids_of, in_the_code

KINDS = {"job_sheet": (job_sheet_view,), "price_list": (price_list_view,)}
papers = pytest.mark.parametrize(
    ("kind", "language"), [(kind, language) for kind in KINDS for language in LANGUAGES if language != "en"]
)


def catalogue_of(kind: str, language: str) -> Catalog:
    with (CATALOGUES / kind / f"{language}.po").open("rb") as file:
        return read_po(file, locale=language)


def said(kind: str) -> set[str]:
    return {text for module in KINDS[kind] for text in in_the_code(Path(module.__file__ or ""))}


@papers
def test_has_what_its_paper_says_and_nothing_else(kind: str, language: str) -> None:
    found = ids_of(catalogue_of(kind, language))

    assert said(kind) - found <= ids_of(catalogue(language))
    assert found - said(kind) == set()
    assert len(found) > 10


@papers
def test_translates_every_message_with_its_placeholders(kind: str, language: str) -> None:
    for message in catalogue_of(kind, language):
        ids = message.id if isinstance(message.id, tuple) else (message.id,)
        texts = message.string if isinstance(message.string, tuple) else (message.string,)
        for text in texts if message.id else ():
            assert text, message.id
            assert set(re.findall(r"{\w+}", text)) == set(re.findall(r"{\w+}", " ".join(ids))), message.id
