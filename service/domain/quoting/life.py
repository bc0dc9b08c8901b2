"""The life cycle of a quotation: its states and transitions."""

from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.quoting.errors import QuotationStateError
from service.domain.quoting.quotation import QuotationFigures
from service.domain.values.declared import Length, Line, Paragraph, declared
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.units import SoldQuantity

_DIGITS = 6
_LETTER = "Q"
_MOST_DIGITS = 18


class Status(StrEnum):
    """The state of a quotation.

    A draft is not yet sent and may be discarded. An issued one has a number and never changes; it is accepted or
    declined, expires, or is superseded by its next revision. An accepted one is completed in the end.
    """

    DRAFT = "draft"
    ISSUED = "issued"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    EXPIRED = "expired"
    SUPERSEDED = "superseded"
    COMPLETED = "completed"


class Event(StrEnum):
    """What happened to a quotation."""

    DRAFTED = "drafted"
    ISSUED = "issued"
    ACCEPTED = "accepted"
    DECLINED = "declined"
    SUPERSEDED = "superseded"
    COMPLETED = "completed"


LEADS_TO = {
    Event.ISSUED: Status.ISSUED,
    Event.ACCEPTED: Status.ACCEPTED,
    Event.DECLINED: Status.DECLINED,
    Event.SUPERSEDED: Status.SUPERSEDED,
    Event.COMPLETED: Status.COMPLETED,
}
_MAY_FOLLOW = {
    Event.ISSUED: {Status.DRAFT},
    # An acceptance that came in time may be entered after the last day.
    Event.ACCEPTED: {Status.ISSUED, Status.EXPIRED},
    # A customer may withdraw an acceptance.
    Event.DECLINED: {Status.ISSUED, Status.EXPIRED, Status.ACCEPTED},
    Event.SUPERSEDED: {Status.ISSUED, Status.EXPIRED, Status.DECLINED},
    Event.COMPLETED: {Status.ACCEPTED},
}
REVISABLE = _MAY_FOLLOW[Event.SUPERSEDED]
"""States in which a quotation may be superseded by a revision."""
_REMEDIES = {
    Status.DRAFT: "issue it first",
    Status.ISSUED: "revise it",
    Status.ACCEPTED: "quote anew",
    Status.DECLINED: "revise it",
    Status.EXPIRED: "revise it",
    Status.SUPERSEDED: "look at its newest revision",
    Status.COMPLETED: "quote anew",
}
"""The remedy where the state of a quotation does not allow a transition."""


def status_on(stored: str, valid_until: date, day: date) -> Status:
    """The state on a day: an issued quotation expires after its last day."""
    status = Status(stored)
    return Status.EXPIRED if status is Status.ISSUED and day > valid_until else status


def refused(what: str, status: Status, wanted: str, remedy: str = "") -> QuotationStateError:
    """The error that the state does not allow a transition, with the remedy."""
    return QuotationStateError(what, status.value, wanted, remedy or _REMEDIES[status])


def check_may_follow(event: Event, what: str, status: Status) -> None:
    """Raises QuotationStateError if the state does not allow the event."""
    if status not in _MAY_FOLLOW[event]:
        raise refused(what, status, event.value)


def number_of(count: int) -> str:
    """The number of a quotation, for instance Q000042."""
    return f"{_LETTER}{count:0{_DIGITS}d}"


def count_of(number: str) -> int | None:
    """The count in a quotation number; None if it is not one.

    >>> count_of("Q000042"), count_of("Q42"), count_of("42")
    (42, None, None)
    """
    digits = number.removeprefix(_LETTER)
    if digits == number or not (digits.isascii() and digits.isdecimal() and len(digits) <= _MOST_DIGITS):
        return None
    return int(digits) if number_of(int(digits)) == number else None


class BelowFloor(StrEnum):
    """What is decided about prices below the floor of their policy."""

    ACCEPTED = "accepted"


@declared
class IssueRequest:
    """The issue of a draft.

    Attributes:
        below_floor: accepted, to issue it although allowances take it below the floor of a policy.
    """

    below_floor: BelowFloor | None = None


@declared
class AcceptanceRequest:
    """The acceptance of a quotation by the customer.

    Attributes:
        accepted_on: the day the customer did so; today in the workshop's time zone if left out.
        quantities: for each line which of its batch sizes; those counted in the totals if left out.
        reference: the customer's order number.
        note: anything worth knowing.
    """

    accepted_on: date | None = None
    quantities: Annotated[tuple[SoldQuantity, ...], Length(at_least=1, at_most=200)] | None = None
    reference: Line = ""
    note: Paragraph = ""


@declared
class DeclineRequest:
    """The customer declines the quotation, or withdraws an acceptance.

    Attributes:
        reason: why not, if the customer said so.
    """

    reason: Paragraph = ""


def chosen_quantities(wanted: Sequence[Decimal] | None, figures: QuotationFigures) -> tuple[Decimal, ...]:
    """The batch sizes that a customer accepts, one for each line.

    Raises:
        InvalidValuesError: a line does not offer its size, or shipping was quoted for other sizes.
    """
    quoted = tuple(line.quoted.quantity for line in figures.lines)
    if wanted is None or tuple(wanted) == quoted:
        return quoted
    if len(wanted) != len(quoted):
        raise InvalidValuesError([InvalidValueError(("quantities",), f"must name one for each of {len(quoted)} lines")])
    problems = []
    for place, (quantity, line) in enumerate(zip(wanted, figures.lines, strict=True)):
        offered = (line.quoted.quantity, *(each.quantity for each in line.quantity_breaks))
        if quantity not in offered:
            told = ", ".join(f"{each:f}" for each in offered) + (
                f" {line.unit.several}" if line.unit.is_divided else ""
            )
            problems.append(InvalidValueError(("quantities", place), f"was not quoted; the line offers {told}"))
    if not problems and figures.shipping is not None:
        reason = "must be those of the totals, for which shipping was quoted; revise the quotation"
        problems.append(InvalidValueError(("quantities",), reason))
    if problems:
        raise InvalidValuesError(problems)
    return tuple(wanted)
