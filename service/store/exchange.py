"""Exchange rates as they were published or entered."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.exchange import DayRates
from service.encoding import decoded, encoded
from service.store.tables import exchange_rates


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredDay:
    """A row of the exchange rates.

    Attributes:
        day: the rates as they were published or entered.
        revision: the workshop's revision when it last changed.
    """

    day: DayRates
    revision: int


def _day(row: Any) -> DayRates:
    return decoded(
        {
            "source": row.source,
            "base": row.base,
            "published_on": row.published_on.isoformat(),
            "rates": json.loads(row.rates),
        },
        DayRates,
    )


def find_day(connection: sa.Connection, workshop_id: UUID, source: str, published_on: date) -> StoredDay | None:
    """What the source published for this day."""
    row = connection.execute(
        sa.select(exchange_rates).where(
            exchange_rates.c.workshop_id == workshop_id,
            exchange_rates.c.source == source,
            exchange_rates.c.published_on == published_on,
        )
    ).first()
    return None if row is None else StoredDay(day=_day(row), revision=row.revision)


def days_until(connection: sa.Connection, workshop_id: UUID, as_of: date, max_age_days: int) -> tuple[DayRates, ...]:
    """Every source's days no older than the maximum age, newest first."""
    rows = connection.execute(
        sa.select(exchange_rates)
        .where(
            exchange_rates.c.workshop_id == workshop_id,
            exchange_rates.c.published_on <= as_of,
            exchange_rates.c.published_on >= as_of - timedelta(days=max_age_days),
        )
        .order_by(exchange_rates.c.published_on.desc(), exchange_rates.c.source)
    )
    return tuple(_day(row) for row in rows)


def page_of_days(
    connection: sa.Connection, workshop_id: UUID, *, before: tuple[date, str] | None, limit: int
) -> list[DayRates]:
    """Days by date and source, newest first, beyond the pair `before`."""
    query = sa.select(exchange_rates).where(exchange_rates.c.workshop_id == workshop_id)
    if before is not None:
        published_on, source = before
        query = query.where(
            sa.or_(
                exchange_rates.c.published_on < published_on,
                sa.and_(exchange_rates.c.published_on == published_on, exchange_rates.c.source > source),
            )
        )
    query = query.order_by(exchange_rates.c.published_on.desc(), exchange_rates.c.source).limit(limit)
    return [_day(row) for row in connection.execute(query)]


def save_days(connection: sa.Connection, workshop_id: UUID, days: Iterable[DayRates], revision: int) -> None:
    """Create or replace the days."""
    for day in days:
        values = {"base": day.base, "rates": json.dumps(encoded(day)["rates"]), "revision": revision}
        key = {"workshop_id": workshop_id, "source": day.source, "published_on": day.published_on}
        changed = connection.execute(
            exchange_rates.update()
            .where(*(exchange_rates.c[name] == value for name, value in key.items()))
            .values(values)
        )
        if changed.rowcount == 0:
            connection.execute(exchange_rates.insert(), {**key, **values})
