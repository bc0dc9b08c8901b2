"""The workings of a cost sheet, computed from stored data."""

from decimal import Decimal
from typing import Any

import pytest

from service.workflows.costing.cost_sheets import Batch
from service.workflows.costing.supposing import Supposed
from service.workflows.costing.workings import WorkedCost, work_out_cost
from service.workflows.errors import NotRegisteredError
from tests.domain.examples import TODAY
from tests.support import builders
from tests.workflows.owner import Owner


def worked(owner: Owner, product: str = "sheet", **what_if: Any) -> WorkedCost:
    supposed = {path: owner.terms(path, body) for path, body in what_if.items()}
    return work_out_cost(owner.workspace, Batch(product, Decimal(20)), TODAY, Supposed(rates=supposed))


@pytest.mark.parametrize("what_if", [{}, {"materials/hdpe": builders.material_rate("0.97")}], ids=["real", "supposed"])
def test_every_amount_in_the_workings_is_the_cost_sheets(furnished: Owner, what_if: dict[str, Any]) -> None:
    found = worked(furnished, **what_if)

    assert found.statement == furnished.cost(quantity=20, **what_if)
    every = [each for section in found.workings.sections for each in section.workings]
    amounts = [each.on_sheet or each.result for each in every if each.name == "amount"]
    assert amounts == [line.amount.amount for line in found.statement.lines]


def test_an_unregistered_product_has_no_workings(furnished: Owner) -> None:
    with pytest.raises(NotRegisteredError, match="there is no product 'gold'"):
        worked(furnished, "gold")
