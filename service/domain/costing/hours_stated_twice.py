"""Hours that a workshop states twice, with a rate and with what it prices: warnings, never errors."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from decimal import Decimal

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import LabourRate, MachineRate
from service.domain.making.resources import LabourGrade, Machine
from service.domain.values.exact import MONTHS_PER_YEAR, WEEKS_PER_YEAR, exactly, plain
from service.domain.values.message import COMMON_PRACTICE, Message, RateWarning
from service.domain.values.references import Registered

_TOLERATED_SHARE = Decimal("0.1")
_SHOWN_DECIMALS = 1


@exactly
def hours_stated_twice(rates: Sequence[tuple[DatedRate, Registered]]) -> tuple[RateWarning, ...]:
    """Warnings of machines, and of labour grades, whose rates and hours a week differ by more than a tenth.

    Planned hours a year × utilisation against hours a week × 52; paid hours a month × people against
    hours a week × 52/12.
    """
    machines = dict(_differing(rates, _hours_of_a_machine))
    grades = dict(_differing(rates, _hours_of_a_grade))
    told = (
        Message(
            "Rates spread the cost of a year over other hours than the hours a week come to: {differing}. Check both: "
            "too few hours in a rate make pieces too dear, too many leave some of the cost uncovered.",
            differing=tuple(machines.values()),
        ),
        Message(
            "Rates pay for other hours a month than the hours a week come to: {differing}. Check both: a month pays "
            "for the hours of the rate, and plans with the hours a week.",
            differing=tuple(grades.values()),
        ),
    )
    return tuple(
        RateWarning(code="hours-stated-twice", resources=tuple(found), text=text, source=COMMON_PRACTICE)
        for found, text in zip((machines, grades), told, strict=True)
        if found
    )


Hours = tuple[Decimal, Decimal] | None
"""Hours as the rate states them, and as the hours a week do; None if they are not stated twice."""


def _hours_of_a_machine(rate: DatedRate, facts: Registered) -> Hours:
    if not isinstance(rate.terms, MachineRate) or not isinstance(facts, Machine) or facts.hours_per_week is None:
        return None
    return rate.terms.expected_hours_per_year, facts.hours_per_week * WEEKS_PER_YEAR


def _hours_of_a_grade(rate: DatedRate, facts: Registered) -> Hours:
    if not isinstance(rate.terms, LabourRate) or not isinstance(facts, LabourGrade) or facts.hours_per_week is None:
        return None
    if not rate.terms.is_paid_by_the_month:
        return None
    return rate.terms.all_paid_hours_per_month, facts.hours_per_week * WEEKS_PER_YEAR / MONTHS_PER_YEAR


def _differing(
    rates: Iterable[tuple[DatedRate, Registered]], hours_of: Callable[[DatedRate, Registered], Hours]
) -> Iterator[tuple[str, Message]]:
    """Those that differ by more than a tenth of the hours a week, each with both figures."""
    for rate, facts in rates:
        hours = hours_of(rate, facts)
        if hours is not None and abs(hours[0] - hours[1]) > hours[1] * _TOLERATED_SHARE:
            stated, weekly = (plain(figure, _SHOWN_DECIMALS) for figure in hours)
            text = Message("{name} ({stated} against {weekly})", name=facts.name, stated=stated, weekly=weekly)
            yield rate.resource, text
