"""Create workshops; create and revoke their keys."""

from typing import Any
from uuid import UUID

from service.domain.audit import COMMAND_LINE, Action, Actor, Change, key_subject
from service.store.engine.database import Connection, Database
from service.store.workshop import audit, workshops
from service.store.workshop.workshops import Access, ApiKey, Workshop


def open_with(database: Database, key: str) -> Access | None:
    """The access that a key gives; None if it is unknown or revoked."""
    return workshops.find_access(database, key)


def create_workshop(database: Database, workshop: Workshop, key_name: str, by: Actor = COMMAND_LINE) -> str:
    """Store a new workshop and return its first key, which may read and write; it is never shown again."""
    with database.writing() as connection:
        workshops.add_workshop(connection, workshop)
        return add_key(connection, workshop.workshop_id, key_name, frozenset({"read", "write"}), by)


def add_key(connection: Connection, workshop_id: UUID, name: str, scopes: frozenset[str], by: Actor) -> str:
    """Create and record another key in an open transaction; it is never shown again."""
    key_id, key = workshops.add_key(connection, workshop_id, name, scopes)
    created = Change(
        subject=key_subject(key_id), action=Action.KEY_CREATED, before=None, after=_without_secret(name, scopes)
    )
    audit.record(connection, workshop_id, by, [created])
    return key


def _without_secret(name: str, scopes: frozenset[str]) -> dict[str, Any]:
    return {"name": name, "scopes": sorted(scopes)}


def list_workshops(database: Database) -> list[Workshop]:
    """Every workshop, oldest first."""
    with database.reading() as connection:
        return workshops.all_workshops(connection)


def create_key(
    database: Database, workshop_id: UUID, name: str, scopes: frozenset[str], by: Actor = COMMAND_LINE
) -> str:
    """Create another key; it is never shown again."""
    with database.writing() as connection:
        return add_key(connection, workshop_id, name, scopes, by)


def list_keys(database: Database, workshop_id: UUID) -> list[ApiKey]:
    """All keys of the workshop, oldest first, without their secrets."""
    with database.reading() as connection:
        return workshops.keys_of(connection, workshop_id)


def revoke_key(database: Database, workshop_id: UUID, key_id: UUID, by: Actor = COMMAND_LINE) -> bool:
    """Revoke a key for good; returns whether it was valid."""
    with database.writing() as connection:
        closed = workshops.revoke_key(connection, workshop_id, key_id)
        if closed is None:
            return False
        before = _without_secret(*closed)
        revoked = Change(subject=key_subject(key_id), action=Action.KEY_REVOKED, before=before, after=None)
        audit.record(connection, workshop_id, by, [revoked])
    return True
