"""When an order can be ready, and what that says against its quotation."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date

from service.domain.costing.cost_sheet import CostSheet
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.scheduling.lead_time import LeadTime, lead_time
from service.domain.scheduling.rates_to_come import order_dearer
from service.domain.values.errors import PugmillError
from service.domain.values.exact import ZERO
from service.domain.values.message import Message, PlausibilityWarning
from service.domain.values.money import rounded
from service.domain.values.references import whole_of
from service.workflows.costing.cost_sheets import Batch, Batches
from service.workflows.costing.costing import Costing
from service.workflows.costing.rate_checks import rates_to_come
from service.workflows.lead_times import working_resources
from service.workflows.workspace import Workspace


def ready_by(
    workspace: Workspace, costing: Costing, bills: Sequence[BillOfResources], *, is_rush: bool
) -> LeadTime | None:
    """When all batches of an order can be ready; None if no known resource takes time."""
    if not bills:
        return None
    catalogue = costing.surroundings.catalogue
    resources = working_resources(workspace, catalogue.machines, catalogue.labour_grades, costing.card)
    found = lead_time(bills, resources, costing.card.as_of, is_rush=is_rush)
    return None if found.bottleneck is None else found


def late(ready: LeadTime | None, needed_by: date | None, product: str | None) -> Iterator[PlausibilityWarning]:
    """A warning if the order cannot be ready when the customer needs it."""
    if ready is None or needed_by is None or (ready.ready_on is not None and ready.ready_on <= needed_by):
        return
    told = f"could be ready on {ready.ready_on}" if ready.ready_on else f"could not be ready: {ready.reason}"
    yield PlausibilityWarning(
        code="late",
        product=product,
        text=Message(f"The order is wanted by {needed_by} and {told}. The bottleneck is {ready.bottleneck_name}."),
        source="the workshop's hours a week, closures and accepted orders",
    )


def dearer(
    workspace: Workspace,
    ready: LeadTime | None,
    made: Sequence[tuple[Batch, CostSheet]],
    then: Callable[[date], Costing],
    product: str | None,
) -> Iterator[PlausibilityWarning]:
    """A warning if rates of what an order takes begin before it can be ready, and make it dearer.

    Args:
        made: its batches, with their cost as quoted.
        then: the costing of the same things at the rates of another day.
    """
    if ready is None or ready.ready_on is None:
        return
    used = {whole_of(line.resource) for _, sheet in made for line in sheet.lines}
    coming = rates_to_come(workspace, used, ready.starting_on, ready.ready_on)
    if not coming:
        return
    costing = then(ready.ready_on)
    batches = Batches(costing)
    try:
        costs = [batches.costed(batch)[1].full_cost for batch, _ in made]
    except PugmillError:  # a new rate cannot be used; it was warned of when it came
        return
    more = sum(costs, ZERO) - sum((sheet.full_cost for _, sheet in made), ZERO)
    told = rounded(more, costing.card.currency)
    if told.amount > 0:
        yield order_dearer(told, ready.ready_on, coming, product)
