"""A cost sheet with the formula of every figure."""

from dataclasses import dataclass
from datetime import date

from service.domain.costing.cost_statement import CostStatement
from service.domain.explaining.cost_workings import CostWorkings, cost_workings
from service.domain.explaining.traced_facts import traced_conversion
from service.workflows.costing.cost_sheets import Batch, state_cost
from service.workflows.costing.costing import pools_of, prepare, subject
from service.workflows.costing.supposing import NOTHING_SUPPOSED, Supposed
from service.workflows.workspace import Workspace


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkedCost:
    """What a batch costs, and how that came about.

    Attributes:
        statement: the cost sheet.
        workings: every figure of it with its formula.
    """

    statement: CostStatement
    workings: CostWorkings


def work_out_cost(workspace: Workspace, batch: Batch, as_of: date, supposed: Supposed = NOTHING_SUPPOSED) -> WorkedCost:
    """As `cost_product`, with the formula of every figure; raises TooComplexError if these are too many."""
    costing = prepare(workspace, [subject("products", batch.product)], as_of, supposed)
    statement = state_cost(workspace, costing, batch)
    workings = cost_workings(
        statement,
        costing.surroundings.catalogue,
        costing.card,
        pools_of(costing.surroundings),
        traced_conversion(costing.exchange.day_for, costing.card.currency),
        batch.orders,
    )
    return WorkedCost(statement=statement, workings=workings)
