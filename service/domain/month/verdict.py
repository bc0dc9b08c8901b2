"""The verdict on a month: whether its plan can be made, and then whether it pays."""

from collections.abc import Iterable, Iterator, Mapping
from enum import StrEnum

from service.domain.month.month import PlannedProduct
from service.domain.month.rounded_month import RoundedMonth
from service.domain.scheduling.plan_load import Load
from service.domain.values.message import COMMON_PRACTICE, Message, RateWarning
from service.domain.values.money import Money

_PRICES = "the prices in force"


class Verdict(StrEnum):
    """The first of these that holds: what cannot be made does not pay, whatever it would leave."""

    CANNOT_BE_MADE = "cannot_be_made"
    LOSES = "loses"
    BREAKS_EVEN = "breaks_even"
    PAYS = "pays"


def verdict(month: RoundedMonth) -> Verdict:
    """The verdict on the plan; time of which the hours a week are not registered limits nothing."""
    if any(load.is_over_full for load in month.month.loads):
        return Verdict.CANNOT_BE_MADE
    if month.profit:
        return Verdict.LOSES if month.profit < 0 else Verdict.PAYS
    return Verdict.BREAKS_EVEN


def time_not_known(loads: Iterable[Load]) -> Iterator[RateWarning]:
    """A warning of the machines and grades that the plan takes and whose time limits nothing, if there are any."""
    found = [load for load in loads if load.minutes_available is None and load.minutes_needed]
    if found:
        text = Message(
            "Nobody has registered how much time there is of: {names}. The verdict takes it as unlimited. Register "
            "hours_per_week.",
            names=tuple(load.name for load in found),
        )
        resources = tuple(load.resource for load in found)
        yield RateWarning(code="time-not-known", resources=resources, text=text, source=COMMON_PRACTICE)


def not_in_force(planned: Iterable[PlannedProduct], in_force: Mapping[str, tuple[Money, int]]) -> Iterator[RateWarning]:
    """A warning for each listing that the plan counts at another price than the one in force.

    Args:
        in_force: the price of listings that have one, and the pieces that it is for, by code.
    """
    for each in planned:
        now = in_force.get(each.listing or "")
        if now is None or now == (each.price, each.base_quantity):
            continue
        text = Message(
            "{listing}: the plan counts the price that its policy gives, {planned}, and buyers pay {now} until a "
            "repricing is applied.",
            listing=each.name,
            planned=_asked(each.price, each.base_quantity),
            now=_asked(*now),
        )
        yield RateWarning(code="price-not-in-force", resources=(f"listings/{each.listing}",), text=text, source=_PRICES)


def _asked(price: Money, base_quantity: int) -> str:
    return str(price) if base_quantity == 1 else f"{price} / {base_quantity}"
