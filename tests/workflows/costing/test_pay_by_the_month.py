"""Labour paid by the month: as dear on a sheet as labour paid by the hour, but fixed wherever costs are told apart."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.workflows.quoting import quotations
from tests.api.repriced import FIRST, MONDAY, register_shop
from tests.domain.examples import a_policy
from tests.support import builders
from tests.workflows.listing.repriced import applied, effects, previewed
from tests.workflows.owner import Owner

OPERATOR, DAY = "labour-grades/operator", "2026-01-01"
BY_THE_MONTH = builders.labour_rate(paid_hours_per_month="160")
ON_VARIABLE_COST = a_policy(value="0.2", cost_basis="variable_cost")


@pytest.fixture
def paid_by_the_hour(furnished: Owner) -> Owner:
    return furnished


def pay_by_the_month(owner: Owner, on: str = DAY) -> None:
    owner.put_rate(OPERATOR, on, BY_THE_MONTH)


class TestTheSheet:
    def test_bears_the_same_hours_at_the_same_rate_but_as_a_fixed_cost(self, paid_by_the_hour: Owner) -> None:
        before = paid_by_the_hour.cost()
        pay_by_the_month(paid_by_the_hour)

        after = paid_by_the_hour.cost()

        labour, was = ({line.resource: line for line in sheet.lines}[OPERATOR] for sheet in (after, before))
        assert (labour.amount, labour.quantity, labour.rate) == (was.amount, was.quantity, was.rate)
        assert (was.variable, labour.variable) == (True, False)
        old, new = before.subtotals, after.subtotals
        assert (new.full_cost, new.prime_cost, new.conversion_cost) == (
            old.full_cost,
            old.prime_cost,
            old.conversion_cost,
        )
        moved = labour.amount.amount
        assert new.variable_cost.per_batch.amount == old.variable_cost.per_batch.amount - moved
        assert new.fixed_cost.per_batch.amount == old.fixed_cost.per_batch.amount + moved

    def test_may_be_asked_what_if(self, paid_by_the_hour: Owner) -> None:
        supposed = paid_by_the_hour.cost(**{OPERATOR: BY_THE_MONTH})
        pay_by_the_month(paid_by_the_hour)

        assert supposed.subtotals == paid_by_the_hour.cost().subtotals


class TestThePrice:
    def test_on_variable_cost_and_its_floor_are_without_the_labour(self, paid_by_the_hour: Owner) -> None:
        hourly = paid_by_the_hour.price(policy=ON_VARIABLE_COST).price_per_piece
        pay_by_the_month(paid_by_the_hour)

        monthly = paid_by_the_hour.price(policy=ON_VARIABLE_COST).price_per_piece

        sheet = paid_by_the_hour.cost()
        labour = {line.resource: line for line in sheet.lines}[OPERATOR].amount_per_piece.amount
        assert hourly.variable_cost.amount - monthly.variable_cost.amount == labour
        assert monthly.floor_price.amount < hourly.floor_price.amount
        assert monthly.price.amount < hourly.price.amount


class TestAQuotation:
    def test_keeps_a_contribution_that_pays_the_labour_too(self, paid_by_the_hour: Owner) -> None:
        lines = [{**builders.quotation()["lines"][0], "policy": builders.policy("fixed_price", "60")}]
        before = paid_by_the_hour.quote(lines=lines)
        pay_by_the_month(paid_by_the_hour)

        after = paid_by_the_hour.quote(lines=lines)

        labour = {line.resource: line for line in paid_by_the_hour.cost().lines}[OPERATOR].amount.amount
        assert after.figures.kept.profit == before.figures.kept.profit
        assert after.figures.kept.contribution.amount == before.figures.kept.contribution.amount + labour

    def test_given_before_comes_out_as_it_was(self, paid_by_the_hour: Owner) -> None:
        made = paid_by_the_hour.quote()

        pay_by_the_month(paid_by_the_hour)

        assert quotations.recompute(paid_by_the_hour.workspace, made.id).agrees


class TestARepricing:
    @pytest.fixture
    def shop(self, owner: Owner) -> Owner:
        """A listing priced on variable cost, and one on full cost."""
        register_shop(owner)
        policy = builders.policy("margin", "0.2", cost_basis="variable_cost", never_below_cost="variable_cost")
        owner.put("listings/sheet-fair", builders.listing(channel="fair", tax=None, policy=policy))
        applied(owner)
        return owner

    def test_finds_the_price_of_the_price_sheet_after_a_change_to_pay_by_the_month(self, shop: Owner) -> None:
        pay_by_the_month(shop, MONDAY)

        changes = previewed(shop, include_unchanged=True).changes

        of_variable, of_full = changes["sheet-fair"], changes["sheet-online"]
        asked: dict[str, Any] = {"channel": "fair", "policy": ON_VARIABLE_COST}
        new = self.price_on(shop, MONDAY, **asked)
        assert Decimal(of_variable["new"]["price"]["amount"]) == new
        assert Decimal(of_variable["old"]["price"]["amount"]) == self.price_on(shop, FIRST, **asked) > new
        assert of_variable["old"]["unit_cost"] == of_variable["new"]["unit_cost"]  # the full cost
        assert effects(of_variable) == {}
        assert of_full["decision"] == "same"

    @staticmethod
    def price_on(owner: Owner, day: str, **asked: Any) -> Decimal:
        return owner.price(as_of=date.fromisoformat(day), **asked).price_per_piece.price.amount
