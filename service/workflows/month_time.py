"""The time of a month: its days, and what machines and people work on them."""

from decimal import Decimal

from service.domain.month.plan import MonthPlan
from service.domain.scheduling.period import Period, period_of
from service.domain.scheduling.plan_load import minutes_available
from service.workflows.costing.costing import Costing
from service.workflows.costing.supposing import Supposed
from service.workflows.lead_times import closed_days_of, working_things
from service.workflows.workspace import Workspace


def period_planned(workspace: Workspace, plan: MonthPlan, supposed: Supposed) -> Period | None:
    """The month of the calendar that a plan names, with the workshop's closures; None for an ordinary month."""
    return None if plan.month is None else period_of(plan.month, closed_days_of(workspace, supposed))


def minutes_in(period: Period | None, weeks: Decimal | None, costing: Costing) -> dict[str, Decimal | None]:
    """Minutes of every machine and labour grade in the month, by resource; None if they are unknown.

    Args:
        weeks: of an ordinary month; 52/12 if None.
    """
    catalogue = costing.surroundings.catalogue
    working = working_things(catalogue.machines, catalogue.labour_grades)
    hours = {resource: costing.card.hours_to_work(resource, each.hours_per_week) for resource, each in working.items()}
    if period is None:
        return {resource: minutes_available(each, weeks) for resource, each in hours.items()}
    return {resource: period.minutes(each, working[resource].working_weekdays) for resource, each in hours.items()}
