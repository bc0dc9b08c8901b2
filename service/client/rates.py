"""A resource's dated rates: read, changed, and stored without overwriting changes by others."""

from collections.abc import Mapping
from typing import Any, NamedTuple
from urllib.parse import quote

from service.client.ends import OutOfReachError
from service.client.http import Service
from service.client.members import Path, PathError, are_same, changed, lists_in, without_nothing
from service.client.register import tried

Terms = dict[str, Any]
Rates = dict[str, Terms]
"""Terms by first day, earliest first."""
_NEW = {"created": "new"}


def read_rates(service: Service, resource: str) -> Rates:
    """All rates of a resource.

    Raises:
        RefusedError: 404 if the resource is not registered.
    """
    found = service.everything(f"{_address(resource)}/rates")
    return {each.pop("valid_from"): without_nothing(each) for each in found}


def terms_in_force(rates: Rates, day: str) -> Terms:
    """The terms in force on the day; empty before the first rate."""
    earlier = [first for first in rates if first <= day]
    return rates[max(earlier)] if earlier else {}


def next_day(rates: Rates, day: str) -> str | None:
    """The first day of the next rate, if there is one."""
    return min((first for first in rates if first > day), default=None)


def new_terms(terms: Terms, changes: Mapping[Path, Any]) -> Terms:
    """The terms with these changes; other members stay, but a list with a changed entry is replaced as a whole.

    Raises:
        PathError: if there can be no member at a path.
    """
    for path in lists_in(changes):
        terms = changed(terms, path, None)
    for path, value in changes.items():
        try:
            terms = changed(terms, path, value)
        except PathError as error:
            error.path = path
            raise
    held: Terms = without_nothing(terms)
    return held


def outcome_of(rates: Rates, day: str, terms: Terms) -> str:
    """The outcome of storing the terms, as far as it can be known before: new, replaced or unchanged."""
    if day not in rates:
        return "new"
    return "unchanged" if are_same(rates[day], terms) else "replaced"


def outcome_in(entry: Mapping[str, Any]) -> str:
    """The outcome of an entry of a document."""
    outcome: str = entry["outcome"]
    return _NEW.get(outcome, outcome)


class Stored(NamedTuple):
    """The result of storing terms, or of trying it.

    Attributes:
        outcome: new, replaced or unchanged.
        warnings: what looks implausible about them.
    """

    outcome: str
    warnings: list[str]


def warnings_in(answer: Mapping[str, Any]) -> list[str]:
    """The warnings in the answer to a PUT."""
    return [f"Warning: {each['text']}" for each in answer.get("warnings", ())]


def try_rate(service: Service, resource: str, day: str, terms: Terms, rates: Rates) -> Stored:
    """What storing the terms of a resource from a day on would do; nothing is stored."""
    if (outcome := outcome_of(rates, day, terms)) == "unchanged":
        return Stored(outcome, [])
    collection, _, code = resource.partition("/")
    (entry,) = tried(service, collection, code, {"rates": {day: terms}})["entries"]
    return Stored(outcome_in(entry), warnings_in(entry))


def put_rate(service: Service, resource: str, day: str, terms: Terms, rates: Rates) -> Stored:
    """Store the terms of a resource from a day on, unless somebody else has changed them since they were read."""
    outcome, address = outcome_of(rates, day, terms), f"{_address(resource)}/rates/{day}"
    if outcome == "unchanged":
        return Stored(outcome, [])
    condition = {"If-None-Match": "*"}
    if outcome == "replaced":
        there = service.send("GET", address)
        if not are_same(without_nothing(there.json()), rates[day]):
            raise OutOfReachError(f"the rate of {resource} from {day} has just been changed by somebody else")
        condition = {"If-Match": there.headers["ETag"]}
    done = service.send("PUT", address, terms, headers=condition)
    # Members left out of list entries have defaults, which only the service knows.
    is_same = done.headers["ETag"] == condition.get("If-Match")
    return Stored("unchanged" if is_same else outcome, warnings_in(done.json()))


def _address(resource: str) -> str:
    return f"/v1/{quote(resource, safe='/')}"
