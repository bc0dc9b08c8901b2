"""What customers read of the workshop: read and replaced as a whole."""

from dataclasses import replace
from typing import Any

from service.documents.writing.logos import check_drawn
from service.domain.selling.letterhead import Letterhead, letterhead_of
from service.domain.selling.seller import Seller
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.encoding import encoded, trusted
from service.store.engine.database import Connection
from service.store.workshop.letterheads import StoredSeller, digest_of, find_logo, get_seller, keep_logo, save_seller
from service.workflows.entity_tags import Precondition, always
from service.workflows.registering.changing import Entry, Registering, change
from service.workflows.workspace import Workspace

_SUBJECT = "workshop"


def find_seller(workspace: Workspace) -> tuple[Seller, int]:
    """The workshop with its logo, and the revision of the workshop when that last changed."""
    with workspace.reading() as connection:
        stored = get_seller(connection, workspace.workshop_id)
        logo = find_logo(connection, workspace.workshop_id, stored.logo)
    return trusted({**encoded(stored.seller), "logo": logo}, Seller), stored.revision


def put_seller(workspace: Workspace, seller: Seller, precondition: Precondition = always) -> Registering:
    """Replace what is known of the workshop; the same again changes nothing. Quotations that are issued keep theirs.

    Raises:
        InvalidValuesError: the currency is another one, or the logo cannot be drawn.
        PreconditionFailedError: the state has changed since the caller read it.
    """
    workshop = workspace.workshop
    _check(seller, workshop.currency)
    locale, time_zone = seller.locale or workshop.locale, seller.time_zone or workshop.time_zone
    seller = replace(seller, currency=workshop.currency, locale=locale, time_zone=time_zone)
    digest = None if seller.logo is None else digest_of(seller.logo)
    with workspace.changing() as connection:
        there = get_seller(connection, workspace.workshop_id)

        def save(revision: int) -> None:
            if seller.logo is not None:
                keep_logo(connection, workspace.workshop_id, seller.logo)
            stored = StoredSeller(seller=replace(seller, logo=None), logo=digest, revision=revision)
            save_seller(connection, workspace.workshop_id, stored)

        entry = Entry("the workshop", _SUBJECT, (_told(there), there.revision), _recorded(seller, digest), save)
        done = change(connection, workspace, entry, precondition)
    return replace(done, state=seller)


def _check(seller: Seller, currency: str) -> None:
    problems = [*seller.currency_problems(currency)]
    if seller.logo is not None:
        try:
            check_drawn(seller.logo)
        except ValueError as error:
            problems.append(InvalidValueError(("logo",), str(error)))
    if problems:
        raise InvalidValuesError(problems)


def _told(stored: StoredSeller) -> Any:
    return _recorded(stored.seller, stored.logo)


def _recorded(seller: Seller, logo: str | None) -> Any:
    """The facts for the audit trail: of the logo its digest alone."""
    return {**encoded(seller), "logo": logo}


def present_letterhead(connection: Connection, workspace: Workspace, locale: str | None) -> Letterhead:
    """The letterhead of a quotation that is made or issued now.

    Args:
        locale: of the document; the workshop's if left out.
    """
    stored = get_seller(connection, workspace.workshop_id)
    return letterhead_of(stored.seller, locale, stored.logo)
