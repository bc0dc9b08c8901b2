"""Column types: every engine returns exactly the values that were stored."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
import sqlalchemy as sa

from service.domain.quoting.quotation import Acceptance
from service.domain.values.message import Message
from service.encoding import encoded, from_text
from service.store.engine.column_types import ExactDecimal, Instant, JsonText, as_text
from service.store.engine.database import Database
from service.store.engine.stored_rows import as_stored, put
from service.store.engine.tables import metadata
from tests.conftest import Client

pytestmark = pytest.mark.every_engine

NOON = datetime(2026, 7, 1, 12, 0, 0, 123456, UTC)


@dataclass(frozen=True)
class Tried:
    amount: Decimal
    on: date


def kept(database: Database, kind: Any, value: Any) -> tuple[Any, Any]:
    """The value read back from a column of this type, and the stored text."""
    tried = sa.Table(f"tried_{uuid4().hex}", sa.MetaData(), sa.Column("value", kind))
    with database.writing() as connection:
        tried.create(connection)
        connection.execute(tried.insert(), {"value": value})
        found, text = connection.execute(sa.select(tried.c.value, as_text(tried.c.value).label("text"))).one()
        tried.drop(connection)
    return found, text


@pytest.mark.parametrize("digits", ["123456789012.123456", "0.10", "0.00000000001", "1000000000000000000000"])
def test_a_decimal_keeps_every_digit_in_plain_notation(database: Database, digits: str) -> None:
    found, text = kept(database, ExactDecimal, Decimal(digits))

    assert (f"{found:f}", text) == (digits, digits)


@pytest.mark.parametrize("given", [NOON, NOON.astimezone(timezone(timedelta(hours=-9))), NOON.replace(tzinfo=None)])
def test_an_instant_given_in_any_zone_comes_out_in_utc(database: Database, given: datetime) -> None:
    found, _ = kept(database, Instant, given)

    assert (found, found.tzinfo) == (NOON, UTC)


@pytest.mark.parametrize(
    ("kind", "value", "text"),
    [
        (JsonText(Tried), Tried(Decimal("1.50"), date(2026, 1, 2)), '{"amount":"1.50","on":"2026-01-02"}'),
        (JsonText(), {"a": ["1", None, "ü"]}, '{"a":["1",null,"ü"]}'),
    ],
    ids=["of a type", "of none"],
)
def test_a_document_comes_out_as_it_was(database: Database, kind: Any, value: Any, text: str) -> None:
    assert kept(database, kind, value) == (value, text)


def test_a_message_comes_out_with_its_facts_and_is_shown_as_a_text(database: Database) -> None:
    told = Message("{work}: {heat} °C", work=(Message("{name}, hot", name="press"), "oven"), heat=Decimal("200.5"))

    found, text = kept(database, JsonText(Message), told)

    assert (found, found.template, found.facts) == (told, told.template, told.facts)
    assert found.facts["work"][0].facts == {"name": "press"}
    assert '{"figure":"200.5"}' in text
    assert encoded(told) == "press, hot, oven: 200.5 °C"


def test_what_was_kept_as_a_text_comes_out_as_a_message_without_facts() -> None:
    found = from_text('"Toy: {small} parts"', Message)

    assert (found, found.template, found.facts) == ("Toy: {small} parts", "Toy: {small} parts", {})


@pytest.mark.parametrize("kind", [ExactDecimal, Instant, JsonText, JsonText(Acceptance)])
def test_none_comes_out_as_none(database: Database, kind: Any) -> None:
    assert kept(database, kind, None) == (None, None)


def test_the_tables_as_stored_have_the_same_columns_as_plain_texts() -> None:
    for name, table in metadata.tables.items():
        stored = as_stored.tables[name]
        assert stored.columns.keys() == table.columns.keys()
        assert not any(isinstance(column.type, JsonText | ExactDecimal) for column in stored.columns)


def test_a_row_put_twice_is_stored_once_with_its_last_values(client: Client, database: Database) -> None:
    files = metadata.tables["feed_files"]
    key = {"workshop_id": client.workshop.workshop_id, "address": "https://feed.example/x"}
    with database.writing() as connection:
        put(connection, files)
        put(connection, files, {**key, "conditions": {"ETag": "1"}}, {**key, "address": "other", "conditions": {}})
        put(connection, files, {**key, "conditions": {"ETag": "2"}})
        query = sa.select(files.c.address, as_text(files.c.conditions)).where(files.c.workshop_id == key["workshop_id"])

        assert sorted(connection.execute(query)) == [(key["address"], '{"ETag": "2"}'), ("other", "{}")]
