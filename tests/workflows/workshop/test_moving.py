"""Exporting a workshop as a document and importing it elsewhere; faulty documents are refused with the place."""

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.moving import TABLES
from service.workflows.records import recording
from service.workflows.workshop import keys, moving
from service.workflows.workshop.moving import UnfitDocumentError
from tests.support import builders
from tests.workflows.owner import Owner


@pytest.fixture
def elsewhere(empty_database: Database) -> Database:
    migrate(empty_database)
    return empty_database


def exported(owner: Owner) -> Any:
    return json.loads(b"".join(moving.export_workshop(owner.database, owner.workshop_id)))


def test_the_imported_workshop_is_the_same_and_opens_with_the_new_key(furnished: Owner, elsewhere: Database) -> None:
    furnished.accepted()

    key = moving.import_workshop(elsewhere, exported(furnished), "moved")

    there = replace(furnished, database=elsewhere)
    assert there.workshop == furnished.workshop
    assert there.cost() == furnished.cost()
    access = keys.open_with(elsewhere, key)
    assert access is not None
    assert access.workshop == furnished.workshop


def test_records_move_with_pools_that_name_what_they_have_nothing_to_do_with(
    furnished: Owner, elsewhere: Database
) -> None:
    furnished.put("products/frame", builders.product())
    furnished.put("overheads/care", {"name": "Care", "base": "piece", "products": ["sheet", "frame"]})
    furnished.record()

    moving.import_workshop(elsewhere, exported(furnished), "moved")

    there = replace(furnished, database=elsewhere)
    assert recording.find_record(there.workspace, "B-1") == recording.find_record(furnished.workspace, "B-1")


def without(member: str) -> Callable[[Any], None]:
    return lambda document: document.pop(member)


def with_row(table: str, **values: Any) -> Callable[[Any], None]:
    return lambda document: document["tables"][table][0].update(values)


SPOILT: dict[str, tuple[Callable[[Any], None], str]] = {
    "another format": (lambda document: document.update(format="other"), "no document of format"),
    "another version": (lambda document: document.update(version=2), "no document of format"),
    "another revision": (lambda document: document.update(tables_revision="0001"), "revision 0001"),
    "no tables": (without("tables"), "/tables"),
    "a table too few": (lambda document: document["tables"].pop("rates"), "/tables"),
    "a table too many": (lambda document: document["tables"].update(api_keys=[]), "/tables"),
    "no list of rows": (lambda document: document["tables"].update(rates={}), "/tables/rates"),
    "no workshop": (lambda document: document["tables"].update(workshops=[]), "/tables/workshops"),
    "no id": (without("workshop_id"), "/workshop_id"),
    "a row that is none": (lambda document: document["tables"]["rates"].append(7), "/tables/rates/"),
    "a member too many": (with_row("rates", extra=1), "/tables/rates/0"),
    "another workshop's row": (with_row("rates", workshop_id="0" * 32), "/tables/rates/0"),
    "a number for a text": (with_row("rates", terms=1), "terms"),
    "a text for a number": (with_row("rates", revision="1"), "revision"),
    "true for a number": (with_row("rates", revision=True), "revision"),
    "no date": (with_row("rates", valid_from="2026-13-01"), "valid_from"),
    "no moment": (with_row("rates", changed_at="yesterday"), "changed_at"),
    "a moment without its zone": (with_row("rates", changed_at="2026-01-01T00:00:00"), "changed_at"),
    "nothing where something must be": (with_row("rates", terms=None), "terms"),
    "a text that is too long": (with_row("rates", code="x" * 65), "code"),
    "NUL": (with_row("rates", terms="a\0b"), "terms"),
    "what it refers to is not there": (with_row("rates", code="unheard-of"), "contradict each other"),
    "a row twice": (
        lambda document: document["tables"]["rates"].append(document["tables"]["rates"][0]),
        "contradict each other",
    ),
}


class TestAFaultyDocument:
    @pytest.mark.parametrize(("spoil", "told"), SPOILT.values(), ids=SPOILT.keys())
    def test_is_refused_with_the_place_and_leaves_nothing(
        self, furnished: Owner, elsewhere: Database, spoil: Callable[[Any], None], told: str
    ) -> None:
        document = exported(furnished)
        spoil(document)

        with pytest.raises(UnfitDocumentError, match=told):
            moving.import_workshop(elsewhere, document, "moved")

        with elsewhere.reading() as connection:
            for table in TABLES.values():
                assert connection.execute(table.select()).all() == []

    @pytest.mark.parametrize("document", [None, [], 7, "text", {}])
    def test_that_is_no_document_at_all_is_refused(self, elsewhere: Database, document: Any) -> None:
        with pytest.raises(UnfitDocumentError, match="it is no document of format"):
            moving.import_workshop(elsewhere, document, "moved")

    def test_of_a_workshop_that_exists_is_refused(self, furnished: Owner) -> None:
        with pytest.raises(UnfitDocumentError, match="is there already"):
            moving.import_workshop(furnished.database, exported(furnished), "moved")
