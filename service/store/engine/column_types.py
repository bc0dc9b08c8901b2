"""Column types that convert to and from values: JSON text, exact decimals, instants; and columns of these types."""

import json
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.costing.rate_card import DatedRate
from service.domain.register import COLLECTIONS
from service.domain.values.message import Fact, Message
from service.domain.values.references import Thing
from service.encoding import Decode, decode_with, from_text, keep_with, plain_data, to_text

CONVENTION = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s",
    "pk": "pk_%(table_name)s",
}
"""How keys, constraints and indexes are named."""


class StoredAsText(sa.types.TypeDecorator[Any]):
    """A column stored as text and read as another type."""

    impl = sa.Text
    cache_ok = True


class JsonText(StoredAsText):
    """JSON text, decoded to a type, or to plain data if no type is given.

    Args:
        to: the type, if it is the same for all rows.
        written: encodes a value as text.
    """

    cache_ok = True

    def __init__(self, to: Any = None, written: Callable[[Any], str] = to_text) -> None:
        super().__init__()
        self.to, self.written = to, written

    def process_bind_param(self, value: Any, dialect: sa.Dialect) -> str | None:
        return None if value is None else self.written(value)

    def process_result_value(self, value: str | None, dialect: sa.Dialect) -> Any:
        if value is None:
            return None
        return plain_data(value) if self.to is None else from_text(value, self.to)


class ExactDecimal(StoredAsText):
    """A decimal with every digit, stored as text because SQLite would convert it to a float."""

    cache_ok = True

    def process_bind_param(self, value: Decimal | None, dialect: sa.Dialect) -> str | None:
        return None if value is None else f"{value:f}"

    def process_result_value(self, value: str | None, dialect: sa.Dialect) -> Decimal | None:
        return None if value is None else Decimal(value)


class Instant(sa.types.TypeDecorator[datetime]):
    """An instant in UTC, also on SQLite, which stores no time zone."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:
        return _in_utc(value)

    def process_result_value(self, value: datetime | None, dialect: sa.Dialect) -> datetime | None:
        return _in_utc(value)


def _in_utc(at: datetime | None) -> datetime | None:
    if at is None:
        return None
    return at.astimezone(UTC) if at.tzinfo else at.replace(tzinfo=UTC)


def ordered(length: int) -> sa.String:
    """Text that every engine sorts by code point, whatever the database's collation."""
    return sa.String(length).with_variant(sa.String(length, collation="C"), "postgresql")


def document(name: str, holds: str, to: Any = None, **options: Any) -> sa.Column[Any]:
    """A column of JSON text, not null unless it says so."""
    kind = JsonText(to, options.pop("written", to_text))
    return sa.Column(name, kind, comment=f"JSON: {holds}", **{"nullable": False, **options})


def registered_key(collection: str = "collection", code: str = "code") -> sa.ForeignKeyConstraint:
    """A foreign key to what is registered, retired or not."""
    columns = ["workshop_id", "collection", "code"]
    return sa.ForeignKeyConstraint(["workshop_id", collection, code], [f"registrations.{name}" for name in columns])


def workshop_key() -> sa.Column[UUID]:
    """The first column of a table: the workshop that a row belongs to."""
    return sa.Column("workshop_id", sa.Uuid, sa.ForeignKey("workshops.workshop_id"), primary_key=True)


def published_day() -> Iterator[sa.Column[Any]]:
    """The columns of what a source published for a day."""
    yield workshop_key()
    yield sa.Column("source", ordered(200), primary_key=True)
    yield sa.Column("published_on", sa.Date, primary_key=True)
    yield sa.Column("base", sa.String(3), nullable=False)
    yield document("rates", "units of each currency for one of the base, as published", written=json.dumps)


def as_text(column: sa.ColumnElement[Any]) -> sa.ColumnElement[str]:
    """A column stored as text, read as that text without conversion."""
    return sa.type_coerce(column, sa.Text)


def as_plain_data(column: sa.ColumnElement[Any]) -> sa.ColumnElement[Any]:
    """A column of JSON text, read as plain data and not as its type."""
    return sa.type_coerce(column, JsonText())


def _as_data(fact: Fact) -> Any:
    """A message with its facts, so that it can be told in any language when it is read again."""
    match fact:
        case Message():
            return {"template": fact.template, "facts": {name: _as_data(each) for name, each in fact.facts.items()}}
        case str():
            return fact
        case tuple():
            return [_as_data(each) for each in fact]
    return {"figure": f"{fact:f}"}


def _fact(data: Any) -> Fact:
    match data:
        case {"template": str(template), "facts": facts}:
            return Message(template, **{name: _fact(each) for name, each in facts.items()})
        case {"figure": figure}:
            return Decimal(figure)
        case list():
            return tuple(map(_fact, data))
    return str(data)


def _message(data: Any) -> Message:
    found = _fact(data)
    return found if isinstance(found, Message) else Message(str(found))  # before facts were kept, a text was


def _dated_rate(data: Any, decode: Decode) -> DatedRate:
    collection = COLLECTIONS[Thing.of(data["resource"]).collection]
    assert collection.terms is not None  # only rated collections have dated rates
    return DatedRate(
        resource=data["resource"],
        valid_from=date.fromisoformat(data["valid_from"]),
        terms=decode(data["terms"], collection.terms),
    )


keep_with(Message, _as_data)
decode_with(Message, lambda data, _: _message(data))
decode_with(DatedRate, _dated_rate)  # here, because whoever reads a basis may read no rate
