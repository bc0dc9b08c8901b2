"""What becomes of a quotation: issued, accepted, declined, revised, completed, discarded."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal
from uuid import UUID

from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.figures import chosen_figures
from service.domain.quoting.life import (
    LEADS_TO,
    REVISABLE,
    AcceptanceRequest,
    DeclineRequest,
    Event,
    Status,
    check_may_follow,
    chosen_quantities,
    number_of,
    refused,
)
from service.domain.quoting.quotation import Acceptance
from service.domain.quoting.request import QuotationRequest
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ZERO
from service.store.engine.database import Connection
from service.store.quoting import life, quotations
from service.store.quoting.quotations import Quotation
from service.store.workshop.workshops import next_revision
from service.workflows.entity_tags import Precondition, always, expect
from service.workflows.quoting.quotations import Address, find_quotation, get_quotation, tag_of
from service.workflows.quoting.quoting import quote
from service.workflows.workspace import Workspace


def issue(workspace: Workspace, address: Address, precondition: Precondition = always) -> Quotation:
    """Give a draft its number: from now on it is promised, and never changes. What it revises is superseded.

    An issued one stays as it is, so that who had no answer may ask again.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
        PreconditionFailedError: the caller had seen another state.
        QuotationStateError: it is no draft any more, its prices hold no longer, or what it revises was accepted.
    """
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is Status.ISSUED:
            return found
        check_may_follow(Event.ISSUED, found.name, found.status)
        today = workspace.workshop.today()
        if found.valid_until < today:
            remedy = f"its prices held until {found.valid_until}: discard it and quote anew"
            raise refused(found.name, found.status, Event.ISSUED.value, remedy)
        if found.revises_id is not None:
            _supersede(connection, workspace, found.revises_id, found)
        number = life.next_number(connection, workspace.workshop_id)
        life.record_event(
            connection,
            workspace.workshop_id,
            found,
            Event.ISSUED,
            by=workspace.actor.name,
            note=number_of(number),
            status=Status.ISSUED.value,
            number=number,
            issued_on=today,
        )
        return get_quotation(connection, workspace, found.id)


def _locked(connection: Connection, workspace: Workspace, address: Address, precondition: Precondition) -> Quotation:
    found = get_quotation(connection, workspace, address)
    expect(tag_of(found), precondition, found.name)
    return found


def _supersede(connection: Connection, workspace: Workspace, revised: UUID, by_which: Quotation) -> None:
    found = get_quotation(connection, workspace, revised)
    check_may_follow(Event.SUPERSEDED, found.name, found.status)
    life.record_event(
        connection,
        workspace.workshop_id,
        found,
        Event.SUPERSEDED,
        by=workspace.actor.name,
        status=Status.SUPERSEDED.value,
        superseded_by_id=by_which.id,
    )


def accept(
    workspace: Workspace, address: Address, acceptance: AcceptanceRequest, precondition: Precondition = always
) -> Quotation:
    """Keep that the customer takes it, and which of the batch sizes; what that takes to make is promised from now on.

    Accepting the same again changes nothing.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
        PreconditionFailedError: the caller had seen another state.
        InvalidValuesError: the day is not one on which it could be accepted, or a batch size was not quoted.
        QuotationStateError: it cannot be accepted.
    """
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is not Status.ACCEPTED:
            check_may_follow(Event.ACCEPTED, found.name, found.status)
        basis = quotations.get_basis(connection, workspace.workshop_id, found.id)
        taken = _taken(found, basis, acceptance, workspace.workshop.today())
        if found.status is Status.ACCEPTED:
            if found.acceptance == taken:
                return found
            raise refused(found.name, found.status, "accepted otherwise", "decline it and quote anew")
        life.record_event(
            connection,
            workspace.workshop_id,
            found,
            Event.ACCEPTED,
            by=workspace.actor.name,
            note=taken.reference,
            status=Status.ACCEPTED.value,
            acceptance=taken,
            promised=_promised(basis, found.request, taken.quantities),
        )
        next_revision(connection, workspace.workshop_id)  # what is promised is a fact that lead times follow from
        return get_quotation(connection, workspace, found.id)


def _promised(basis: QuotationBasis, request: QuotationRequest, quantities: tuple[int, ...]) -> Mapping[str, Decimal]:
    """Minutes of every machine and labour grade that the batch sizes take which are chosen."""
    bills = {(bill.product, bill.quantity): bill for bill in basis.bills}  # tools are charged otherwise, not used
    found: dict[str, Decimal] = {}
    for line, quantity in zip(request.lines, quantities, strict=True):
        for resource, minutes in bills[line.product, quantity].minutes.items():
            found[resource] = found.get(resource, ZERO) + minutes
    return found


def _taken(quotation: Quotation, basis: QuotationBasis, acceptance: AcceptanceRequest, today: date) -> Acceptance:
    """What the customer takes, with its totals.

    Raises:
        InvalidValuesError: the day is not one on which it could be accepted, or a batch size was not quoted.
        QuotationStateError: it has expired, and nobody says that the customer accepted before.
    """
    before = quotation.acceptance
    accepted_on = acceptance.accepted_on or (before.accepted_on if before is not None else today)
    assert quotation.issued_on is not None  # it is issued
    if not quotation.issued_on <= accepted_on <= min(quotation.valid_until, today):
        if acceptance.accepted_on is None:
            remedy = "revise it, or say when the customer accepted if that was in time"
            raise refused(quotation.name, quotation.status, Event.ACCEPTED.value, remedy)
        last = min(quotation.valid_until, today)
        reason = f"must be from {quotation.issued_on}, when it was issued, to {last}"
        raise InvalidValuesError([InvalidValueError(("accepted_on",), reason)])
    quantities = chosen_quantities(acceptance.quantities, quotation.figures)
    try:
        figures = chosen_figures(quotation.request, basis, quantities)
    except InvalidValuesError as error:  # it names a member of what was quoted, and not of the acceptance
        reason = "are too few for the allowances on the whole, which take off more than they come to; quote them anew"
        raise InvalidValuesError([InvalidValueError(("quantities",), reason)]) from error
    return Acceptance(
        accepted_on=accepted_on,
        quantities=quantities,
        reference=acceptance.reference,
        note=acceptance.note,
        totals=figures.totals,
        kept=figures.kept,
    )


def decline(
    workspace: Workspace, address: Address, declined: DeclineRequest, precondition: Precondition = always
) -> Quotation:
    """Keep that the customer does not take it, or withdraws; nothing of it is promised any more.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
        PreconditionFailedError: the caller had seen another state.
        QuotationStateError: it is not issued or accepted.
    """
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is Status.DECLINED:
            return found
        return _ended(connection, workspace, found, Event.DECLINED, declined.reason)


def complete(workspace: Workspace, address: Address, precondition: Precondition = always) -> Quotation:
    """Keep that what was accepted has been made: its minutes are free again.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
        PreconditionFailedError: the caller had seen another state.
        QuotationStateError: it is not accepted.
    """
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        return found if found.status is Status.COMPLETED else _ended(connection, workspace, found, Event.COMPLETED)


def _ended(
    connection: Connection, workspace: Workspace, quotation: Quotation, event: Event, note: str = ""
) -> Quotation:
    check_may_follow(event, quotation.name, quotation.status)
    status = LEADS_TO[event].value
    life.record_event(
        connection,
        workspace.workshop_id,
        quotation,
        event,
        by=workspace.actor.name,
        note=note,
        status=status,
        promised=None,
    )
    if quotation.status is Status.ACCEPTED:
        next_revision(connection, workspace.workshop_id)
    return get_quotation(connection, workspace, quotation.id)


def revise(
    workspace: Workspace, address: Address, request: QuotationRequest | None, precondition: Precondition = always
) -> Quotation:
    """A draft that takes the place of an issued quotation once it is issued itself.

    Args:
        address: of what is revised.
        request: what is asked for now; the same at today's rates if left out.
        precondition: what the caller knows of what is revised.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
        PreconditionFailedError: the caller had seen another state.
        QuotationStateError: it is not issued, or was accepted or superseded. And as `quote` does.
    """

    def check(found: Quotation) -> Quotation:
        expect(tag_of(found), precondition, found.name)
        if found.status not in REVISABLE:
            raise refused(found.name, found.status, "revised")
        return found

    found = check(find_quotation(workspace, address))
    again = request or replace(found.request, quoted_on=None, valid_until=None)
    # And once more under the lock: it may have been accepted while the new one was being computed.
    return quote(workspace, again, found, lambda connection: check(get_quotation(connection, workspace, found.id)))


def discard(workspace: Workspace, address: Address, precondition: Precondition = always) -> None:
    """Remove a draft, which has been promised to nobody.

    Raises:
        NotRegisteredError: the workshop has no such quotation.
        PreconditionFailedError: the caller had seen another state.
        QuotationStateError: it is issued.
    """
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is not Status.DRAFT:
            raise refused(found.name, found.status, "discarded", "what is issued is kept for good")
        life.discard_quotation(connection, workspace.workshop_id, found.id)
