"""The rates of a workshop on a day, found once for each of its states."""

from datetime import date
from decimal import Decimal
from typing import Any

from service.domain.costing.rates import MaterialRate
from service.domain.values.money import Money
from service.store.registering import rates
from service.workflows.costing.rates_in_force import RatedState, rated_state
from service.workflows.costing.supposing import WhatIf
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace
from tests.domain.examples import TODAY
from tests.workflows.owner import Owner


def state_of(workspace: Workspace, what_if: WhatIf | None = None) -> RatedState:
    return rated_state(workspace, Exchange(workspace, TODAY), TODAY, what_if)


def in_force(owner: Owner, day: date = TODAY) -> dict[str, Any]:
    with owner.database.reading() as connection:
        return rates.rates_on(connection, owner.workshop_id, day)


def test_those_of_sales_are_read_when_they_are_asked_for(furnished: Owner) -> None:
    with furnished.workspace.snapshot() as frozen:
        found = state_of(frozen).card.rates

        assert found == in_force(furnished)
        assert len(found) == len(in_force(furnished))
        assert "channels/quay-market" in found
        assert found.get("channels/quay-market") is found["channels/quay-market"]
        assert "channels/none" not in found


def test_they_are_computed_once_for_each_state(furnished: Owner) -> None:
    workspace = furnished.workspace
    first = state_of(workspace)

    assert state_of(workspace).rating is first.rating
    furnished.put_rate("materials/hdpe", "2026-01-01", {"price": {"amount": "0.77", "currency": "EUR"}})
    now = state_of(workspace.now())

    assert now.rating.table.parts["materials/hdpe"].rate == Decimal("0.77")
    assert now.rating is not first.rating


def test_supposed_terms_stand_in_for_those_in_force_and_are_not_remembered(furnished: Owner) -> None:
    supposed: WhatIf = {"materials/hdpe": MaterialRate(price=Money(amount=Decimal(9), currency="EUR"))}
    found = state_of(furnished.workspace, supposed)

    assert found.rating.table.parts["materials/hdpe"].rate == 9
    assert found.card.rates.keys() == in_force(furnished).keys()
    assert len(found.card.rates) == len(in_force(furnished))
    assert "channels/quay-market" in found.card.rates
    assert state_of(furnished.workspace).rating.table.parts["materials/hdpe"].rate != 9
