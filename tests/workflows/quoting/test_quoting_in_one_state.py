"""A quotation is computed from one state of the workshop, whatever changes meanwhile."""

from typing import Any

import pytest

from service.store.quoting.quotations import Quotation
from service.workflows.quoting import quotation_basis, quotations
from tests.support.builders import material_rate, register_workshop
from tests.workflows.owner import Owner


@pytest.mark.parametrize("what", ["quote", "preview"])
def test_a_rate_that_changes_while_a_quotation_is_computed_starts_it_again(
    owner: Owner, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    register_workshop(owner)
    costed = quotation_basis.costed
    prices = iter(["5.00", "7.00"])

    def costed_while_a_price_changes(*arguments: Any, **named: Any) -> Any:
        found = costed(*arguments, **named)
        if (price := next(prices, None)) is not None:
            owner.put_rate("materials/hdpe", "2026-01-01", material_rate(price))
        return found

    monkeypatch.setattr(quotation_basis, "costed", costed_while_a_price_changes)
    made = getattr(owner, what)()
    monkeypatch.undo()

    assert made.figures == owner.quote().figures
    if isinstance(made, Quotation):
        assert quotations.recompute(owner.workspace, made.id).agrees
