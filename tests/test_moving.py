"""A workshop exported, and taken in elsewhere: the same answers to the byte, or nothing at all."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from click.testing import CliRunner

from service.app import create_app
from service.cli import main
from service.config import Settings
from service.store.database import Database
from service.store.moving import STAYING, TABLES
from service.store.schema import migrate
from service.store.tables import metadata
from service.store.workshops import find_workshop
from service.workflows import moving
from service.workflows.moving import UnfitDocumentError
from tests import builders
from tests.api.places import register_everything
from tests.conftest import Client
from tests.contract import Contract
from tests.furnishing import furnishes

pytestmark = pytest.mark.every_engine

DOCUMENTS = ("quotation.pdf", "quotation.html", "quotation.xml", "recomputation", "events")


@pytest.fixture
@furnishes
def whole(client: Client) -> Client:
    """A workshop with rows in every table that travels."""
    register_everything(client)
    made = client.post("quotations", builders.quotation(note="ünïcode \u202e ' \" \\ %")).json["id"]
    client.post(f"quotations/{made}/issue", None)
    client.post(f"quotations/{made}/accept", {})
    client.put("materials/hdpe/rates/2026-03-01", builders.material_rate("0.123456789012345678901234567890"))
    client.post("exchange-rates/refresh", {"span": "latest"})
    client.post("repricings", {"as_of": "2026-11-25", "apply": True})
    return client


@pytest.fixture
def elsewhere(empty_database: Database) -> Database:
    migrate(empty_database)
    return empty_database


def exported(client: Client) -> Any:
    database: Database = client.app.extensions["pugmill.database"]
    return json.loads(b"".join(moving.export_workshop(database, client.workshop.workshop_id)))


def moved(document: Any, database: Database) -> Client:
    key = moving.import_workshop(database, document, "moved")
    app = create_app(Settings(database_url=str(database.engine.url)))
    with database.reading() as connection:
        found = find_workshop(connection, UUID(document["workshop_id"]))
    assert found is not None
    return Client(app=app, contract=Contract(app), key=key, workshop=found)


def answers(client: Client) -> dict[str, bytes]:
    """What the workshop reads, whatever it has."""
    quotations = [each["id"] for each in client.get("quotations").json["items"]]
    asked = [
        "rate-card?as_of=2026-11-25",
        "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25",
        "products/sheet/cost-sheet.pdf?quantity=20&as_of=2026-11-25",
        "price-list?as_of=2026-11-25",
        "listings/sheet-online/price-history",
        "exchange-rates",
        "exchange-rates/held",
        "repricings",
        *(f"quotations/{each}" for each in quotations),
        *(f"quotations/{each}/{form}" for each in quotations for form in DOCUMENTS),
    ]
    return {path: client.get(path).data for path in asked}


class TestAWorkshopThatMoves:
    def test_answers_as_before_to_the_byte(self, whole: Client, elsewhere: Database) -> None:
        there = moved(exported(whole), elsewhere)

        assert answers(there) == answers(whole)

    def test_is_exported_again_as_it_came(self, whole: Client, elsewhere: Database) -> None:
        document = exported(whole)
        again = exported(moved(document, elsewhere))

        its_key = again["tables"]["changes"].pop()
        assert its_key["action"] == "key_created"
        assert again["tables"] == document["tables"]

    def test_goes_on_where_it_was(self, whole: Client, elsewhere: Database) -> None:
        there = moved(exported(whole), elsewhere)

        made = there.post("quotations", builders.quotation()).json["id"]

        assert there.post(f"quotations/{made}/issue", None).json["number"] == "Q000002"

    def test_takes_every_table_along_but_those_that_stay_for_a_reason(self, whole: Client) -> None:
        tables = exported(whole)["tables"]

        assert set(tables) | set(STAYING) == set(metadata.tables)
        assert [name for name, rows in tables.items() if not rows] == []

    def test_takes_no_key_along(self, whole: Client) -> None:
        text = json.dumps(exported(whole))

        assert whole.key not in text
        assert "digest" not in text


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
    "what it refers to is not there": (with_row("rates", code="unheard-of"), "hold together"),
    "a row twice": (
        lambda document: document["tables"]["rates"].append(document["tables"]["rates"][0]),
        "hold together",
    ),
}


class TestADocumentThatIsSpoilt:
    @pytest.mark.parametrize(("spoil", "told"), SPOILT.values(), ids=SPOILT.keys())
    def test_is_refused_with_the_place_and_leaves_nothing(
        self, whole: Client, elsewhere: Database, spoil: Callable[[Any], None], told: str
    ) -> None:
        document = exported(whole)
        spoil(document)

        with pytest.raises(UnfitDocumentError, match=told):
            moving.import_workshop(elsewhere, document, "moved")

        with elsewhere.reading() as connection:
            for table in TABLES.values():
                assert connection.execute(table.select()).all() == []

    @pytest.mark.parametrize("document", [None, [], 7, "text", {}])
    def test_that_is_none_is_refused(self, elsewhere: Database, document: Any) -> None:
        with pytest.raises(UnfitDocumentError):
            moving.import_workshop(elsewhere, document, "moved")

    def test_of_a_workshop_that_is_there_is_refused(self, whole: Client, database: Database) -> None:
        with pytest.raises(UnfitDocumentError, match="is there already"):
            moving.import_workshop(database, exported(whole), "moved")


class TestTheCommands:
    def test_move_a_workshop_from_one_database_to_another(
        self, whole: Client, elsewhere: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        file, its_id = tmp_path / "workshop.json", str(whole.workshop.workshop_id)
        database: Database = whole.app.extensions["pugmill.database"]
        address = database.engine.url.render_as_string(hide_password=False)
        run = CliRunner()

        out = run.invoke(main, ["workshop", "export", its_id, "--output", str(file)], env={"DATABASE_URL": address})
        shown = run.invoke(main, ["workshop", "export", its_id], env={"DATABASE_URL": address})
        into = {"DATABASE_URL": str(elsewhere.engine.url)}
        taken = run.invoke(main, ["workshop", "import", str(file)], env=into)
        twice = run.invoke(main, ["workshop", "import", str(file)], env=into)

        assert out.exit_code == shown.exit_code == taken.exit_code == 0, (out.output, taken.output)
        assert json.loads(shown.output)["tables"] == json.loads(file.read_text())["tables"]
        assert taken.output.startswith("pugmill_")
        assert twice.exit_code == 1
        assert "is there already" in twice.output
        file.write_text("{")
        assert "is no JSON" in run.invoke(main, ["workshop", "import", str(file)], env=into).output
        nowhere = str(tmp_path / "no folder" / "x.json")
        lost = run.invoke(main, ["workshop", "export", its_id, "--output", nowhere], env={"DATABASE_URL": address})
        assert (lost.exit_code, "No such file" in lost.output) == (1, True)
