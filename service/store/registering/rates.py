"""Dated rates: the terms of a resource from a day on."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service import clock
from service.domain.costing.rate_card import DatedRate
from service.domain.register import COLLECTIONS
from service.domain.values.references import Registered, Thing
from service.encoding import trusted
from service.store.engine import metering
from service.store.engine.stored_rows import put
from service.store.engine.tables import rates, registrations
from service.store.registering.registrations import by_collection, within


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRate:
    """A rate, and the workshop's revision when it last changed."""

    rate: DatedRate
    revision: int


_ONE = sa.select(rates).where(
    within(rates, *map(sa.bindparam, ("workshop_id", "collection", "code"))),
    rates.c.valid_from == sa.bindparam("valid_from"),
)
"""Built once, because every look at listings reads the terms of its channels with it."""


def find_rate(connection: sa.Connection, workshop_id: UUID, thing: Thing, valid_from: date) -> StoredRate | None:
    """The rate that begins on this day."""
    asked = {"workshop_id": workshop_id, **thing._asdict(), "valid_from": valid_from}
    row = connection.execute(_ONE, asked).first()
    return None if row is None else _stored_rate(row)


def _stored_rate(row: Any) -> StoredRate:
    terms_type = COLLECTIONS[row.collection].terms
    assert terms_type is not None  # only rated collections have rows here
    rate = DatedRate(
        resource=f"{row.collection}/{row.code}", valid_from=row.valid_from, terms=trusted(row.terms, terms_type)
    )
    return StoredRate(rate=rate, revision=row.revision)


def page_of_rates(
    connection: sa.Connection, workshop_id: UUID, thing: Thing, *, after: date | None, limit: int
) -> list[StoredRate]:
    """The rates by their first day, after the day `after`."""
    query = sa.select(rates).where(within(rates, workshop_id, *thing))
    if after is not None:
        query = query.where(rates.c.valid_from > after)
    return [_stored_rate(row) for row in connection.execute(query.order_by(rates.c.valid_from).limit(limit))]


def rates_of_some(
    connection: sa.Connection, workshop_id: UUID, things: Iterable[Thing]
) -> dict[Thing, dict[date, StoredRate]]:
    """All rates of some things, by first day."""
    found: dict[Thing, dict[date, StoredRate]] = {}
    for collection, some in by_collection(things):
        ours = rates.c.workshop_id == workshop_id, rates.c.collection == collection, rates.c.code.in_(some)
        for row in connection.execute(sa.select(rates).where(*ours).order_by(rates.c.code, rates.c.valid_from)):
            found.setdefault(Thing(collection, row.code), {})[row.valid_from] = _stored_rate(row)
    return found


def has_rates(connection: sa.Connection, workshop_id: UUID, thing: Thing) -> bool:
    """Whether it has any rate."""
    found = connection.execute(sa.select(rates.c.code).where(within(rates, workshop_id, *thing)).limit(1))
    return found.first() is not None


def save_rates(connection: sa.Connection, workshop_id: UUID, dated: Sequence[DatedRate], revision: int) -> None:
    """Create or replace rates, each of its first day."""
    changed_at = clock.now()
    of_things: dict[Thing, list[DatedRate]] = {}
    for rate in dated:
        of_things.setdefault(Thing.of(rate.resource), []).append(rate)
    for collection, some in by_collection(of_things):
        rows = (
            {
                "workshop_id": workshop_id,
                "collection": collection,
                "code": code,
                "valid_from": rate.valid_from,
                "terms": rate.terms,
                "revision": revision,
                "changed_at": changed_at,
            }
            for code in some
            for rate in of_things[Thing(collection, code)]
        )
        with metering.replaced(
            connection, rates, workshop_id, rates.c.collection == collection, rates.c.code.in_(some)
        ):
            put(connection, rates, *rows)


def delete_rate(connection: sa.Connection, workshop_id: UUID, thing: Thing, valid_from: date) -> None:
    """Delete the rate that begins on this day, and mark the one before it, now in force, as changed."""
    ours = within(rates, workshop_id, *thing)
    metering.removed(connection, rates, workshop_id, ours, rates.c.valid_from == valid_from)
    connection.execute(rates.delete().where(ours, rates.c.valid_from == valid_from))
    before = sa.select(sa.func.max(rates.c.valid_from)).where(ours, rates.c.valid_from < valid_from).scalar_subquery()
    connection.execute(rates.update().where(ours, rates.c.valid_from == before).values(changed_at=clock.now()))


def _latest(workshop_id: UUID, as_of: date) -> sa.Subquery:
    """The first day of the rate in force, by collection and code."""
    return (
        sa.select(rates.c.collection, rates.c.code, sa.func.max(rates.c.valid_from).label("valid_from"))
        .where(rates.c.workshop_id == workshop_id, rates.c.valid_from <= as_of)
        .group_by(rates.c.collection, rates.c.code)
        .subquery()
    )


def _in_force(workshop_id: UUID, as_of: date) -> sa.Select[Any]:
    latest = _latest(workshop_id, as_of)
    return (
        sa.select(rates, registrations.c.facts)
        .join(
            latest,
            sa.and_(
                rates.c.collection == latest.c.collection,
                rates.c.code == latest.c.code,
                rates.c.valid_from == latest.c.valid_from,
            ),
        )
        .join(registrations, within(registrations, rates.c.workshop_id, rates.c.collection, rates.c.code))
        .where(rates.c.workshop_id == workshop_id, registrations.c.retired_at.is_(None))
        .order_by(rates.c.collection, rates.c.code)
    )


def rates_in_force(connection: sa.Connection, workshop_id: UUID, as_of: date) -> list[tuple[DatedRate, Registered]]:
    """Every rate in force on the date, with the registered thing that it prices."""
    return [
        (_stored_rate(row).rate, trusted(row.facts, COLLECTIONS[row.collection].facts))
        for row in connection.execute(_in_force(workshop_id, as_of))
    ]


def days_in_force(
    connection: sa.Connection, workshop_id: UUID, as_of: date, collections: Iterable[str]
) -> dict[str, date]:
    """The first day of every rate of some collections that is in force on the date, by resource."""
    wanted = _in_force(workshop_id, as_of).where(rates.c.collection.in_(list(collections)))
    columns = rates.c.collection, rates.c.code, rates.c.valid_from
    return {f"{name}/{code}": day for name, code, day in connection.execute(wanted.with_only_columns(*columns))}


def rates_on(
    connection: sa.Connection, workshop_id: UUID, as_of: date, collections: Iterable[str] | None = None
) -> dict[str, DatedRate]:
    """Every rate in force on the date, by resource; of some collections if they are named."""
    wanted = _in_force(workshop_id, as_of)
    if collections is not None:
        wanted = wanted.where(rates.c.collection.in_(list(collections)))
    found = (_stored_rate(row).rate for row in connection.execute(wanted.with_only_columns(*rates.c)))
    return {rate.resource: rate for rate in found}


def find_rate_before(connection: sa.Connection, workshop_id: UUID, thing: Thing, day: date) -> DatedRate | None:
    """The last rate of a thing that begins before a day."""
    query = sa.select(rates).where(within(rates, workshop_id, *thing), rates.c.valid_from < day)
    row = connection.execute(query.order_by(rates.c.valid_from.desc()).limit(1)).first()
    return None if row is None else _stored_rate(row).rate


def resources_changed(
    connection: sa.Connection, workshop_id: UUID, as_of: date, since: date, instant: datetime
) -> list[str]:
    """Resources whose terms on `as_of` began after `since` or were entered at `instant` or later, or that have none."""
    changed = _in_force(workshop_id, as_of).where(sa.or_(rates.c.valid_from > since, rates.c.changed_at >= instant))
    rated = sa.select(rates.c.code).where(
        rates.c.workshop_id == workshop_id,
        rates.c.collection == registrations.c.collection,
        rates.c.code == registrations.c.code,
        rates.c.valid_from <= as_of,
    )
    unrated = sa.select(registrations.c.collection, registrations.c.code).where(
        registrations.c.workshop_id == workshop_id,
        registrations.c.collection.in_([each.name for each in COLLECTIONS.values() if each.terms is not None]),
        registrations.c.retired_at.is_(None),
        ~rated.exists(),
    )
    return [f"{row.collection}/{row.code}" for query in (changed, unrated) for row in connection.execute(query)]


def first_rate_days(connection: sa.Connection, workshop_id: UUID, resources: Iterable[str]) -> dict[str, date]:
    """The first day of the first rate, of those resources that have any."""
    found: dict[str, date] = {}
    for resource in resources:
        thing = Thing.of(resource)
        first = connection.execute(
            sa.select(sa.func.min(rates.c.valid_from)).where(within(rates, workshop_id, *thing))
        ).scalar_one()
        if first is not None:
            found[resource] = first
    return found


def rates_beginning(
    connection: sa.Connection, workshop_id: UUID, after: date, until: date
) -> list[tuple[str, str, date]]:
    """Resource, name and first day of the rates that begin after one day, until another; by first day."""
    found = (
        sa.select(rates.c.collection, rates.c.code, rates.c.valid_from, registrations.c.facts)
        .join(registrations, within(registrations, rates.c.workshop_id, rates.c.collection, rates.c.code))
        .where(
            rates.c.workshop_id == workshop_id,
            rates.c.valid_from > after,
            rates.c.valid_from <= until,
            registrations.c.retired_at.is_(None),
        )
        .order_by(rates.c.valid_from, rates.c.collection, rates.c.code)
    )
    return [
        (f"{row.collection}/{row.code}", row.facts["name"] or row.code, row.valid_from)
        for row in connection.execute(found)
    ]
