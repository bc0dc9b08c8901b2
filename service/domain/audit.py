"""The audit trail: who changed which fact, rate, price or key, and when."""

from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Any
from uuid import UUID


class Action(StrEnum):
    """What was done to a subject."""

    REGISTERED = "registered"
    REPLACED = "replaced"
    RETIRED = "retired"
    WITHDRAWN = "withdrawn"
    IMPORTED = "imported"
    FETCHED = "fetched"
    HELD_BACK = "held_back"
    RELEASED = "released"
    CONFIRMED = "confirmed"
    DROPPED = "dropped"
    REPRICED = "repriced"
    ROLLED_BACK = "rolled_back"
    LEARNT = "learnt"
    KEY_CREATED = "key_created"
    KEY_REVOKED = "key_revoked"


@dataclass(frozen=True, slots=True, kw_only=True)
class Actor:
    """The key that something is done with; its id is None where no key is needed."""

    name: str
    key_id: UUID | None


COMMAND_LINE = Actor(name="command line", key_id=None)
"""The operator at the command line, who needs no key."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A change of a subject; before and after are None where nothing was or is registered.

    Attributes:
        action: what was done.
    """

    subject: str
    action: Action
    before: Any
    after: Any


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedChange(Change):
    """A change on record.

    Attributes:
        change_id: of the act; what was changed in one step has the same. Of prices put in force it is the repricing's.
        at: when.
        by: name of the key that it was done with, or "command line".
        key_id: id of that key; none for the command line.
        subject: what was changed, as its address under /v1 has it, for instance "tariffs/grid/rates/2026-01-01",
            "listings/beam/price/2026-01-01", "exchange-rates/2026-11-20/ECB" (day and source), "products/beam/learning"
            (facts taken over from records) or "keys/" and its id.
        before: what held until then, as it is registered; null if nothing did.
        after: what has held since; null if nothing does.
    """

    change_id: UUID
    at: datetime
    by: str
    key_id: UUID | None


def rate_subject(resource: str, valid_from: date) -> str:
    """The subject of a dated rate."""
    return f"{resource}/rates/{valid_from}"


def exchange_subject(published_on: date, source: str, *, is_held: bool = False) -> str:
    """The subject of a source's exchange rates of a day, in use or held back."""
    return f"{'held-exchange-rates' if is_held else 'exchange-rates'}/{published_on}/{source}"


def learning_subject(product: str) -> str:
    """The subject of what is taken over from the records of a product."""
    return f"products/{product}/learning"


def key_subject(key_id: UUID) -> str:
    """The subject of a key."""
    return f"keys/{key_id}"
