"""Rates that begin while an order waits to be made, or within a month that is planned: warnings, never errors."""

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from service.domain.values.message import Message, PlausibilityWarning, RateWarning
from service.domain.values.money import Money

_SOURCE = "rates registered for later days"


class RateToCome(NamedTuple):
    """A rate that begins later than the rates that are used.

    Attributes:
        resource: what it prices, for instance "tariffs/grid".
        name: what the workshop calls that.
    """

    resource: str
    name: str
    valid_from: date


def order_dearer(more: Money, ready_on: date, coming: Iterable[RateToCome], product: str | None) -> PlausibilityWarning:
    """A warning that making an order costs more by the rates of the day on which it can be ready.

    Args:
        more: above 0.
        coming: the rates that begin until then.
    """
    text = Message(
        "The order can be ready on {ready_on}. At rates that begin by then it costs {more} {currency} more than it is "
        "quoted at: {rates}.",
        ready_on=str(ready_on),
        more=more.amount,
        currency=more.currency,
        rates=_told(coming),
    )
    return PlausibilityWarning(code="dearer-when-ready", product=product, text=text, source=_SOURCE)


def changing_within(as_of: date, coming: Iterable[RateToCome]) -> tuple[RateWarning, ...]:
    """A warning that a month in which rates change is counted at those of one day; none if none change."""
    found = tuple(coming)
    if not found:
        return ()
    text = Message(
        "Rates change within the month: {rates}. All of it is counted at those of {as_of}; ask for another day of the "
        "month, too, before you rely on the result.",
        rates=_told(found),
        as_of=str(as_of),
    )
    resources = tuple(dict.fromkeys(each.resource for each in found))
    return (RateWarning(code="rates-change", resources=resources, text=text, source=_SOURCE),)


def _told(coming: Iterable[RateToCome]) -> tuple[Message, ...]:
    return tuple(Message("{name} from {day}", name=each.name, day=str(each.valid_from)) for each in coming)
