"""What many batches cost, of a product or of a period, and the fixed cost of its days."""

from calendar import monthrange
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Annotated

from service.domain.month.fixed_costs import fixed_costs
from service.domain.month.plan import FixedResource
from service.domain.reviewing.period import FixedBudget, fixed_variances, summed_together
from service.domain.reviewing.period_review import Days, PeriodReview, SummedStatement, period_review, summed_statement
from service.domain.values.declared import Length, declared
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.money import Money
from service.domain.values.references import Thing
from service.nearest import did_you_mean
from service.store.records.batch_records import ChosenRecords
from service.time_limit import next_step
from service.workflows.costing.rate_card import rates_in_force
from service.workflows.currency.exchange import Exchange
from service.workflows.registering.registering import find_one
from service.workflows.reviewing.variances import review
from service.workflows.workspace import Workspace

MAX_DAYS, MAX_INCURRED = 366, 1_000
"""Most days of a period, and most amounts that were really spent."""


def variances_of_product(workspace: Workspace, product: str, chosen: ChosenRecords) -> SummedStatement:
    """Why all batches of a product in a period cost more or less than their good units should have.

    Raises:
        NotRegisteredError: there is no such product, and no batch of it.
        TooComplexError: there are too many batches.
    """
    with workspace.snapshot() as frozen, frozen.reading() as connection:
        found = review(connection, frozen, replace(chosen, product=product))
        if not (found.batches or found.left_out):
            named = find_one(frozen, Thing("products", product)).facts.name
            none = replace(summed_together([]), product=product, name=named, currency=frozen.workshop.currency)
            return summed_statement(none)
    together = summed_together(found.batches)
    name = next((each.name for each in found.batches), product)
    together = replace(together, product=product, name=name, currency=workspace.workshop.currency)
    return summed_statement(together, found.left_out)


@declared
class PeriodQuestion:
    """Which days to look back on.

    Attributes:
        first_day: the first of the month of last_day if left out.
        last_day: today if left out.
        incurred: what the fixed cost of these days really was, by resource, for instance "overheads/rent"; what its
            rates say if left out.
    """

    first_day: date | None = None
    last_day: date | None = None
    incurred: Annotated[Mapping[FixedResource, Money], Length(at_most=MAX_INCURRED)] = field(default_factory=dict)

    def problems(self) -> Iterator[InvalidValueError]:
        if self.first_day and self.last_day and self.last_day < self.first_day:
            yield InvalidValueError(("last_day",), "must not be before first_day")
        for resource, amount in self.incurred.items():
            if amount.amount < 0:
                yield InvalidValueError(("incurred", resource), "must be 0 or more")


def _months(first: date, last: date) -> Iterator[Days]:
    """The days of a period, by the months of the calendar."""
    while first <= last:
        _, all_days = monthrange(first.year, first.month)
        end = min(last, first.replace(day=all_days))
        yield Days(first, end)
        first = end + timedelta(days=1)


def review_period(workspace: Workspace, question: PeriodQuestion) -> PeriodReview:
    """The variances of all batches of a period, together and by product, and those of the fixed cost of its days.

    Raises:
        InvalidValuesError: days that are still to come, more than a year, or an amount of what has no fixed cost.
        MissingExchangeRateError: a fixed cost cannot be converted on its day.
        TooComplexError: there are too many batches.
    """
    today = workspace.workshop.today()
    last = question.last_day or max(today, question.first_day or today)
    first = question.first_day or last.replace(day=1)
    if problems := list(_problems(question, Days(first, last), today)):
        raise InvalidValuesError(problems)
    chosen = ChosenRecords(first_day=first, last_day=last)
    with workspace.snapshot() as frozen, frozen.reading() as connection:
        found = review(connection, frozen, chosen)
        budgets = _budgets(frozen, list(_months(first, last)), _incurred(frozen, question, last))
    fixed = fixed_variances(budgets, found.batches)
    return period_review(Days(first, last), workspace.workshop.currency, found.batches, found.left_out, fixed)


def _problems(question: PeriodQuestion, days: Days, today: date) -> Iterator[InvalidValueError]:
    if days.last > today:
        member = "first_day" if question.last_day is None else "last_day"
        yield InvalidValueError((member,), f"must be {today} or earlier: what is to come has not cost anything yet")
    earliest = days.last - timedelta(days=MAX_DAYS - 1)
    if days.first < earliest:
        reason = f"must be {earliest} or later: a review is of {MAX_DAYS} days at most"
        yield InvalidValueError(("first_day",), reason)


def _incurred(workspace: Workspace, question: PeriodQuestion, last: date) -> Mapping[str, Decimal]:
    exchange = Exchange(workspace, last)
    return {resource: exchange(amount) for resource, amount in question.incurred.items()}


@exactly
def _budgets(workspace: Workspace, months: Sequence[Days], incurred: Mapping[str, Decimal]) -> list[FixedBudget]:
    """The fixed cost of the days by its rates: of each month their share, by the rates on the last of them.

    Raises:
        InvalidValuesError: an amount is of what has no fixed cost in these days.
    """
    amounts: dict[str, Decimal] = {}
    names: dict[str, str] = {}
    for days in months:
        next_step()
        for cost in fixed_costs(rates_in_force(workspace, days.last), Exchange(workspace, days.last)):
            resource = cost.resource or ""
            amounts[resource] = amounts.get(resource, ZERO) + cost.amount * days.share_of_month
            names[resource] = cost.name
    if foreign := [each for each in incurred if each not in amounts]:
        raise InvalidValuesError(
            [
                InvalidValueError(("incurred", each), f"has no fixed cost in these days{did_you_mean(each, amounts)}")
                for each in foreign
            ]
        )
    return [
        FixedBudget(resource=each, name=names[each], budget=amount, incurred=incurred.get(each))
        for each, amount in amounts.items()
    ]
