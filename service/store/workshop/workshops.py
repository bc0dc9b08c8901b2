"""Workshops and their keys."""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

import sqlalchemy as sa
from uuid_utils.compat import uuid7

from service import clock
from service.domain.audit import Actor
from service.store.engine.database import Database
from service.store.engine.tables import api_keys, workshops
from service.store.workshop.rising_ids import next_id

_PREFIX = "pugmill"
_SECRET_BYTES = 32
_ID_LENGTH = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Workshop:
    """A workshop, the owner of everything stored.

    Attributes:
        address: as on a letter, lines separated by line breaks.
        locale: CLDR locale of its documents, such as "en_IE".
        time_zone: IANA name; decides what today is.
        revision: rises with every change of facts or rates; the memory is keyed by it, so a workshop must be read
            anew for every request.
    """

    workshop_id: UUID
    name: str
    address: str
    currency: str
    locale: str
    time_zone: str
    revision: int

    def today(self) -> date:
        """Today's date in the workshop's time zone."""
        return clock.today_in(self.time_zone)


@dataclass(frozen=True, slots=True, kw_only=True)
class ApiKey:
    """A key, without its secret; it is named after whom or what it was given to."""

    key_id: UUID
    name: str
    scopes: frozenset[str]
    created_at: datetime
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Access:
    """The workshop that a key opens, and the facts of the key.

    Attributes:
        cursor_secret: seals the cursors of the workshop's lists.
    """

    workshop: Workshop
    key_id: UUID
    key_name: str
    scopes: frozenset[str]
    cursor_secret: str

    @property
    def actor(self) -> Actor:
        """Who acts with this key, for the audit trail."""
        return Actor(name=self.key_name, key_id=self.key_id)


def _digest(key: str) -> str:
    # The key is 256 random bits and cannot be guessed, so a fast hash is enough.
    return hashlib.sha256(key.encode()).hexdigest()


def new_workshop(*, name: str, address: str, currency: str, locale: str, time_zone: str) -> Workshop:
    """A workshop that is not stored yet."""
    return Workshop(
        workshop_id=uuid7(),
        name=name,
        address=address,
        currency=currency,
        locale=locale,
        time_zone=time_zone,
        revision=0,
    )


def add_workshop(connection: sa.Connection, workshop: Workshop) -> None:
    """Store a new, empty workshop."""
    values = {name: getattr(workshop, name) for name in _FIELDS}
    connection.execute(workshops.insert(), {**values, "created_at": clock.now()})


def add_key(connection: sa.Connection, workshop_id: UUID, name: str, scopes: frozenset[str]) -> tuple[UUID, str]:
    """Returns the id and the text of a new key; only its digest is stored."""
    key_id = next_id(connection, workshop_id, api_keys.c.key_id)
    key = f"{_PREFIX}_{workshop_id.hex}_{secrets.token_urlsafe(_SECRET_BYTES)}"
    connection.execute(
        api_keys.insert(),
        {
            "workshop_id": workshop_id,
            "key_id": key_id,
            "name": name,
            "digest": _digest(key),
            "scopes": " ".join(sorted(scopes)),
            "created_at": clock.now(),
        },
    )
    return key_id, key


def workshop_of_key(key: str) -> UUID | None:
    """The workshop that the key names, so that every query stays within one workshop; None if it is malformed."""
    prefix, _, rest = key.partition("_")
    workshop, _, secret = rest.partition("_")
    if prefix != _PREFIX or len(workshop) != _ID_LENGTH or not secret or not key.isascii():
        return None
    try:
        return UUID(hex=workshop)
    except ValueError:
        return None


_FIELDS = ("workshop_id", "name", "address", "currency", "locale", "time_zone", "revision")
_ACCESS = (
    sa.select(
        *(workshops.c[name] for name in _FIELDS),
        api_keys.c.key_id,
        api_keys.c.name.label("key_name"),
        api_keys.c.scopes,
        workshops.c.cursor_secret,
    )
    .join_from(workshops, api_keys, workshops.c.workshop_id == api_keys.c.workshop_id)
    .where(
        workshops.c.workshop_id == sa.bindparam("workshop_id"),
        api_keys.c.workshop_id == sa.bindparam("workshop_id"),
        api_keys.c.digest == sa.bindparam("digest"),
        api_keys.c.revoked_at.is_(None),
    )
)


def find_access(database: Database, key: str) -> Access | None:
    """What the key gives access to; None if it is unknown or revoked."""
    workshop_id = workshop_of_key(key)
    if workshop_id is None:
        return None
    rows = database.rows(_ACCESS, workshop_id=workshop_id, digest=_digest(key))
    if not rows:
        return None
    *workshop, key_id, key_name, scopes, cursor_secret = rows[0]
    return Access(
        workshop=Workshop(**dict(zip(_FIELDS, workshop, strict=True))),
        key_id=key_id,
        key_name=key_name,
        scopes=frozenset(scopes.split()),
        cursor_secret=cursor_secret,
    )


def find_workshop(connection: sa.Connection, workshop_id: UUID) -> Workshop | None:
    """The workshop with this id, or None."""
    row = connection.execute(
        sa.select(*(workshops.c[name] for name in _FIELDS)).where(workshops.c.workshop_id == workshop_id)
    ).first()
    return None if row is None else Workshop(**row._mapping)


def all_workshops(connection: sa.Connection) -> list[Workshop]:
    """Every workshop, oldest first."""
    rows = connection.execute(sa.select(*(workshops.c[name] for name in _FIELDS)).order_by(workshops.c.workshop_id))
    return [Workshop(**row._mapping) for row in rows]


def keys_of(connection: sa.Connection, workshop_id: UUID) -> list[ApiKey]:
    """All keys of the workshop, revoked ones too, oldest first."""
    rows = connection.execute(
        sa.select(api_keys.c.key_id, api_keys.c.name, api_keys.c.scopes, api_keys.c.created_at, api_keys.c.revoked_at)
        .where(api_keys.c.workshop_id == workshop_id)
        .order_by(api_keys.c.key_id)
    )
    return [ApiKey(**{**row._mapping, "scopes": frozenset(row.scopes.split())}) for row in rows]


def revoke_key(connection: sa.Connection, workshop_id: UUID, key_id: UUID) -> tuple[str, frozenset[str]] | None:
    """Revoke the key for good; returns its name and scopes, or None if it was not valid."""
    closed = connection.execute(
        api_keys.update()
        .where(api_keys.c.workshop_id == workshop_id, api_keys.c.key_id == key_id, api_keys.c.revoked_at.is_(None))
        .values(revoked_at=clock.now())
        .returning(api_keys.c.name, api_keys.c.scopes)
    ).first()
    return None if closed is None else (closed.name, frozenset(closed.scopes.split()))


def lock_workshop(connection: sa.Connection, workshop_id: UUID) -> int:
    """Lock the workshop against other writers until the transaction ends; returns its revision."""
    return int(
        connection.execute(
            sa.select(workshops.c.revision).where(workshops.c.workshop_id == workshop_id).with_for_update()
        ).scalar_one()
    )


def next_revision(connection: sa.Connection, workshop_id: UUID) -> int:
    """Raise the workshop's revision by one."""
    return int(
        connection.execute(
            workshops.update()
            .where(workshops.c.workshop_id == workshop_id)
            .values(revision=workshops.c.revision + 1)
            .returning(workshops.c.revision)
        ).scalar_one()
    )
