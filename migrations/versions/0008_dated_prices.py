"""Prices in force have a first day, like rates: several of a listing are kept, each from its day on."""

from collections.abc import Iterator
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"

_workshops = sa.table("workshops", sa.column("workshop_id", sa.Uuid()), sa.column("time_zone"))
_repricings = sa.table(
    "repricings",
    sa.column("workshop_id", sa.Uuid()),
    sa.column("repricing_id", sa.Uuid()),
    sa.column("valid_from", sa.Date()),
    sa.column("applied_at", sa.DateTime(timezone=True)),
    sa.column("rolled_back_at", sa.DateTime(timezone=True)),
)
_changes = sa.table(
    "price_changes",
    sa.column("workshop_id", sa.Uuid()),
    sa.column("repricing_id", sa.Uuid()),
    sa.column("listing"),
    sa.column("decision"),
)
_prices = sa.table(
    "listing_prices",
    sa.column("workshop_id", sa.Uuid()),
    sa.column("listing"),
    sa.column("repricing_id", sa.Uuid()),
    sa.column("valid_from", sa.Date()),
    sa.column("valid_until", sa.Date()),
    sa.column("revision", sa.BigInteger()),
    sa.column("is_stale", sa.Boolean()),
)
_VALID_FROM = "the first day of the price"
_REVISION = "the workshop's when it was set; of one day the last counts"


def upgrade() -> None:
    first_day = sa.Column("valid_from", sa.Date(), comment="the first day of its prices, in the workshop's zone")
    op.add_column("repricings", first_day)
    until = "the first day on which it no longer counts, if it was rolled back"
    with op.batch_alter_table("listing_prices") as prices:
        prices.add_column(sa.Column("valid_from", sa.Date(), comment=_VALID_FROM))
        prices.add_column(sa.Column("valid_until", sa.Date(), comment=until))
        prices.add_column(sa.Column("revision", sa.BigInteger(), comment=_REVISION))
        prices.drop_constraint("pk_listing_prices", type_="primary")
        prices.create_primary_key("pk_listing_prices", ["workshop_id", "listing", "repricing_id"])
    for workshop_id, today_of in _zones():
        # Each repricing raised the workshop's revision, so that these numbers are below those to come.
        for number, each in enumerate(_applied(workshop_id), start=1):
            _give_days(each, number, today_of)
    with op.batch_alter_table("repricings") as repricings:
        repricings.alter_column("valid_from", existing_type=sa.Date(), nullable=False)
    with op.batch_alter_table("listing_prices") as prices:
        prices.alter_column("valid_from", existing_type=sa.Date(), nullable=False)
        prices.alter_column("revision", existing_type=sa.BigInteger(), nullable=False)
    op.create_index(
        "ix_listing_prices_workshop_id_listing_valid_from_revision",
        "listing_prices",
        ["workshop_id", "listing", "valid_from", "revision"],
    )


def _zones() -> Iterator[tuple[Any, Any]]:
    """Each workshop, with the function that tells the day of an instant there."""
    for workshop_id, name in op.get_bind().execute(sa.select(_workshops.c.workshop_id, _workshops.c.time_zone)).all():
        zone = ZoneInfo(name)

        def day_of(at: datetime, zone: ZoneInfo = zone) -> date:
            return (at if at.tzinfo else at.replace(tzinfo=UTC)).astimezone(zone).date()

        yield workshop_id, day_of


def _applied(workshop_id: Any) -> list[Any]:
    """Its repricings, oldest first."""
    query = sa.select(_repricings).where(_repricings.c.workshop_id == workshop_id)
    return list(op.get_bind().execute(query.order_by(_repricings.c.repricing_id)).all())


def _give_days(repricing: Any, number: int, day_of: Any) -> None:
    """Until now prices came in force at once: on the day of the application, until that of the rollback."""
    connection = op.get_bind()
    first = day_of(repricing.applied_at)
    end = None if repricing.rolled_back_at is None else max(first, day_of(repricing.rolled_back_at))
    for table, values in ((_repricings, {"valid_from": first}), (_prices, {"valid_from": first, "revision": number})):
        connection.execute(table.update().where(_of(table, repricing)).values(**values))
    # Only the present price of a listing was kept here; those before it follow from what was recorded.
    is_there = sa.exists().where(_of(_prices, repricing), _prices.c.listing == _changes.c.listing)
    came_in_force = _changes.c.decision.in_(["first", "changed"])
    earlier = sa.select(
        _changes.c.workshop_id,
        _changes.c.listing,
        _changes.c.repricing_id,
        sa.literal(first, sa.Date()),
        sa.literal(end, sa.Date()),
        sa.literal(number, sa.BigInteger()),
        sa.true(),
    ).where(_of(_changes, repricing), came_in_force, ~is_there)
    connection.execute(_prices.insert().from_select([column.name for column in _prices.columns], earlier))


def _of(table: Any, repricing: Any) -> Any:
    return sa.and_(table.c.workshop_id == repricing.workshop_id, table.c.repricing_id == repricing.repricing_id)


def downgrade() -> None:
    op.drop_index("ix_listing_prices_workshop_id_listing_valid_from_revision", "listing_prices")
    connection, other = op.get_bind(), _prices.alias("other")
    for workshop_id, day_of in _zones():
        today = day_of(connection.execute(sa.select(sa.func.now())).scalar_one())
        in_force = (
            sa.select(other.c.repricing_id)
            .where(
                other.c.workshop_id == workshop_id,
                other.c.listing == _prices.c.listing,
                other.c.valid_from <= today,
                sa.or_(other.c.valid_until.is_(None), other.c.valid_until > today),
            )
            .order_by(other.c.valid_from.desc(), other.c.revision.desc())
            .limit(1)
            .correlate(_prices)
            .scalar_subquery()
        )
        # Going back must not put in force at once what is set for a later day.
        others = _prices.c.workshop_id == workshop_id, _prices.c.repricing_id.is_distinct_from(in_force)
        connection.execute(_prices.delete().where(*others))
    with op.batch_alter_table("listing_prices") as prices:
        prices.drop_constraint("pk_listing_prices", type_="primary")
        for name in ("valid_from", "valid_until", "revision"):
            prices.drop_column(name)
        prices.create_primary_key("pk_listing_prices", ["workshop_id", "listing"])
    with op.batch_alter_table("repricings") as repricings:
        repricings.drop_column("valid_from")
