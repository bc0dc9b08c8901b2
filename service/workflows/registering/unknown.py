"""What is said of a code under which nothing is registered."""

from collections.abc import Iterable, Iterator
from uuid import UUID

from service.domain import register
from service.domain.register import COLLECTIONS
from service.domain.values.errors import InvalidValueError
from service.domain.values.references import Reference, Thing
from service.nearest import did_you_mean
from service.store.engine.database import Connection
from service.store.registering.registrations import codes_near
from service.workflows.errors import NotRegisteredError
from service.workflows.workspace import Workspace

_GUESSES, _NEIGHBOURS = 5, 100
"""Of the unknown codes in one refusal, so many are compared with so many registered ones on either side of them."""


def described(thing: Thing) -> str:
    """Its name in messages, for instance "material 'hdpe-flakes'"; of an unknown collection, its address."""
    collection = COLLECTIONS.get(thing.collection)
    return str(thing) if collection is None else f"{collection.noun} '{thing.code}'"


def not_registered(workspace: Workspace, thing: Thing) -> NotRegisteredError:
    """The refusal of an address with an unknown code, with the nearest one that there is."""
    with workspace.reading() as connection:
        return NotRegisteredError(described(thing), meant=_meant(connection, workspace.workshop_id, thing))


def unregistered(
    connection: Connection, workshop_id: UUID, unknown: Iterable[Reference]
) -> Iterator[InvalidValueError]:
    """The refusals of members with unknown codes: each with the nearest one that there is, or else the remedy."""
    ends: dict[Thing, str] = {}
    for path, thing in unknown:
        if thing not in ends:
            meant = _meant(connection, workshop_id, thing) if len(ends) < _GUESSES else ""
            ends[thing] = meant or "; register it first"
        yield InvalidValueError(path, f"there is no {described(thing)}{ends[thing]}")


def _meant(connection: Connection, workshop_id: UUID, thing: Thing) -> str:
    if thing.collection not in COLLECTIONS:
        return register.did_you_mean(thing)
    return did_you_mean(thing.code, codes_near(connection, workshop_id, thing, _NEIGHBOURS))
