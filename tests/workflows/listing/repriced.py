"""Shorthand for tests of repricing without HTTP: preview, apply, and read the result."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.listing.price_change import RepricingFigures
from service.domain.listing.repricing import RepricingRequest
from service.domain.values.references import Thing
from service.encoding import decoded, encoded, plain_data
from service.store.engine.database import Database
from service.workflows.listing import repricing, repricing_records
from service.workflows.registering import registering
from tests.api.repriced import FIRST, MONDAY
from tests.support import builders
from tests.workflows.owner import Owner

LATER = date(2100, 1, 1)
"""A day on which all prices of a test are in force, whichever day it is today."""


@dataclass(frozen=True, kw_only=True)
class Repriced:
    """What a repricing would do or did.

    Attributes:
        changes: the changes as they are shown, by listing.
        figures: the figures for all listings together.
        id: the id of the recorded repricing; None if nothing was recorded.
    """

    changes: dict[str, Any]
    figures: RepricingFigures
    id: UUID | None = None

    @property
    def decisions(self) -> dict[str, str]:
        return {code: change["decision"] for code, change in self.changes.items()}


def asked(as_of: str, body: dict[str, Any]) -> RepricingRequest:
    return decoded({"as_of": as_of, **body}, RepricingRequest)


def previewed(owner: Owner, as_of: str = MONDAY, **body: Any) -> Repriced:
    """What a repricing would do."""
    with repricing.preview(owner.workspace, asked(as_of, body)) as seen:
        changes = {listing: plain_data(text) for listing, text in seen.changes()}
        return Repriced(changes=changes, figures=seen.figures())


def put_in_force(owner: Owner, as_of: str = FIRST, **body: Any) -> Repriced:
    """Apply a repricing. It may find nothing to change."""
    done = repricing.apply(owner.workspace, asked(as_of, body), lambda _: True)
    if done.repricing is None:
        return Repriced(changes={}, figures=done.figures)
    told = repricing_records.list_changes(owner.workspace, done.repricing.id, after="", limit=100)
    changes = {listing: plain_data(text) for listing, text in told}
    return Repriced(changes=changes, figures=done.figures, id=done.repricing.id)


def applied(owner: Owner, as_of: str = FIRST, **body: Any) -> Repriced:
    """Apply a repricing. Fails if it finds nothing to change."""
    done = put_in_force(owner, as_of, **body)
    assert done.id is not None
    return done


def looked_at(owner: Owner, as_of: str = MONDAY, **body: Any) -> list[str]:
    """The listings in the scope of a repricing."""
    return sorted(previewed(owner, as_of, include_unchanged=True, **body).changes)


def effects(change: dict[str, Any]) -> dict[str, str]:
    """The amount that each cause contributes to the change, by resource and cause."""
    return {f"{each['resource']} {each['cause']}": each["amount"]["amount"] for each in change["effects"]}


def history(owner: Owner, listing: str) -> list[str]:
    """The past and present prices of a listing that were not rolled back, newest first."""
    found = repricing_records.price_history(owner.workspace, listing, LATER, before=None, limit=100)
    return [str(each.price.amount) for each in found if each.rolled_back_at is None]


def facts_of(owner: Owner, path: str) -> dict[str, Any]:
    collection, _, code = path.partition("/")
    facts: dict[str, Any] = encoded(registering.find_one(owner.workspace, Thing(collection, code)).facts)
    return facts


def change_facts(owner: Owner, path: str, **changed: Any) -> None:
    owner.put(path, {**facts_of(owner, path), **changed})


def raise_electricity(owner: Owner, day: str = "0.39", night: str = "0.18", on: str = MONDAY) -> None:
    owner.put_rate("tariffs/grid", on, builders.tariff_rate(day, night))


def withdraw(owner: Owner, path: str, day: str) -> None:
    registering.withdraw_rate(owner.workspace, Thing.of(path), date.fromisoformat(day))


@contextmanager
def statements(database: Database) -> Iterator[list[str]]:
    """Every SQL statement sent to the database within the block."""
    sent: list[str] = []

    def listen(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        sent.append(statement)

    sa.event.listen(database.engine, "before_cursor_execute", listen)
    try:
        yield sent
    finally:
        sa.event.remove(database.engine, "before_cursor_execute", listen)
