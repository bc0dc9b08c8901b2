"""What depends on something: everything that refers to it, at any depth."""

from collections.abc import Iterable
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.values.references import Thing
from service.store.engine.tables import registrations, uses


def resting_on(workshop_id: UUID, things: Iterable[Thing]) -> sa.CTE:
    """The things, and everything that refers to them directly or through others."""
    by_collection: dict[str, list[str]] = {}
    for collection, code in things:
        by_collection.setdefault(collection, []).append(code)
    ours = sa.select(registrations.c.collection, registrations.c.code).where(registrations.c.workshop_id == workshop_id)
    begin: list[sa.Select[Any]] = [
        ours.where(registrations.c.collection == collection, registrations.c.code.in_(codes))
        for collection, codes in by_collection.items()
    ]
    reached = begin[0].cte("resting", recursive=True)
    return reached.union(
        *begin[1:],
        sa.select(uses.c.collection, uses.c.code).where(
            uses.c.workshop_id == workshop_id,
            uses.c.used_collection == reached.c.collection,
            uses.c.used_code == reached.c.code,
        ),
    )
