"""What a rollback of a repricing leaves: which prices count again, and which rates stand."""

from collections.abc import Iterator
from datetime import datetime
from http import HTTPStatus
from typing import Any

from service.client.ends import RefusedError
from service.client.http import Service
from service.client.rates import read_rates
from service.client.repricing import ADDRESS
from service.client.text.terminal import paragraph, width

Repricing = dict[str, Any]
_NAMED = 10


def rollback_notes(service: Service, repricing: Repricing) -> list[str]:
    """The notes as lines of text.

    Args:
        repricing: with the first page of its changes.
    """
    told = [*_prices_again(service, repricing), *_rates_standing(service, repricing)]
    return [line for each in told for line in paragraph(each, width(), indent="  ")]


def _prices_again(service: Service, repricing: Repricing) -> Iterator[str]:
    latest = service.send("GET", ADDRESS, query={"limit": 500}).json()["items"]
    between = [each["id"] for each in latest if _has_come_between(each, repricing)]
    first, changed = (repricing["summary"][decision] for decision in ("first", "changed"))
    yield f"The new prices are taken back{'; those set before them count again' if changed else ''}."
    if first:
        without = "" if between else f", and so no price from {_first_day(repricing)} on until another is set"
        yield f"{'1 listing' if first == 1 else f'{first} listings'} had none before{without}: {_named(repricing)}."
    if between:
        yield (
            f"Prices of earlier days were changed since it was applied, by repricing {', '.join(between)}: "
            "where that was so, what it left counts again and not the old prices shown here."
        )


def _named(repricing: Repricing) -> str:
    """The listings that had no price before, as far as the first page of changes has them."""
    named = [each["listing"] for each in repricing["changes"]["items"] if each["decision"] == "first"][:_NAMED]
    more = repricing["summary"]["first"] - len(named)
    return ", ".join(named) + (f" and {more} more" if more else "")


def _first_day(repricing: Repricing) -> str:
    """The day from which the prices are taken back: their first day, or that of the rollback if that is later."""
    return max(str(repricing["valid_from"]), (repricing["rolled_back_at"] or _today())[:10])


def _today() -> str:
    return datetime.now().astimezone().date().isoformat()


def _has_come_between(other: Repricing, repricing: Repricing) -> bool:
    """Whether another one, applied or rolled back after it, changed prices of days before its own."""
    if other["valid_from"] >= repricing["valid_from"]:
        return False
    return bool(max(other["applied_at"], other["rolled_back_at"] or "") > repricing["applied_at"])


def _rates_standing(service: Service, repricing: Repricing) -> Iterator[str]:
    """The rates in force on the first day of its prices, or today if that is later."""
    yield "The rates stay as they are; the next repricing computes prices with them."
    changed = [each["resource"] for each in repricing["rate_changes"] if each["cause"] == "rate"]
    day = max(repricing["valid_from"], _today())
    for resource in dict.fromkeys(each.partition("#")[0] for each in changed):
        yield f"- {resource}: {_rate_on(service, resource, day)}"


def _rate_on(service: Service, resource: str, day: str) -> str:
    try:
        begun = [first for first in read_rates(service, resource) if first <= day]
    except RefusedError as error:
        if error.status != HTTPStatus.NOT_FOUND:
            raise
        return "not registered any more"
    return f"the rate from {max(begun)} stands" if begun else f"no rate stands on {day}"
