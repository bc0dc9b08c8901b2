"""Ids that rise with each row of a workshop, also if a clock is set back or two machines' clocks differ."""

from functools import cache
from typing import Any
from uuid import UUID

import sqlalchemy as sa
from uuid_utils.compat import uuid7

from service import clock

_BELOW_THE_TIME = 80
"""Bits of a UUIDv7 after its 48 bits of milliseconds since 1970 (RFC 9562, 5.7)."""
MAX_MILLISECONDS = 2**47
"""Ids of a later time are not imported, so that there is always a next one."""


def milliseconds_of(rising_id: UUID) -> int:
    """The time of a UUIDv7, in milliseconds since 1970."""
    return rising_id.int >> _BELOW_THE_TIME


def next_id(connection: sa.Connection, workshop_id: UUID, *columns: sa.Column[UUID]) -> UUID:
    """A UUIDv7 of the present time, or of just after the greatest id in the columns if that is not before it.

    Lists are sorted by such ids. Under the workshop's lock, so that no other row gets one in between.
    """
    made = _of(int(clock.now().timestamp() * 1000))
    for column in columns:
        last = connection.execute(_newest(column), {"workshop_id": workshop_id}).scalar()
        if last is not None and last >= made:
            made = _of(milliseconds_of(last) + 1)
    return made


@cache
def _newest(column: sa.Column[UUID]) -> sa.Select[Any]:
    ours = column.table.c.workshop_id == sa.bindparam("workshop_id")
    return sa.select(column).where(ours).order_by(column.desc()).limit(1)  # PostgreSQL 15 has no max() of ids


def _of(milliseconds: int) -> UUID:
    rest: int = uuid7().int & ((1 << _BELOW_THE_TIME) - 1)  # its version, and what is random
    return UUID(int=(milliseconds << _BELOW_THE_TIME) | rest)
