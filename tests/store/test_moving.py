"""Exporting a workshop and importing it elsewhere: its answers stay the same to the byte."""

import json
from base64 import b64encode
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from click.testing import CliRunner

from service.app import create_app
from service.cli import main
from service.config import Settings
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.engine.tables import api_keys, metadata
from service.store.workshop.moving import STAYING
from service.store.workshop.workshops import find_workshop
from service.workflows.workshop import moving
from tests.api.places import register_everything
from tests.conftest import Client
from tests.support import builders
from tests.support.contract import the_contract
from tests.support.furnishing import furnishes

pytestmark = pytest.mark.every_engine

LOGO = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9"><rect width="9" height="9"/></svg>'
DOCUMENTS = ("quotation.pdf", "quotation.html", "quotation.xml", "recomputation", "events")


@pytest.fixture
@furnishes
def whole(client: Client) -> Client:
    """A workshop with rows in every exported table."""
    register_everything(client)
    client.put("workshop", {"name": "Kiln Lane Workshop", "logo": b64encode(LOGO).decode()})
    made = client.post("quotations", builders.quotation(note="ünïcode \u202e ' \" \\ %")).json["id"]
    client.post(f"quotations/{made}/issue", None)
    client.post(f"quotations/{made}/accept", {})
    client.put("materials/hdpe/rates/2026-03-01", builders.material_rate("0.123456789012345678901234567890"))
    client.post("exchange-rates/refresh", {"span": "latest"})
    client.post("repricings", {"as_of": "2026-11-25", "apply": True})
    client.put("materials/hdpe/rates/2026-11-25", builders.material_rate("5"))
    client.post("repricings", {"as_of": tomorrow(client), "apply": True})
    return client


def tomorrow(client: Client) -> str:
    return (client.workshop.today() + timedelta(days=1)).isoformat()


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
    return Client(app=app, contract=the_contract(), key=key, workshop=found)


def answers(client: Client) -> dict[str, bytes]:
    """The workshop's answers to reading requests, by path."""
    quotations = [each["id"] for each in client.get("quotations").json["items"]]
    asked = [
        "rate-card?as_of=2026-11-25",
        "products/sheet/cost-sheet?quantity=20&as_of=2026-11-25",
        "products/sheet/cost-sheet.pdf?quantity=20&as_of=2026-11-25",
        "price-list?as_of=2026-11-25",
        "price-list?prices=in_force",
        f"price-list?prices=in_force&as_of={tomorrow(client)}",
        f"listings/sheet-online/price-history?as_of={tomorrow(client)}",
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

    def test_exports_again_what_was_imported(self, whole: Client, elsewhere: Database) -> None:
        document = exported(whole)
        again = exported(moved(document, elsewhere))

        its_key = again["tables"]["changes"].pop()
        assert its_key["action"] == "key_created"
        assert again["tables"] == document["tables"]

    def test_continues_its_quotation_numbers(self, whole: Client, elsewhere: Database) -> None:
        there = moved(exported(whole), elsewhere)

        made = there.post("quotations", builders.quotation()).json["id"]

        assert there.post(f"quotations/{made}/issue", None).json["number"] == "Q000002"

    def test_takes_every_table_along_except_those_listed_with_a_reason(self, whole: Client) -> None:
        tables = exported(whole)["tables"]

        assert set(tables) | set(STAYING) == set(metadata.tables)
        assert [name for name, rows in tables.items() if not rows] == []

    def test_takes_no_key_along(self, whole: Client) -> None:
        found = exported(whole)

        assert whole.key not in json.dumps(found)
        assert api_keys.name not in found["tables"]


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
        assert "is not JSON" in run.invoke(main, ["workshop", "import", str(file)], env=into).output
        nowhere = str(tmp_path / "no folder" / "x.json")
        lost = run.invoke(main, ["workshop", "export", its_id, "--output", nowhere], env={"DATABASE_URL": address})
        assert (lost.exit_code, "No such file" in lost.output) == (1, True)
