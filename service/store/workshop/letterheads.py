"""What a workshop's papers say of it, and the logos that they have shown."""

import hashlib
from dataclasses import dataclass
from typing import Any
from uuid import UUID

import sqlalchemy as sa

from service.domain.selling.seller import Seller
from service.encoding import trusted
from service.store.engine import metering
from service.store.engine.column_types import as_plain_data
from service.store.engine.stored_rows import put
from service.store.engine.tables import letterheads, logos, workshops
from service.store.workshop.workshops import find_workshop

_OF_THE_WORKSHOP = ("name", "locale", "time_zone")
"""Facts that are columns of the workshop itself, because every request needs them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSeller:
    """The workshop as its papers show it.

    Attributes:
        seller: without its logo.
        logo: digest of the logo; none if there is none.
        revision: the workshop's when this last changed; 0 if nothing but what it was created with is known.
    """

    seller: Seller
    logo: str | None
    revision: int


def get_seller(connection: sa.Connection, workshop_id: UUID) -> StoredSeller:
    """What is known of an existing workshop; at least what it was created with."""
    workshop = find_workshop(connection, workshop_id)
    assert workshop is not None  # it exists
    its_id = letterheads.c.workshop_id == workshop_id
    row = connection.execute(
        sa.select(as_plain_data(letterheads.c.facts), letterheads.c.logo, letterheads.c.revision).where(its_id)
    ).first()
    facts: Any = {"address": {"street": workshop.address}} if row is None else row.facts
    held = {name: getattr(workshop, name) for name in (*_OF_THE_WORKSHOP, "currency")}
    return StoredSeller(
        seller=trusted({**facts, **held}, Seller),
        logo=None if row is None else row.logo,
        revision=0 if row is None else row.revision,
    )


def save_seller(connection: sa.Connection, workshop_id: UUID, stored: StoredSeller) -> None:
    """Store what is now known of the workshop; its logo is stored already."""
    seller = stored.seller
    with metering.replaced(connection, letterheads, workshop_id):
        row = {"workshop_id": workshop_id, "facts": seller, "logo": stored.logo, "revision": stored.revision}
        put(connection, letterheads, row)
    held: dict[str, str] = {name: getattr(seller, name) for name in _OF_THE_WORKSHOP}
    address = "\n".join(seller.address.lines())
    connection.execute(workshops.update().where(workshops.c.workshop_id == workshop_id).values(address=address, **held))


def digest_of(picture: str) -> str:
    """The digest by which a picture in base64 is stored."""
    return hashlib.sha256(picture.encode()).hexdigest()


def keep_logo(connection: sa.Connection, workshop_id: UUID, picture: str) -> None:
    """Store a logo in base64, if it is not there yet; quotations go on showing those before."""
    digest = digest_of(picture)
    with metering.replaced(connection, logos, workshop_id, logos.c.digest == digest):
        put(connection, logos, {"workshop_id": workshop_id, "digest": digest, "picture": picture})


def find_logo(connection: sa.Connection, workshop_id: UUID, digest: str | None) -> str | None:
    """The logo with this digest, in base64."""
    if digest is None:
        return None
    query = sa.select(logos.c.picture).where(logos.c.workshop_id == workshop_id, logos.c.digest == digest)
    found: str | None = connection.execute(query).scalar_one_or_none()
    return found
