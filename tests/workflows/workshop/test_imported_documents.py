"""An imported workshop is checked as if it had been sent to the service; each problem is named with its place."""

import json
from base64 import b64encode
from collections.abc import Callable, Iterator
from copy import deepcopy
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from service.domain.selling.seller import Seller
from service.encoding import decoded
from service.store.engine.column_types import JsonText
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.engine.tables import metadata
from service.store.workshop.documents import COLUMNS, read_document
from service.store.workshop.documents import DOCUMENTS as DOCUMENTS_BY_COLUMN
from service.store.workshop.letterheads import digest_of
from service.store.workshop.moving import TABLES
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys, letterhead, moving
from service.workflows.workshop.moving import UnfitDocumentError
from tests.support import builders
from tests.workflows.owner import Owner

Document = dict[str, Any]
Spoil = Callable[[Document], None]


@pytest.fixture(scope="module")
def elsewhere(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    database = Database(f"sqlite:///{tmp_path_factory.mktemp('elsewhere') / 'pugmill.db'}")
    migrate(database)
    yield database
    database.dispose()


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Document:
    """The export of a workshop with a row in most tables."""
    path: Path = tmp_path_factory.mktemp("whole") / "pugmill.db"
    database = Database(f"sqlite:///{path}")
    migrate(database)
    workshop = new_workshop(name="Kiln Lane", address="1\nKiln Lane", currency="EUR", locale="en", time_zone="UTC")
    keys.create_workshop(database, workshop, "tests")
    owner = Owner(database=database, workshop_id=workshop.workshop_id)
    builders.register_workshop(owner)
    owner.put(
        "products/crate",
        builders.product(name="Crate", bill_of_materials=[{"product": "sheet", "quantity_per_piece": "2"}]),
    )
    owner.put("materials/gone", builders.material())
    owner.retire("materials/gone")
    owner.put_exchange_rates("2026-11-20", USD="1.25")
    owner.put("listings/sheet-online", builders.listing())
    owner.reprice()
    owner.put_rate("materials/hdpe", "2026-11-24", builders.material_rate("9"))
    owner.reprice()
    letterhead.put_seller(owner.workspace, decoded(builders.seller(), Seller))
    owner.accepted(quoted_on=None)
    owner.record()
    document: Document = json.loads(b"".join(moving.export_workshop(database, workshop.workshop_id)))
    database.dispose()
    return document


def refusal(document: Document, elsewhere: Database) -> str:
    """What is wrong with the document; nothing of it may stay."""
    with pytest.raises(UnfitDocumentError) as refused:
        moving.import_workshop(elsewhere, document, "moved")
    with elsewhere.reading() as connection:
        for table in TABLES.values():
            assert connection.execute(table.select()).all() == []
    return str(refused.value)


def row_of(document: Document, table: str, **having: Any) -> Any:
    return next(row for row in document["tables"][table] if having.items() <= row.items())


def column(table: str, name: str, value: Any, **having: Any) -> Spoil:
    """Sets a column of the first row of a table that has these values."""
    return lambda document: row_of(document, table, **having).update({name: value})


def member(table: str, name: str, change: Callable[[Any], Any], **having: Any) -> Spoil:
    """Changes a document in a column of the first row of a table that has these values."""

    def spoil(document: Document) -> None:
        row = row_of(document, table, **having)
        data = json.loads(row[name])
        change(data)
        row[name] = json.dumps(data)

    return spoil


def facts(collection: str, code: str, change: Callable[[Any], Any]) -> Spoil:
    return member("registrations", "facts", change, collection=collection, code=code)


def sheet(change: Callable[[Any], Any]) -> Spoil:
    return facts("products", "sheet", change)


def both(*spoils: Spoil) -> Spoil:
    return lambda document: [spoil(document) for spoil in spoils] and None


def without_uses(**having: Any) -> Spoil:
    return lambda document: document["tables"]["uses"].remove(row_of(document, "uses", **having))


def with_use(code: str, used: tuple[str, str]) -> Spoil:
    def spoil(document: Document) -> None:
        used_collection, used_code = used
        like = dict(row_of(document, "uses", collection="products", code="crate"))
        made = {**like, "code": code, "used_collection": used_collection, "used_code": used_code}
        document["tables"]["uses"].append(made)

    return spoil


SCRIPTED = b64encode(b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><script/></svg>').decode()


def scripted_logo(document: Document) -> None:
    """Puts a logo with a script in the place of the workshop's, with everything that names it."""
    digest = digest_of(SCRIPTED)
    tables = document["tables"]
    tables["logos"][0].update(picture=json.dumps(SCRIPTED), digest=digest)
    tables["letterheads"][0].update(logo=digest)
    for row in tables["quotations"]:
        row["letterhead"] = row["letterhead"].replace(digest_of(builders.LOGO), digest)


HUGE = "1E+200000000"
SHEET = "/tables/registrations/"
DOCUMENTS: dict[str, tuple[Spoil, str, str]] = {
    "a yield of 0": (
        sheet(lambda facts: facts["operations"][0].update(yield_share="0")),
        SHEET,
        "yield_share: must be",
    ),
    "a decimal that is a number": (
        sheet(lambda facts: facts["operations"][0].update(yield_share=0.9)),
        SHEET,
        "facts: operations[0].yield_share: must be a decimal in plain notation",
    ),
    "a decimal in scientific notation": (
        member("rates", "terms", lambda terms: terms["price"].update(amount=HUGE), code="hdpe"),
        "/tables/rates/",
        "terms: price.amount: must be a decimal in plain notation",
    ),
    "too many digits": (
        member("rates", "terms", lambda terms: terms["price"].update(amount="0." + "1" * 29), code="hdpe"),
        "/tables/rates/",
        "price.amount: must have at most 28 digits",
    ),
    "a price that would be an endless text": (
        column("price_changes", "price", HUGE),
        "/tables/price_changes/0/price",
        "plain notation",
    ),
    "a figure of a message that would be an endless text": (
        member(
            "quotations",
            "remarks",
            lambda remarks: remarks.update(
                warnings=[
                    {
                        "code": "x",
                        "product": None,
                        "text": {"template": "{x}", "facts": {"x": {"figure": HUGE}}},
                        "source": "x",
                    }
                ]
            ),
        ),
        "/tables/quotations/0/remarks",
        "plain notation",
    ),
    "a text that is no text": (sheet(lambda facts: facts.update(name=7)), SHEET, "name: must be a text"),
    "a text with a control character": (
        sheet(lambda facts: facts.update(name="a\u0000b")),
        SHEET,
        "must not contain control characters",
    ),
    "a number that is no whole one": (
        member("repricings", "request", lambda request: request.update(include_unchanged=1)),
        "/tables/repricings/0/request",
        "must be true or false",
    ),
    "an endless number": (
        sheet(lambda facts: facts["operations"][0].update(pieces_per_cycle=10**18)),
        SHEET,
        "pieces_per_cycle: must be a whole number of at most 18 digits",
    ),
    "an object that is none": (sheet(lambda facts: facts.update(operations={})), SHEET, "operations: must be a list"),
    "an unknown member": (sheet(lambda facts: facts.update(colour="red")), SHEET, "unknown members colour"),
    "a missing member": (sheet(lambda facts: facts.pop("name")), SHEET, "name: something is missing"),
    "a word that is none of its words": (
        member("quotations", "request", lambda request: request["lines"][0]["policy"].update(target="luck")),
        "/tables/quotations/0/request",
        "lines[0].policy.target",
    ),
    "facts that are not JSON": (column("registrations", "facts", "{name: Sheet}"), SHEET, "facts: is not JSON"),
    "an audit trail that is not JSON": (column("changes", "after", "gone"), "/tables/changes/0/after", "is not JSON"),
    "a basis without its bills": (
        member("quotations", "basis", lambda basis: basis.pop("bills")),
        "/tables/quotations/0/basis",
        "bills: something is missing",
    ),
    "a basis with a rate of nothing": (
        member(
            "quotations", "basis", lambda basis: basis["card"]["rates"]["materials/hdpe"].update(resource="what/ever")
        ),
        "/tables/quotations/0/basis",
        "something is missing or unknown",
    ),
    "a bill without pieces": (
        member("price_changes", "bill", lambda bill: bill.update(pieces=0)),
        "/tables/price_changes/0/bill",
        "pieces: must be more than 0",
    ),
    "an unknown time zone": (
        column("workshops", "time_zone", "Mars/Olympus"),
        "/tables/workshops/0/time_zone",
        "must be an IANA time zone",
    ),
    "an unknown locale": (column("workshops", "locale", "tlh_QQ"), "/tables/workshops/0/locale", "locale"),
    "an unknown currency": (column("workshops", "currency", "XXX"), "/tables/workshops/0/currency", "currency"),
    "a name that is blank": (column("workshops", "name", " "), "/tables/workshops/0/name", "must not be blank"),
    "an unknown collection": (column("registrations", "collection", "spoons"), SHEET, "must be one of materials"),
    "a code that no address can have": (column("registrations", "code", "a/b"), SHEET, "code: must be letters"),
    "an unknown status": (column("quotations", "status", "lost"), "/tables/quotations/0/status", "must be one of"),
    "a day in another form": (column("rates", "valid_from", "20260101"), "/tables/rates/0/valid_from", "not of this"),
    "a day before all days": (column("rates", "valid_from", "0001-01-01"), "/tables/rates/0/valid_from", "not of this"),
    "a revision below 0": (column("rates", "revision", -1), "/tables/rates/0/revision", "out of range"),
    "a number that is too large": (column("rates", "revision", 2**63), "/tables/rates/0/revision", "out of range"),
    "half a character": (column("workshops", "address", "\ud800"), "/tables/workshops/0/address", "not of this"),
    "an id of the last millisecond of all": (
        column("changes", "change_id", "ffffffff-ffff-7fff-bfff-ffffffffffff"),
        "/tables/changes/0/change_id",
        "not of this",
    ),
    "a moment before all moments": (
        column("workshops", "created_at", "0001-01-01T00:00:00+23:00"),
        "/tables/workshops/0/created_at",
        "not of this",
    ),
    "a price for 7 pieces": (
        column("price_changes", "base_quantity", 7),
        "/tables/price_changes/0/base_quantity",
        "must be one of 1, 12, 100, 1000",
    ),
    "a version of 0": (column("quotations", "version", 0), "/tables/quotations/0/version", "must be more than 0"),
}
ACROSS: dict[str, tuple[Spoil, str, str]] = {
    "a reference to nothing": (
        sheet(lambda facts: facts["operations"][0].update(machine="unheard-of")),
        "/facts/operations/0/machine",
        "there is no machine 'unheard-of'",
    ),
    "a reference to something retired": (
        sheet(lambda facts: facts["bill_of_materials"][0].update(material="gone")),
        "/facts/bill_of_materials/0/material",
        "there is no material 'gone'",
    ),
    "a reference that is not followed": (
        without_uses(code="sheet", used_collection="machines"),
        "/facts",
        "/tables/uses does not have",
    ),
    "a reference of something retired": (
        lambda document: document["tables"]["uses"].append(
            {**document["tables"]["uses"][0], "collection": "materials", "code": "gone"}
        ),
        "/tables/uses/",
        "materials/gone is not registered, or is retired",
    ),
    "a product made of itself": (
        both(
            facts("products", "crate", lambda facts: facts["bill_of_materials"][0].update(product="crate")),
            without_uses(code="crate", used_code="sheet"),
            with_use("crate", ("products", "crate")),
        ),
        "/facts",
        "crate",
    ),
    "a part made of nothing": (
        both(
            sheet(lambda facts: facts.update(bill_of_materials=[{"product": "nothing", "quantity_per_piece": "1"}])),
            lambda document: None,
        ),
        "/facts/bill_of_materials/0/product",
        "there is no product 'nothing'",
    ),
    "a listing of half a sheet": (
        facts("listings", "sheet-online", lambda facts: facts.update(standard_batch="20.5")),
        "/facts",
        "standard_batch: must be whole: pieces are not divided",
    ),
    "a machine on no tariff": (
        facts("machines", "press", lambda facts: facts.update(tariff="nothing")),
        "/facts/tariff",
        "there is no tariff 'nothing'",
    ),
    "shares of bands that the tariff does not have": (
        sheet(lambda facts: facts["operations"][0].update(band_shares={"noon": "1"})),
        "/facts",
        "band_shares",
    ),
    "terms in a currency that has ended": (
        member("rates", "terms", lambda terms: terms["price"].update(currency="HRK"), code="hdpe"),
        "/terms: price/currency",
        "HRK",
    ),
    "exchange rates of the base to itself": (
        member("exchange_rates", "rates", lambda rates: rates.update(EUR="2")),
        "/tables/exchange_rates/0",
        "the base's rate to itself is 1",
    ),
    "a number that will be given again": (
        column("quotation_numbers", "last", 0),
        "/tables/quotations/0/number",
        "is greater than the last one given, 0",
    ),
    "an issued quotation without its number": (
        column("quotations", "number", None),
        "/tables/quotations/0/status",
        "only a draft has no number",
    ),
    "an accepted quotation without its acceptance": (
        column("quotations", "acceptance", None),
        "/tables/quotations/0/acceptance",
        "is missing, although it was accepted",
    ),
    "a revision of nothing": (
        column("quotations", "revises_id", str(uuid4())),
        "/tables/quotations/0/revises_id",
        "there is no such quotation",
    ),
    "a change that came into force without a price": (
        column("price_changes", "price", None),
        "/tables/price_changes/0",
        "has no price, although it came into force",
    ),
    "a change after nothing": (
        column("price_changes", "previous_id", str(uuid4())),
        "/tables/price_changes/0/previous_id",
        "there is no such repricing",
    ),
    "a price from another day": (
        column("listing_prices", "valid_from", "2026-01-01"),
        "/tables/listing_prices/0/valid_from",
        "is not the first day of its repricing",
    ),
    "a logo that is another one": (
        column("logos", "digest", "0" * 64),
        "/tables/logos/0/digest",
        "is not that of the picture",
    ),
    "a logo with a script": (scripted_logo, "/tables/logos/0/picture", "has an element 'script'"),
    "a logo in a letterhead": (
        member("letterheads", "facts", lambda facts: facts.update(logo=builders.LOGO)),
        "/tables/letterheads/0/facts",
        "belongs to /tables/logos",
    ),
    "a wrong account": (
        member("letterheads", "facts", lambda facts: facts["account"].update(iban="IE11 PLNK 9999 0000 0012 34")),
        "/tables/letterheads/0/facts",
        "is no IBAN",
    ),
    "a quotation without its logo": (
        member("quotations", "letterhead", lambda told: told.update(logo="0" * 64)),
        "/tables/quotations/0/letterhead",
        "its logo is missing",
    ),
    "facts of another digest": (
        column("record_facts", "digest", "0" * 64),
        "/tables/record_facts/0/digest",
        "is not that of the facts",
    ),
    "facts without a machine": (
        member("record_facts", "facts", lambda told: told["catalogue"]["machines"].clear()),
        "/tables/record_facts/0/facts",
        "there is no machine 'press'",
    ),
    "facts with a rate of nothing": (
        member("record_facts", "facts", lambda told: told["rates"].update(x=told["rates"]["materials/hdpe"])),
        "/tables/record_facts/0/facts",
        "the rate of 'x' is not of anything in it",
    ),
    "facts with a rate that does not fit": (
        member(
            "record_facts", "facts", lambda told: told["rates"]["tariffs/grid"]["terms"]["price_per_kwh"].pop("day")
        ),
        "/tables/record_facts/0/facts",
        "day",
    ),
    "facts without the product": (
        member("record_facts", "facts", lambda told: told["catalogue"]["products"].clear()),
        "/tables/batch_records/0/facts",
        "have no product 'sheet'",
    ),
    "a record of another day": (
        column("batch_records", "made_on", "2026-11-01"),
        "/tables/batch_records/0/record",
        "is of another product or day than the row",
    ),
    "a record without its facts": (column("batch_records", "facts", "1" * 64), "", "contradict each other"),
    "a record of no quotation": (
        column("batch_records", "quotation", 77),
        "/tables/batch_records/0/quotation",
        "there is no such quotation",
    ),
    "a row of a later revision": (
        column("rates", "revision", 1_000_000),
        "/tables/rates/0/revision",
        "is later than the workshop's",
    ),
}
every_document = pytest.mark.parametrize(
    ("spoil", "place", "told"), [*DOCUMENTS.values(), *ACROSS.values()], ids=[*DOCUMENTS, *ACROSS]
)


@every_document
def test_what_a_client_could_not_send_is_refused_with_its_place_and_leaves_nothing(
    whole: Document, elsewhere: Database, spoil: Spoil, place: str, told: str
) -> None:
    document = deepcopy(whole)
    spoil(document)

    refused = refusal(document, elsewhere)

    assert place in refused
    assert told in refused


def test_many_problems_are_told_each_in_a_line_but_not_all_of_them(whole: Document, elsewhere: Database) -> None:
    document = deepcopy(whole)
    for row in document["tables"]["changes"]:
        row["action"] = "dreamt"
    some = refusal(document, elsewhere).splitlines()
    document["tables"]["changes"] *= 10

    told = refusal(document, elsewhere).splitlines()

    assert len(some) == len(whole["tables"]["changes"])
    assert len(told) == 51
    assert told[-1] == f"and {10 * len(some) - 50} more"


def test_what_was_not_changed_is_imported(whole: Document, tmp_path: Path) -> None:
    database = Database(f"sqlite:///{tmp_path / 'another.db'}")
    migrate(database)

    assert moving.import_workshop(database, deepcopy(whole), "moved").startswith("pugmill_")

    workshop_id = keys.list_workshops(database)[0].workshop_id
    again = json.loads(b"".join(moving.export_workshop(database, workshop_id)))["tables"]
    assert again.pop("changes")[:-1] == whole["tables"]["changes"]
    assert again == {name: rows for name, rows in whole["tables"].items() if name != "changes"}
    database.dispose()


def test_every_document_that_is_moved_has_a_kind_and_every_rule_a_column() -> None:
    documents = {
        f"{name}.{column.name}"
        for name in TABLES
        for column in metadata.tables[name].columns
        if isinstance(column.type, JsonText) or column.name == "bill"
    }

    assert set(DOCUMENTS_BY_COLUMN) == documents
    assert set(COLUMNS) <= {f"{name}.{column.name}" for name, table in TABLES.items() for column in table.columns}


def test_a_quotation_of_the_first_edition_is_as_good_as_any() -> None:
    """What was stored before the rules of today is imported, as long as it has the form in which it was stored."""
    kept = json.loads((Path(__file__).parents[1] / "quoting" / "first_edition.json").read_text())

    for name, document in kept.items():
        read_document(json.dumps(document), DOCUMENTS_BY_COLUMN[f"quotations.{name}"]({}))
