"""What each workshop stores."""

from collections.abc import Mapping
from uuid import UUID

from service.store.engine import metering
from service.store.engine.database import Database
from service.store.engine.metering import Stored
from service.store.workshop.workshops import lock_workshop


def storage_in_use(database: Database) -> Mapping[UUID, Stored]:
    """What every workshop stores, as counted."""
    with database.reading() as connection:
        return metering.use_of_all(connection)


def recount(database: Database, workshop_id: UUID) -> Mapping[str, Stored]:
    """What a workshop stores, by table, summed up from its rows; from then on that sum is what counts."""
    with database.writing() as connection:
        lock_workshop(connection, workshop_id)
        return metering.counted_anew(connection, workshop_id)
