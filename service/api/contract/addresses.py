"""The variable parts of addresses, by name: what the contract says of each, and how it is read."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any
from uuid import UUID

import marshmallow as ma

from service.api.contract.examples import NEWEST
from service.api.contract.fields import DateField
from service.api.http.operations import Request
from service.api.http.problems import ProblemError
from service.domain.quoting.life import Status, count_of
from service.domain.values.declared import Code, rules_and_type
from service.workflows.listing.repricing_records import newest_repricing
from service.workflows.quoting.quotations import newest_quotation
from service.workflows.workspace import Workspace

Named = Callable[[Workspace], UUID]
"""Finds what a word names in a workshop; raises NotRegisteredError if there is none."""
_STATES = (NEWEST, *Status)
_UUID = r"[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}"


def _code(text: str) -> str:
    """Returns the code; raises ValueError if it is malformed."""
    for rule in rules_and_type(Code)[0]:
        if problem := rule(text):
            raise ValueError(problem)
    return text


def _day(text: str) -> date:
    """Returns the day; raises ValueError if there is no such day."""
    try:
        return DateField().deserialize(text)
    except ma.ValidationError as error:
        raise ValueError(str(error.messages[0])) from None


def _repricing_id(text: str) -> UUID | Named:
    """Returns the id of a repricing; raises ValueError if it is malformed."""
    return newest_repricing if text == NEWEST else _id(text, "repricing")


def _quotation_id(text: str) -> UUID | int | Named:
    """Returns a quotation's id, or the count in its number; raises ValueError if it is neither."""
    if text in _STATES:
        return partial(newest_quotation, status=None if text == NEWEST else Status(text))
    count = count_of(text)
    return _id(text, "quotation") if count is None else count


def _id(text: str, noun: str) -> UUID:
    try:
        found = UUID(text)
    except ValueError:
        found = None
    if found is None or str(found) != text.lower():
        raise ValueError(f"is not a {noun}'s id")
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A variable part of an address, a shared parameter of the contract.

    Attributes:
        read: returns the value of a text, or how to find it in a workshop; raises ValueError saying what is wrong.
    """

    component: str
    description: str
    schema: dict[str, Any]
    read: Callable[[str], Any]


PARTS = {
    "code": Part(
        component="Code",
        description="The workshop's own code.",
        schema={"type": "string", "minLength": 1, "maxLength": 64, "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]*$"},
        read=_code,
    ),
    "day": Part(
        component="Day",
        description="The first day, YYYY-MM-DD.",
        schema={"type": "string", "format": "date"},
        read=_day,
    ),
    "quotation_id": Part(
        component="QuotationId",
        description="The quotation's id; or, once it is issued, its number; or `newest`; or a state, for the newest "
        "that is in it.",
        schema={"type": "string", "pattern": rf"^({'|'.join(_STATES)}|Q\d{{6,18}}|{_UUID})$"},
        read=_quotation_id,
    ),
    "repricing_id": Part(
        component="RepricingId",
        description="The repricing's id, or `newest`.",
        schema={"type": "string", "pattern": rf"^({NEWEST}|{_UUID})$"},
        read=_repricing_id,
    ),
}


def read_address(request: Request) -> None:
    """Read the variable parts of the address, for the view; raises a problem 422 if one is malformed."""
    parts = request.view_args or {}
    for name, text in parts.items():
        if name in PARTS:
            try:
                found = PARTS[name].read(text)
            except ValueError as error:
                raise ProblemError.of_errors([{"parameter": name, "detail": str(error)}]) from None
            parts[name] = found(request.workspace) if callable(found) else found
