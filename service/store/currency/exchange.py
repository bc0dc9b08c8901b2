"""Exchange rates as they were published or entered, and the days held back."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service import clock
from service.domain.currency.exchange_rates import FEED, MAX_AGE_DAYS, DayRates
from service.domain.currency.jump_check import HeldDay
from service.encoding import encoded, trusted
from service.store.engine import metering
from service.store.engine.column_types import as_text
from service.store.engine.database import Database
from service.store.engine.stored_rows import put
from service.store.engine.tables import exchange_rates, held_exchange_rates


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredDay:
    """Rates of a day, and the workshop's revision when they last changed."""

    day: DayRates
    revision: int


def _data(source: str, base: str, published_on: date, rates: Any) -> dict[str, Any]:
    return {"source": source, "base": base, "published_on": published_on.isoformat(), "rates": rates}


def _day(row: Any) -> DayRates:
    return trusted(_data(row.source, row.base, row.published_on, row.rates), DayRates)


def _held(row: Any) -> HeldDay:
    day = _data(row.source, row.base, row.published_on, row.rates)
    return trusted({"day": day, "jumps": row.jumps}, HeldDay)


def _values(workshop_id: UUID, day: DayRates) -> dict[str, Any]:
    return {
        "workshop_id": workshop_id,
        "source": day.source,
        "published_on": day.published_on,
        "base": day.base,
        "rates": encoded(day)["rates"],
    }


def _of_source(table: sa.Table, workshop_id: UUID, source: str) -> sa.ColumnElement[bool]:
    return sa.and_(table.c.workshop_id == workshop_id, table.c.source == source)


def find_day(connection: sa.Connection, workshop_id: UUID, source: str, published_on: date) -> StoredDay | None:
    """The source's rates of this day, or None."""
    ours = _of_source(exchange_rates, workshop_id, source)
    row = connection.execute(
        sa.select(exchange_rates).where(ours, exchange_rates.c.published_on == published_on)
    ).first()
    return None if row is None else StoredDay(day=_day(row), revision=row.revision)


_DAYS = (
    sa.select(exchange_rates.c.source, exchange_rates.c.base, exchange_rates.c.published_on, exchange_rates.c.rates)
    .where(
        exchange_rates.c.workshop_id == sa.bindparam("workshop_id"),
        exchange_rates.c.published_on.between(sa.bindparam("first"), sa.bindparam("last")),
    )
    .order_by(exchange_rates.c.published_on.desc(), exchange_rates.c.source)
)
"""Built once, because every new state of a workshop asks for it, and without memory every price that is converted."""


def days_until(database: Database, workshop_id: UUID, as_of: date, max_age_days: int) -> tuple[DayRates, ...]:
    """The days of every source that are at most `max_age_days` old, newest first."""
    first = as_of - timedelta(days=max_age_days)
    rows = database.rows(_DAYS, workshop_id=workshop_id, first=first, last=as_of)
    return tuple(trusted(_data(*row), DayRates) for row in rows)


def has_changed_since(connection: sa.Connection, workshop_id: UUID, as_of: date, since: date, begun: datetime) -> bool:
    """Whether rates up to `as_of` were published after `since`, or entered, replaced or withdrawn since `instant`."""
    found = connection.execute(
        sa.select(exchange_rates.c.published_on)
        .where(
            exchange_rates.c.workshop_id == workshop_id,
            exchange_rates.c.published_on <= as_of,
            sa.or_(exchange_rates.c.published_on > since, exchange_rates.c.changed_at >= begun),
        )
        .limit(1)
    )
    return found.first() is not None


def find_last_day(
    connection: sa.Connection, workshop_id: UUID, as_of: date, currencies: Collection[str]
) -> tuple[str, date] | None:
    """Source and day of the latest rates up to `as_of` that have all the currencies, whatever their age."""
    has_all = (
        sa.or_(exchange_rates.c.base == code, as_text(exchange_rates.c.rates).contains(f'"{code}"', autoescape=True))
        for code in currencies
    )
    row = connection.execute(
        sa.select(exchange_rates.c.source, exchange_rates.c.published_on)
        .where(exchange_rates.c.workshop_id == workshop_id, exchange_rates.c.published_on <= as_of, *has_all)
        .order_by(exchange_rates.c.published_on.desc(), exchange_rates.c.source)
        .limit(1)
    ).first()
    return None if row is None else (row.source, row.published_on)


def days_since(connection: sa.Connection, workshop_id: UUID, source: str, since: date) -> list[DayRates]:
    """The source's days from `since` on."""
    ours = _of_source(exchange_rates, workshop_id, source)
    rows = connection.execute(sa.select(exchange_rates).where(ours, exchange_rates.c.published_on >= since))
    return [_day(row) for row in rows]


def _newest(connection: sa.Connection, table: sa.Table, workshop_id: UUID, source: str) -> date | None:
    ours = _of_source(table, workshop_id, source)
    found: date | None = connection.execute(sa.select(sa.func.max(table.c.published_on)).where(ours)).scalar_one()
    return found


def find_newest_day(connection: sa.Connection, workshop_id: UUID, source: str) -> date | None:
    """The last day for which the source has rates in use."""
    return _newest(connection, exchange_rates, workshop_id, source)


def find_newest_known(connection: sa.Connection, workshop_id: UUID, source: str) -> date | None:
    """The last day for which the source has rates, in use or held back."""
    found = (_newest(connection, table, workshop_id, source) for table in (exchange_rates, held_exchange_rates))
    return max((day for day in found if day is not None), default=None)


def _page(
    connection: sa.Connection, table: sa.Table, workshop_id: UUID, before: tuple[date, str] | None, limit: int
) -> sa.CursorResult[Any]:
    """Rows, newest first and by source within a day, after the pair `before`."""
    query = sa.select(table).where(table.c.workshop_id == workshop_id)
    if before is not None:
        published_on, source = before
        query = query.where(
            sa.or_(
                table.c.published_on < published_on,
                sa.and_(table.c.published_on == published_on, table.c.source > source),
            )
        )
    return connection.execute(query.order_by(table.c.published_on.desc(), table.c.source).limit(limit))


def page_of_days(
    connection: sa.Connection, workshop_id: UUID, *, before: tuple[date, str] | None, limit: int
) -> list[DayRates]:
    """Days, newest first and by source within a day, after the pair `before`."""
    return [_day(row) for row in _page(connection, exchange_rates, workshop_id, before, limit)]


def page_of_held(
    connection: sa.Connection, workshop_id: UUID, *, before: tuple[date, str] | None, limit: int
) -> list[HeldDay]:
    """Days held back, newest first and by source within a day, after the pair `before`."""
    return [_held(row) for row in _page(connection, held_exchange_rates, workshop_id, before, limit)]


def held_days(connection: sa.Connection, workshop_id: UUID, source: str) -> dict[date, HeldDay]:
    """The source's days held back."""
    ours = _of_source(held_exchange_rates, workshop_id, source)
    found = (_held(row) for row in connection.execute(sa.select(held_exchange_rates).where(ours)))
    return {held.day.published_on: held for held in found}


def _delete(connection: sa.Connection, table: sa.Table, workshop_id: UUID, days: Iterable[tuple[str, date]]) -> None:
    keys = [{"workshop_id": workshop_id, "source": source, "published_on": on} for source, on in days]
    if keys:
        with metering.replaced(connection, table, workshop_id, *_span(table, keys)):
            connection.execute(table.delete().where(*(table.c[name] == sa.bindparam(name) for name in keys[0])), keys)


def _put(connection: sa.Connection, table: sa.Table, workshop_id: UUID, rows: list[dict[str, Any]]) -> None:
    if rows:
        with metering.replaced(connection, table, workshop_id, *_span(table, rows)):
            put(connection, table, *rows)


def _span(table: sa.Table, rows: list[dict[str, Any]]) -> Iterable[sa.ColumnElement[bool]]:
    """Holds for all of the rows, and for few others."""
    yield table.c.source.in_({row["source"] for row in rows})
    days = [row["published_on"] for row in rows]
    yield table.c.published_on.between(min(days), max(days))


def delete_days(connection: sa.Connection, workshop_id: UUID, days: Iterable[tuple[str, date]]) -> None:
    """Delete the days of these sources."""
    _delete(connection, exchange_rates, workshop_id, days)


def withdraw_day(connection: sa.Connection, workshop_id: UUID, source: str, published_on: date) -> None:
    """Delete a day of a source, and mark the earlier days that may now be in force as changed."""
    delete_days(connection, workshop_id, [(source, published_on)])
    connection.execute(
        exchange_rates.update()
        .where(exchange_rates.c.workshop_id == workshop_id, exchange_rates.c.published_on <= published_on)
        .where(exchange_rates.c.published_on >= published_on - timedelta(days=MAX_AGE_DAYS))
        .values(changed_at=clock.now())
    )


def delete_held(connection: sa.Connection, workshop_id: UUID, days: Iterable[tuple[str, date]]) -> None:
    """Stop holding back the days of these sources."""
    _delete(connection, held_exchange_rates, workshop_id, days)


def save_days(connection: sa.Connection, workshop_id: UUID, days: Collection[DayRates], revision: int) -> None:
    """Create or replace the days."""
    marks = {"revision": revision, "changed_at": clock.now()}
    _put(connection, exchange_rates, workshop_id, [{**_values(workshop_id, day), **marks} for day in days])


def save_held(connection: sa.Connection, workshop_id: UUID, held: Collection[HeldDay]) -> None:
    """Hold the days back."""
    rows = [{**_values(workshop_id, each.day), "jumps": encoded(each)["jumps"]} for each in held]
    _put(connection, held_exchange_rates, workshop_id, rows)


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedState:
    """How recent the feed's rates are: the last day in use, and when one last came into use."""

    newest_day: date | None
    changed_at: datetime | None


def find_feed_state(database: Database) -> FeedState | None:
    """The feed's state across workshops, for the operator; None if the database does not answer."""
    columns = sa.func.max(exchange_rates.c.published_on), sa.func.max(exchange_rates.c.changed_at)
    try:
        with database.reading() as connection:
            day, changed_at = connection.execute(sa.select(*columns).where(exchange_rates.c.source == FEED)).one()
    except sa.exc.SQLAlchemyError:
        return None
    return FeedState(newest_day=day, changed_at=changed_at)
