"""Many batches together, and the fixed cost of their period."""

from dataclasses import replace
from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.reviewing.period import FixedBudget, fixed_variances, summed, summed_together
from service.domain.reviewing.period_review import summed_statement
from service.domain.reviewing.variance_kinds import Effect, VarianceKind
from service.domain.reviewing.variances import BatchVariances
from service.domain.values.errors import CurrencyMismatchError
from tests.domain.examples import a_shop
from tests.domain.records.recorded import a_record, records
from tests.domain.reviewing.reviewed import compared
from tests.domain.strategies import shops, tried

SHOP = a_shop()
LONG = compared(SHOP, a_record(operations=[{"operation": "pressing", "minutes": "1000"}]))
SHORT = compared(SHOP, a_record(good_units="10", operations=[{"operation": "pressing", "minutes": "400"}]))
OTHER = replace(SHORT, product="beam", name="Beam")


class TestBatchesOfAProduct:
    def test_are_summed_cause_by_cause(self) -> None:
        (found,) = summed([LONG, SHORT])

        assert (found.product, found.batches, found.good_units) == ("sheet", 2, 30)
        time = next(each for each in found.variances if each.kind is VarianceKind.MACHINE_TIME)
        one, other = (next(each for each in batch.variances if each.kind is time.kind) for batch in (LONG, SHORT))
        assert (time.amount, time.batches) == (one.amount + other.amount, 2)
        assert time.standard_cost == one.standard_cost + other.standard_cost
        assert time.what == "Sheet press, machine time, in 2 batches"
        assert time.effect is Effect.ADVERSE

    def test_come_with_the_product_that_differs_most_first(self) -> None:
        assert [each.product for each in summed([OTHER, LONG])] == ["sheet", "beam"]

    def test_may_cost_less_than_they_should(self) -> None:
        (found,) = summed([SHORT])

        assert {each.effect for each in found.variances} == {Effect.FAVOURABLE}

    def test_of_several_products_have_no_common_unit(self) -> None:
        together = summed_together([LONG, OTHER])

        assert (together.product, together.batches, together.good_units) == ("", 2, None)
        assert together.actual_cost == LONG.actual_cost + OTHER.actual_cost

    def test_may_be_none(self) -> None:
        found = summed_together([])

        assert (found.batches, found.good_units, found.currency, found.variances) == (0, 0, "", ())

    def test_are_of_one_currency(self) -> None:
        with pytest.raises(CurrencyMismatchError, match="EUR and USD"):
            summed([LONG, replace(SHORT, currency="USD")])

    def test_are_shown_from_the_rounded_standard_to_the_rounded_actual_cost(self) -> None:
        found = summed_statement(summed_together([LONG, SHORT]))

        assert found.standard_cost.amount + sum(each.amount.amount for each in found.variances) == (
            found.actual_cost.amount
        )
        assert found.variances[0].text.startswith("Operator, labour efficiency, in 2 batches: ")
        assert found.implausible == ()

    def test_name_records_that_counted_what_cannot_be(self) -> None:
        doubted = [replace(LONG, implausible=f"b-{each}") for each in range(6, 0, -1)]

        found = summed_statement(summed_together([*doubted, SHORT]))

        assert found.implausible == ("b-1", "b-2", "b-3", "b-4", "b-5", "b-6")
        told = "Less material was counted than good units contain, which is no saving: b-1, b-2, b-3, b-4, b-5 …"
        assert found.text.endswith(f". {told}")


class TestFixedCostOfAPeriod:
    def test_is_incurred_less_applied_by_budget_capacity_and_efficiency(self) -> None:
        budgets = [
            FixedBudget(resource="machines/press", name="Press", budget=Decimal(200), incurred=Decimal(210)),
            FixedBudget(resource="overheads/rent", name="Rent", budget=Decimal(90)),
        ]

        press, rent = fixed_variances(budgets, [LONG, SHORT])

        absorbed = [each for batch in (LONG, SHORT) for each in batch.absorbed]
        assert press.applied == sum(each.standard for each in absorbed)
        assert (press.budget_variance, press.capacity) == (10, 200 - sum(each.actual for each in absorbed))
        assert press.efficiency == sum(each.actual - each.standard for each in absorbed)
        assert press.volume_variance == press.capacity + press.efficiency
        assert press.incurred - press.applied == press.budget_variance + press.volume_variance
        assert (rent.incurred, rent.budget_variance, rent.volume_variance) == (90, 0, 90)


class TestLaws:
    @tried
    @given(st.data())
    def test_the_sum_of_batches_adds_up_and_their_order_is_irrelevant(self, data: st.DataObject) -> None:
        shop = data.draw(shops())
        batches: list[BatchVariances] = [compared(shop, data.draw(records(shop))) for _ in range(3)]

        found = [summed(order) for order in permutations(batches)]

        assert all(each == found[0] for each in found)
        (one,) = found[0]
        assert one.standard_cost + sum(each.amount for each in one.variances) == one.actual_cost
