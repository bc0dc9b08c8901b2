"""What may make a verdict on a month misleading: rates, prices and costs that the plan and the workshop say apart."""

from collections.abc import Sequence

from service.domain.costing.interest_counted_twice import interest_counted_twice, is_interest
from service.domain.costing.rate_card import DatedRate
from service.domain.month.month import Month
from service.domain.month.plan import MonthPlan, OtherCostKind
from service.domain.month.verdict import not_in_force
from service.domain.scheduling.rates_to_come import changing_within
from service.domain.values.message import RateWarning
from service.domain.values.references import Registered
from service.store.listing.prices_in_force import prices_of
from service.workflows.costing.costing import Costing
from service.workflows.costing.rate_checks import rates_to_come
from service.workflows.costing.supposing import Supposed
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace


def interest(
    workspace: Workspace, plan: MonthPlan, in_force: Sequence[tuple[DatedRate, Registered]], exchange: Exchange
) -> tuple[RateWarning, ...]:
    """A warning if costs of the plan are interest, and rates of machines that the month bears hold some too."""
    language = workspace.workshop.locale.partition("_")[0]
    costs = (
        each.name
        for each in plan.other_fixed_costs
        if each.kind is OtherCostKind.INTEREST or (each.kind is None and is_interest(each.name, language))
    )
    borne = ((rate, facts) for rate, facts in in_force if rate.resource not in plan.leave_out)
    return interest_counted_twice(costs, borne, exchange, workspace.workshop.currency)


def rates_changing(workspace: Workspace, month: Month, costing: Costing, supposed: Supposed) -> tuple[RateWarning, ...]:
    """A warning if rates of what a month takes change within it; those that are supposed hold for all of it."""
    if month.period is None:
        return ()
    fixed = {each.resource for each in month.fixed_costs if each.resource is not None}
    taken = {*costing.card.rates, *fixed} - set(supposed.rates)
    coming = rates_to_come(workspace, taken, month.period.first_day, month.period.last_day)
    return changing_within(month.as_of, coming)


def prices_not_in_force(
    workspace: Workspace, plan: MonthPlan, month: Month, supposed: Supposed
) -> tuple[RateWarning, ...]:
    """A warning for each listing that is counted at the price that its policy gives, while another one is in force.

    Nothing is said of a month in which something is supposed: its prices are meant to be others.
    """
    lines = zip(plan.lines, month.products, strict=True)
    by_policy = [found for line, found in lines if line.listing is not None and line.price is None]
    if supposed or not by_policy:
        return ()
    with workspace.reading() as connection:
        codes = [str(each.listing) for each in by_policy]
        in_force = prices_of(connection, workspace.workshop_id, codes, month.as_of)
    return tuple(not_in_force(by_policy, in_force))
