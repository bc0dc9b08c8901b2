"""The verdict on a month: whether its plan can be made, and then whether it pays."""

from enum import StrEnum

from service.domain.month.rounded_month import RoundedMonth


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
