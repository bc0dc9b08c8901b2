"""What was asked for under an idempotency key, and what was answered."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

import sqlalchemy as sa

from service.store.engine.database import Connection
from service.store.engine.tables import idempotency_keys
from service.store.engine.upserts import inserting

_OPEN = idempotency_keys.c.status.is_(None)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredAnswer:
    """An answer, as it was given the first time.

    Attributes:
        status: the HTTP status.
        headers: header fields.
        body: the body; None if it can be written again from what is on record.
    """

    status: int
    headers: Mapping[str, str]
    body: bytes | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """A request under a key.

    Attributes:
        key: as the client chose it.
        fingerprint: of the request.
        claimed_at: when it was last begun.
        answer: what was answered; None while it is being worked on.
    """

    key: str
    fingerprint: str
    claimed_at: datetime
    answer: StoredAnswer | None = None


def _row(workshop_id: UUID, key: str) -> sa.ColumnElement[bool]:
    return sa.and_(idempotency_keys.c.workshop_id == workshop_id, idempotency_keys.c.key == key)


def add_claim(connection: Connection, workshop_id: UUID, claim: Claim) -> bool:
    """Keep that the request is being worked on; whether the key was free."""
    added = connection.execute(
        inserting(connection, idempotency_keys)
        .values(workshop_id=workshop_id, key=claim.key, fingerprint=claim.fingerprint, claimed_at=claim.claimed_at)
        .on_conflict_do_nothing()
        .returning(idempotency_keys.c.key)
    )
    return added.first() is not None


def find_claim(connection: Connection, workshop_id: UUID, key: str) -> Claim | None:
    """What the key was used for."""
    row = connection.execute(sa.select(idempotency_keys).where(_row(workshop_id, key))).first()
    if row is None:
        return None
    answer = None
    if row.status is not None:
        answer = StoredAnswer(status=row.status, headers=row.headers, body=row.body)
    return Claim(key=row.key, fingerprint=row.fingerprint, claimed_at=row.claimed_at, answer=answer)


def renew_claim(connection: Connection, workshop_id: UUID, found: Claim, now: datetime) -> bool:
    """Begin anew what was cut off; whether nobody else has."""
    renewed = connection.execute(
        idempotency_keys.update()
        .where(_row(workshop_id, found.key), _OPEN, idempotency_keys.c.claimed_at == found.claimed_at)
        .values(claimed_at=now)
    )
    return renewed.rowcount == 1


def keep_answer(connection: Connection, workshop_id: UUID, claim: Claim, answer: StoredAnswer) -> bool:
    """Keep the answer; whether there was none yet."""
    done = connection.execute(
        idempotency_keys.update()
        .where(_row(workshop_id, claim.key), _OPEN)
        .values(status=answer.status, headers=dict(answer.headers), body=answer.body)
    )
    return done.rowcount == 1


def release_claim(connection: Connection, workshop_id: UUID, claim: Claim) -> None:
    """Leave the key free again, unless somebody else has begun anew with it."""
    connection.execute(
        idempotency_keys.delete().where(
            _row(workshop_id, claim.key), _OPEN, idempotency_keys.c.claimed_at == claim.claimed_at
        )
    )


def forget_claims(connection: Connection, workshop_id: UUID, before: datetime) -> None:
    """Forget what was begun before a moment."""
    connection.execute(
        idempotency_keys.delete().where(
            idempotency_keys.c.workshop_id == workshop_id, idempotency_keys.c.claimed_at < before
        )
    )
