"""What batches cost, compared with what they should have cost: from stored records, at the rates of their days."""

from datetime import date
from decimal import Decimal

import pytest

from service.domain.costing.errors import MissingRatesError
from service.domain.reviewing.variance_kinds import Effect, VarianceKind
from service.domain.values.errors import TooComplexError
from service.store.records.batch_records import ChosenRecords
from service.workflows.errors import NotRegisteredError
from service.workflows.reviewing import variances
from service.workflows.reviewing.period import variances_of_product
from service.workflows.reviewing.variances import variances_of_record
from tests.support import builders
from tests.workflows.owner import Owner

EVER = ChosenRecords()


def test_flakes_beyond_the_standard_cost_what_they_cost_on_the_day_whatever_they_cost_now(furnished: Owner) -> None:
    """19 sheets from 20 begun should take 20 × 9.6 = 192 kg; 195.5 were issued, at 0.80."""
    furnished.record(units_started="20")
    furnished.put_rate("materials/hdpe", "2026-02-01", builders.material_rate("9"))
    furnished.put("products/sheet", builders.product(name="Sheet", bill_of_materials=[]))

    found = variances_of_record(furnished.workspace, "B-1").statement

    (usage,) = (each for each in found.variances if each.kind is VarianceKind.MATERIAL_USAGE)
    assert (usage.amount.amount, usage.effect) == (Decimal("2.80"), Effect.ADVERSE)
    assert found.standard_cost.amount + sum(each.amount.amount for each in found.variances) == found.actual_cost.amount
    assert furnished.cost(quantity=19).lines[0].resource != usage.resource


def test_a_batch_of_which_nobody_counted_anything_has_none(furnished: Owner) -> None:
    furnished.record(materials=[])

    found = variances_of_record(furnished.workspace, "B-1").statement

    assert (found.variances, found.variance.amount) == ((), 0)
    assert found.standard_cost == furnished.cost(quantity=19).subtotals.full_cost.per_batch


def test_a_rate_that_was_missing_may_come_later(furnished: Owner) -> None:
    furnished.record(made_on="2025-12-01")
    for _ in range(2):
        with pytest.raises(MissingRatesError) as refused:
            variances_of_record(furnished.workspace, "B-1")
        assert refused.value.missing[0].first_valid_from == date(2026, 1, 1)
    for path, terms in (
        ("materials/hdpe", builders.material_rate("1")),
        ("machines/press", builders.machine_rate()),
        ("tariffs/grid", builders.tariff_rate()),
        ("labour-grades/operator", builders.labour_rate()),
    ):
        furnished.put_rate(path, "2025-06-01", terms)

    (usage, *_) = variances_of_record(furnished.workspace, "B-1").statement.variances

    assert (usage.kind, usage.amount.amount) == (VarianceKind.MATERIAL_USAGE, Decimal("3.50"))


def test_batches_of_a_period_are_told_together(furnished: Owner, monkeypatch: pytest.MonkeyPatch) -> None:
    for day in (20, 21, 22):
        furnished.record(f"B-{day}", made_on=f"2026-11-{day}")
    one = variances_of_record(furnished.workspace, "B-20").statement

    ever = variances_of_product(furnished.workspace, "sheet", EVER)
    two = variances_of_product(furnished.workspace, "sheet", ChosenRecords(first_day=date(2026, 11, 21)))
    none = variances_of_product(furnished.workspace, "sheet", ChosenRecords(last_day=date(2026, 11, 1)))

    assert (ever.batches, two.batches, none.batches) == (3, 2, 0)
    assert ever.variances[0].amount.amount == 3 * one.variances[0].amount.amount
    assert (two.good_units, none.actual_cost.amount, none.actual_cost.currency) == (38, 0, "EUR")
    with pytest.raises(NotRegisteredError, match="did you mean 'sheet'"):
        variances_of_product(furnished.workspace, "shet", EVER)
    monkeypatch.setattr(variances, "MAX_COMPARED", 2)
    with pytest.raises(TooComplexError, match="shorter period"):
        variances_of_product(furnished.workspace, "sheet", EVER)
