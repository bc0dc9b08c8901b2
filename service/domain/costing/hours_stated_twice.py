"""Hours that a workshop states twice, with a rate and with what it prices: warnings, never errors."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import LabourRate, MachineRate
from service.domain.making.resources import LabourGrade, Machine
from service.domain.values.exact import MONTHS_PER_YEAR, WEEKS_PER_YEAR, exactly, plain
from service.domain.values.message import Message
from service.domain.values.references import Registered

_TOLERATED_SHARE = Decimal("0.1")
_SHOWN_DECIMALS = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class RateWarning:
    """Something about a rate that is probably wrong.

    Attributes:
        code: short name of the warning.
        resource: what the rate prices, for instance "machines/press".
        text: what was found, with its figures.
        source: where the expectation comes from.
    """

    code: str
    resource: str
    text: Message
    source: str


@exactly
def hours_stated_twice(rates: Iterable[tuple[DatedRate, Registered]]) -> tuple[RateWarning, ...]:
    """A warning for each machine and labour grade whose rate and hours a week differ by more than a tenth.

    Planned hours a year × utilisation against hours a week × 52; paid hours a month × people against
    hours a week × 52/12.
    """
    told = ((rate.resource, text) for rate, facts in rates for text in _differences(rate, facts))
    return tuple(
        RateWarning(code="hours-stated-twice", resource=resource, text=text, source="common practice, no source")
        for resource, text in told
    )


def _differences(rate: DatedRate, facts: Registered) -> Iterator[Message]:
    match rate.terms, facts:
        case MachineRate(), Machine() if facts.hours_per_week is not None:
            stated, weekly = rate.terms.expected_hours_per_year, facts.hours_per_week * WEEKS_PER_YEAR
            if _differ(stated, weekly):
                yield Message(
                    "The rate of {name} spreads its cost over {stated} hours a year, but its hours a week come to "
                    "{weekly}. Check both: too few hours in the rate make pieces too dear, too many leave some of the "
                    "cost uncovered.",
                    name=facts.name,
                    stated=plain(stated, _SHOWN_DECIMALS),
                    weekly=plain(weekly, _SHOWN_DECIMALS),
                )
        case LabourRate(), LabourGrade() if facts.hours_per_week is not None and rate.terms.is_paid_by_the_month:
            stated = rate.terms.all_paid_hours_per_month
            weekly = facts.hours_per_week * WEEKS_PER_YEAR / MONTHS_PER_YEAR
            if _differ(stated, weekly):
                yield Message(
                    "The rate of {name} pays for {stated} hours a month, but its hours a week come to {weekly}. Check "
                    "both: a month pays for the hours of the rate, and plans with the hours a week.",
                    name=facts.name,
                    stated=plain(stated, _SHOWN_DECIMALS),
                    weekly=plain(weekly, _SHOWN_DECIMALS),
                )


def _differ(stated: Decimal, weekly: Decimal) -> bool:
    return abs(stated - weekly) > weekly * _TOLERATED_SHARE
