"""Making workshops, and giving out and taking back their keys."""

from uuid import UUID

from service.store import workshops
from service.store.database import Database
from service.store.workshops import Access, ApiKey, Workshop


def open_with(database: Database, key: str) -> Access | None:
    """What a key opens; None if it is unknown or revoked."""
    with database.reading() as connection:
        return workshops.find_access(connection, key)


def create_workshop(database: Database, workshop: Workshop, key_name: str) -> str:
    """Keep a new workshop and give out its first key, which may read and write; it is never shown again."""
    with database.writing() as connection:
        workshops.add_workshop(connection, workshop)
        return workshops.add_key(connection, workshop.workshop_id, key_name, frozenset({"read", "write"}))


def list_workshops(database: Database) -> list[Workshop]:
    """Every workshop, oldest first."""
    with database.reading() as connection:
        return workshops.all_workshops(connection)


def create_key(database: Database, workshop_id: UUID, name: str, scopes: frozenset[str]) -> str:
    """Another key; never shown again."""
    with database.writing() as connection:
        return workshops.add_key(connection, workshop_id, name, scopes)


def list_keys(database: Database, workshop_id: UUID) -> list[ApiKey]:
    """Every key the workshop was given, oldest first, without their secrets."""
    with database.reading() as connection:
        return workshops.keys_of(connection, workshop_id)


def revoke_key(database: Database, workshop_id: UUID, key_id: UUID) -> bool:
    """Close a key for good; whether it was open."""
    with database.writing() as connection:
        return workshops.revoke_key(connection, workshop_id, key_id)
