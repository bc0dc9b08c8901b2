"""Export all data of a workshop as one JSON document, and import such a document elsewhere."""

from collections.abc import Iterator, Mapping
from importlib.metadata import version
from typing import Any
from uuid import UUID

from service import clock
from service.domain.audit import COMMAND_LINE
from service.encoding import to_bytes
from service.store.engine.database import Database, RefusedRowsError, refused_rows
from service.store.engine.schema import newest_revision
from service.store.workshop import moving
from service.store.workshop.workshops import find_workshop
from service.workflows.workshop.imported import problems_across
from service.workflows.workshop.keys import add_key

FORMAT = "pugmill-workshop"
VERSION = 1
_MOST_TOLD = 50
"""Most problems of a document that are told at once."""


class UnfitDocumentError(ValueError):
    """A document cannot be imported; the message says where and why, and nothing was imported."""


def export_workshop(database: Database, workshop_id: UUID) -> Iterator[bytes]:
    """One state of the workshop as a JSON document, one row a line."""
    head = {
        "format": FORMAT,
        "version": VERSION,
        "tables_revision": newest_revision(),
        "service_version": version("pugmill"),
        "exported_at": clock.now().isoformat(),
        "workshop_id": str(workshop_id),
    }
    yield to_bytes(head)[:-1] + b',"tables":{'
    with database.reading() as connection:
        for index, (name, table) in enumerate(moving.TABLES.items()):
            yield (b",\n" if index else b"\n") + to_bytes(name) + b":["
            for place, row in enumerate(moving.rows_of(connection, workshop_id, table)):
                yield (b",\n" if place else b"\n") + to_bytes(row)
            yield b"]"
    yield b"\n}}\n"


def import_workshop(database: Database, document: Any, key_name: str) -> str:
    """Import a workshop, all or nothing, and return a new key for it, which is never shown again.

    Raises:
        UnfitDocumentError: it is not such a document, is of other tables, or the workshop exists already.
    """
    workshop_id, tables = _checked(document)
    read = moving.read_tables(workshop_id, tables)
    if problems := read.problems or list(problems_across(read)):
        more = [f"and {len(problems) - _MOST_TOLD} more"] if len(problems) > _MOST_TOLD else []
        raise UnfitDocumentError("\n".join([*problems[:_MOST_TOLD], *more]))
    try:
        with refused_rows(), database.writing() as connection:
            if find_workshop(connection, workshop_id) is not None:
                raise UnfitDocumentError(f"workshop {workshop_id} is there already")
            moving.add_rows(connection, workshop_id, read)
            return add_key(connection, workshop_id, key_name, frozenset({"read", "write"}), COMMAND_LINE)
    except RefusedRowsError as error:
        raise UnfitDocumentError(str(error)) from None


def _checked(document: Any) -> tuple[UUID, Mapping[str, list[Any]]]:
    """The workshop's id, and its tables."""
    if not isinstance(document, dict) or document.get("format") != FORMAT or document.get("version") != VERSION:
        raise UnfitDocumentError(f"it is no document of format {FORMAT}, version {VERSION}")
    if document.get("tables_revision") != newest_revision():
        told = f"its tables are of revision {document.get('tables_revision')}, these of {newest_revision()}"
        raise UnfitDocumentError(f"{told}; export and import with the same version of the service")
    tables = document.get("tables")
    if not isinstance(tables, dict) or tables.keys() != moving.TABLES.keys():
        raise UnfitDocumentError(f"/tables: has not just {', '.join(moving.TABLES)}")
    for name, rows in tables.items():
        if not isinstance(rows, list):
            raise UnfitDocumentError(f"/tables/{name}: is no list of rows")
    if len(tables["workshops"]) != 1:
        raise UnfitDocumentError("/tables/workshops: has not just one row")
    try:
        return UUID(str(document.get("workshop_id"))), tables
    except ValueError:
        raise UnfitDocumentError("/workshop_id: is no id") from None
