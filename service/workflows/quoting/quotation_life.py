"""State changes of a quotation: issued, accepted, declined, revised, completed, discarded.

Each raises NotRegisteredError if the workshop has no such quotation, PreconditionFailedError if its state has changed
since the caller read it, and QuotationStateError if its state does not allow the change.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.errors import BelowFloorError
from service.domain.quoting.figures import chosen_figures, floor_warnings, least_choice_warnings
from service.domain.quoting.life import (
    LEADS_TO,
    REVISABLE,
    AcceptanceRequest,
    DeclineRequest,
    Event,
    IssueRequest,
    Status,
    check_may_follow,
    chosen_quantities,
    count_of,
    number_of,
    refused,
)
from service.domain.quoting.quotation import Acceptance
from service.domain.quoting.request import QuotationRequest
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ZERO
from service.nearest import did_you_mean
from service.store.engine.database import Connection
from service.store.quoting import life, quotations
from service.store.quoting.quotations import Quotation
from service.store.workshop.workshops import next_revision
from service.workflows.entity_tags import Precondition, always, expect
from service.workflows.quoting.quotations import Address, find_quotation, get_quotation, tag_of
from service.workflows.quoting.quoting import quote
from service.workflows.records.recording import CodedRecord, Recorder
from service.workflows.workshop.letterhead import present_letterhead
from service.workflows.workspace import Workspace

PLAINLY = IssueRequest()


def issue(
    workspace: Workspace, address: Address, asked: IssueRequest = PLAINLY, precondition: Precondition = always
) -> Quotation:
    """Give a draft its number and the present letterhead: it is now binding and never changes.

    The quotation that it revises is superseded.

    Issuing it again changes nothing, so that a client that got no answer can repeat the request. A draft cannot be
    issued after its prices have expired, or when the quotation that it revises was accepted.

    Raises:
        BelowFloorError: allowances take it below the floor of a policy, and the request does not accept that.
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
        basis = quotations.get_basis(connection, workspace.workshop_id, found.id)
        told = (*floor_warnings(found.figures), *least_choice_warnings(found.request, basis, found.figures))
        below = [each.text for each in told]
        if below and asked.below_floor is None:
            raise BelowFloorError(below)
        if found.revises_id is not None:
            _supersede(connection, workspace, found.revises_id, found)
        number = life.next_number(connection, workspace.workshop_id)
        note = number_of(number) + (", below the floor, as accepted" if below else "")
        letterhead = present_letterhead(connection, workspace, found.request.locale)
        _record(connection, workspace, found, Event.ISSUED, note, number=number, issued_on=today, letterhead=letterhead)
        return get_quotation(connection, workspace, found.id)


def _locked(connection: Connection, workspace: Workspace, address: Address, precondition: Precondition) -> Quotation:
    found = get_quotation(connection, workspace, address)
    expect(tag_of(found), precondition, found.name)
    return found


def _record(
    connection: Connection, workspace: Workspace, quotation: Quotation, event: Event, note: str = "", **changes: Any
) -> None:
    by, status = workspace.actor.name, LEADS_TO[event].value
    life.record_event(connection, workspace.workshop_id, quotation, event, by=by, note=note, status=status, **changes)


def _supersede(connection: Connection, workspace: Workspace, revised: UUID, by_which: Quotation) -> None:
    found = get_quotation(connection, workspace, revised)
    check_may_follow(Event.SUPERSEDED, found.name, found.status)
    _record(connection, workspace, found, Event.SUPERSEDED, superseded_by_id=by_which.id)


def accept(
    workspace: Workspace, address: Address, acceptance: AcceptanceRequest, precondition: Precondition = always
) -> Quotation:
    """Record that the customer accepts it, with the chosen batch sizes; their working time is promised from now on.

    Accepting the same again changes nothing.

    Raises:
        InvalidValuesError: it could not be accepted on that day, or a batch size was not quoted.
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
        promised = _promised(basis, found.request, taken.quantities)
        _record(connection, workspace, found, Event.ACCEPTED, taken.reference, acceptance=taken, promised=promised)
        next_revision(connection, workspace.workshop_id)  # lead times depend on what is promised
        return get_quotation(connection, workspace, found.id)


def _promised(
    basis: QuotationBasis, request: QuotationRequest, quantities: tuple[Decimal, ...]
) -> Mapping[str, Decimal]:
    """Minutes of every machine and labour grade that the chosen batch sizes need."""
    bills = {
        (bill.product, Decimal(bill.quantity)): bill for bill in basis.bills
    }  # the same minutes however tools are charged
    found: dict[str, Decimal] = {}
    for place, (line, quantity) in enumerate(zip(request.lines, quantities, strict=True)):
        code = line.code_of_bill(place)
        minutes_of = {} if code is None else bills[code, quantity].minutes
        for resource, minutes in minutes_of.items():
            found[resource] = found.get(resource, ZERO) + minutes
    return found


def _taken(quotation: Quotation, basis: QuotationBasis, acceptance: AcceptanceRequest, today: date) -> Acceptance:
    """What the customer accepts, with its totals.

    Raises:
        InvalidValuesError: it could not be accepted on that day, or a batch size was not quoted.
        QuotationStateError: it has expired, and the request names no earlier day of acceptance.
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
    except InvalidValuesError as error:  # names a member of the quotation request, not of the acceptance
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
    """Record that the customer declines it or withdraws; its working time is no longer promised."""
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is Status.DECLINED:
            return found
        return _ended(connection, workspace, found, Event.DECLINED, declined.reason)


def complete(
    workspace: Workspace, address: Address, records: Sequence[CodedRecord] = (), precondition: Precondition = always
) -> Quotation:
    """Record that an accepted order has been made; its working time is free again.

    Args:
        records: of the batches that were made for it, which then name it; they may also come later.

    Raises:
        InvalidValuesError: every problem of every record.
    """
    with workspace.changing() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is not Status.COMPLETED:
            check_may_follow(Event.COMPLETED, found.name, found.status)
        if records:
            _record_batches(connection, workspace, found, records)
        return found if found.status is Status.COMPLETED else _ended(connection, workspace, found, Event.COMPLETED)


def _record_batches(
    connection: Connection, workspace: Workspace, quotation: Quotation, records: Sequence[CodedRecord]
) -> None:
    products = dict.fromkeys(line.product for line in quotation.request.lines if line.product is not None)
    foreign = [
        InvalidValueError(
            ("records", place, "product"),
            f"{quotation.name} has no line of '{each.record.product}'{did_you_mean(each.record.product, products)}",
        )
        for place, each in enumerate(records)
        if each.record.product not in products
    ]
    if foreign:
        raise InvalidValuesError(foreign)
    recorder = Recorder(connection, workspace, count_of(quotation.number or ""))
    recorder.put_all(records)
    recorder.record()


def _ended(
    connection: Connection, workspace: Workspace, quotation: Quotation, event: Event, note: str = ""
) -> Quotation:
    check_may_follow(event, quotation.name, quotation.status)
    _record(connection, workspace, quotation, event, note, promised=None)
    if quotation.status is Status.ACCEPTED:
        next_revision(connection, workspace.workshop_id)
    return get_quotation(connection, workspace, quotation.id)


def revise(
    workspace: Workspace, address: Address, request: QuotationRequest | None, precondition: Precondition = always
) -> Quotation:
    """A draft that supersedes an issued quotation once it is issued itself; raises as `quote` does too.

    Args:
        address: of the quotation to revise.
        request: the new request; the same at the present rates if left out.
        precondition: the state of that quotation that the caller expects.
    """

    def check(found: Quotation) -> Quotation:
        expect(tag_of(found), precondition, found.name)
        if found.status not in REVISABLE:
            raise refused(found.name, found.status, "revised")
        return found

    found = check(find_quotation(workspace, address))
    again = request or replace(found.request, quoted_on=None, valid_until=None)
    # Checked again under the lock: it may have been accepted meanwhile.
    return quote(workspace, again, found, lambda connection: check(get_quotation(connection, workspace, found.id)))


def discard(workspace: Workspace, address: Address, precondition: Precondition = always) -> None:
    """Delete a draft."""
    with workspace.taking_away() as connection:
        found = _locked(connection, workspace, address, precondition)
        if found.status is not Status.DRAFT:
            raise refused(found.name, found.status, "discarded", "what is issued is kept for good")
        life.discard_quotation(connection, workspace.workshop_id, found.id)
