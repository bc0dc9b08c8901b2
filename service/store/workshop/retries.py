"""Requests under an idempotency key, and the answers stored for them."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import sqlalchemy as sa

from service.store.engine import metering
from service.store.engine.database import Connection
from service.store.engine.stored_rows import inserting
from service.store.engine.tables import idempotency_keys

_OPEN = idempotency_keys.c.status.is_(None)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredAnswer:
    """The first answer to a request; its body is None if it can be written again from the record."""

    status: int
    headers: Mapping[str, str]
    body: bytes | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A request under a key.

    Attributes:
        key: as the client chose it.
        claimed_at: when work on it last began.
        answer: None while it is being worked on.
    """

    key: str
    fingerprint: str
    claimed_at: datetime
    answer: StoredAnswer | None = None


def _row(workshop_id: UUID, key: str) -> sa.ColumnElement[bool]:
    return sa.and_(idempotency_keys.c.workshop_id == workshop_id, idempotency_keys.c.key == key)


def add_claim(connection: Connection, workshop_id: UUID, claim: Claim) -> bool:
    """Claim a key for a request; returns whether it was free."""
    added = connection.execute(
        inserting(connection.dialect.name, idempotency_keys)
        .values(workshop_id=workshop_id, key=claim.key, fingerprint=claim.fingerprint, claimed_at=claim.claimed_at)
        .on_conflict_do_nothing()
        .returning(idempotency_keys.c.key)
    )
    is_added = added.first() is not None
    if is_added:
        metering.count(connection, workshop_id, 1, metering.ROW_BYTES)
    return is_added


def find_claim(connection: Connection, workshop_id: UUID, key: str) -> Claim | None:
    """The claim on this key, or None."""
    row = connection.execute(sa.select(idempotency_keys).where(_row(workshop_id, key))).first()
    if row is None:
        return None
    answer = None
    if row.status is not None:
        answer = StoredAnswer(status=row.status, headers=row.headers, body=row.body)
    return Claim(key=row.key, fingerprint=row.fingerprint, claimed_at=row.claimed_at, answer=answer)


def renew_claim(connection: Connection, workshop_id: UUID, found: Claim, now: datetime) -> bool:
    """Take over a claim whose work was cut off; returns False if somebody else has."""
    renewed = connection.execute(
        idempotency_keys.update()
        .where(_row(workshop_id, found.key), _OPEN, idempotency_keys.c.claimed_at == found.claimed_at)
        .values(claimed_at=now)
    )
    return renewed.rowcount == 1


def keep_answer(connection: Connection, workshop_id: UUID, claim: Claim, answer: StoredAnswer) -> bool:
    """Store the answer; returns False if there already is one."""
    with metering.replaced(connection, idempotency_keys, workshop_id, _row(workshop_id, claim.key)):
        done = connection.execute(
            idempotency_keys.update()
            .where(_row(workshop_id, claim.key), _OPEN)
            .values(status=answer.status, headers=dict(answer.headers), body=answer.body)
        )
    return done.rowcount == 1


def release_claim(connection: Connection, workshop_id: UUID, claim: Claim) -> None:
    """Free the key, unless somebody else has taken the claim over."""
    _delete(
        connection, workshop_id, _row(workshop_id, claim.key), _OPEN, idempotency_keys.c.claimed_at == claim.claimed_at
    )


def forget_claims(connection: Connection, workshop_id: UUID, before: datetime) -> None:
    """Delete the claims from before an instant."""
    _delete(connection, workshop_id, idempotency_keys.c.claimed_at < before)


def _delete(connection: Connection, workshop_id: UUID, *conditions: sa.ColumnElement[bool]) -> None:
    metering.removed(connection, idempotency_keys, workshop_id, *conditions)
    connection.execute(idempotency_keys.delete().where(idempotency_keys.c.workshop_id == workshop_id, *conditions))
