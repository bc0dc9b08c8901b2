"""A period looked back on: its batches together, and what its fixed cost was for."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.domain.reviewing.period_review import FixedStatement, PeriodReview
from service.domain.reviewing.variance_kinds import VarianceKind
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded
from service.store.records.batch_records import ChosenRecords
from service.workflows.reviewing.period import PeriodQuestion, review_period, variances_of_product
from service.workflows.reviewing.variances import variances_of_record
from tests.domain.examples import TODAY
from tests.support import builders
from tests.support.builders import money
from tests.workflows.owner import Owner


def reviewed(owner: Owner, **question: Any) -> PeriodReview:
    return review_period(owner.workspace, decoded(question, PeriodQuestion))


def fixed(review: PeriodReview) -> dict[str, FixedStatement]:
    return {each.resource: each for each in review.fixed}


@pytest.fixture
def now(owner: Owner) -> date:
    return owner.workshop.today()


def test_bears_of_each_month_the_share_of_its_days_at_the_rates_of_the_last(furnished: Owner) -> None:
    """A press of 24,000 in ten years is 200 a month; the rent of 600 is 900 from October on."""
    furnished.put_rate("overheads/rent", "2026-10-01", builders.overhead_rate("900"))

    found = fixed(reviewed(furnished, first_day="2026-09-16", last_day="2026-11-15"))

    halves = Decimal(15) / 30 + 1 + Decimal(15) / 30
    assert found["machines/press"].budget.amount == 200 * halves
    assert found["overheads/rent"].budget.amount == 300 + 900 + 450
    assert set(found) == {"machines/press", "overheads/rent"}


def test_shows_what_good_units_bear_what_batches_took_beyond_and_what_none_took_up(furnished: Owner) -> None:
    furnished.record(operations=[{"operation": "pressing", "minutes": "1000"}])
    batch = variances_of_record(furnished.workspace, "B-1").statement

    review = reviewed(
        furnished, first_day="2026-11-01", last_day="2026-11-25", incurred={"overheads/rent": money("520")}
    )

    rent, time = fixed(review)["overheads/rent"], {(each.kind.value, each.resource): each for each in batch.variances}
    assert rent.budget.amount == 500
    assert (rent.incurred.amount, rent.budget_variance.amount) == (520, 20)
    assert rent.efficiency == time["fixed_overhead_efficiency", "overheads/rent"].amount
    assert rent.volume_variance.amount == rent.budget.amount - rent.applied.amount
    assert rent.capacity.amount == rent.volume_variance.amount - rent.efficiency.amount > 0
    taken = rent.applied.amount + rent.efficiency.amount
    told = f"Rent: 500.00 EUR by the rates. The batches counted here took up {taken}, and "
    assert rent.text == f"{told}{rent.capacity.amount} none of them. Spent were 520.00 EUR"
    total = review.fixed_total
    assert total.budget.amount == sum(each.budget.amount for each in review.fixed)
    assert total.capacity.amount == sum(each.capacity.amount for each in review.fixed)
    assert total.text.startswith("These days, however much is made: ")


def test_says_if_batches_took_more_than_there_was(furnished: Owner) -> None:
    furnished.record(good_units=500, materials=[])

    press = fixed(reviewed(furnished, first_day="2026-11-25", last_day="2026-11-25"))["machines/press"]

    assert press.capacity.amount < 0
    assert press.text.endswith(f", {-press.capacity.amount} more than that")


def test_tells_its_batches_together_and_by_product(furnished: Owner) -> None:
    furnished.put("products/half", builders.product(name="Half a sheet"))
    for code, product in (("B-1", "sheet"), ("B-2", "half"), ("B-3", "half")):
        furnished.record(code, product=product)
    furnished.record("B-0", made_on="2026-10-31")

    review = reviewed(furnished, first_day="2026-11-01", last_day="2026-11-25")

    together, (half, sheet) = review.together, review.products
    assert (together.batches, together.good_units, together.product) == (3, None, "")
    assert (half.product, half.batches, half.name, sheet.batches) == ("half", 2, "Half a sheet", 1)
    assert together.actual_cost.amount == half.actual_cost.amount + sheet.actual_cost.amount
    assert together.text == f"3 batches: {together.variance.amount} EUR more than the good units should have cost"
    assert sheet.text == f"One batch: {sheet.variance.amount} EUR more than the good units should have cost"
    assert {each.text.split(", ")[2].split(":")[0] for each in sheet.variances} == {"in one batch"}


def test_may_have_cost_less_or_the_same_or_have_no_batch(furnished: Owner) -> None:
    furnished.record(materials=[])
    same = reviewed(furnished).together
    furnished.record(materials=[{"material": "hdpe", "issued": "180"}])
    less = reviewed(furnished).together
    none = reviewed(furnished, last_day="2026-10-31")

    assert same.text == "One batch: the cost is what the good units should have cost"
    assert less.text == f"One batch: {-less.variance.amount} EUR less than the good units should have cost"
    assert (none.together.text, none.together.actual_cost.amount, none.products) == ("No batch is recorded", 0, ())
    assert none.together.actual_cost.currency == "EUR"
    assert (none.first_day, none.last_day) == (date(2026, 10, 1), date(2026, 10, 31))


def test_is_this_month_until_today_if_nobody_says(furnished: Owner, now: date) -> None:
    review = reviewed(furnished)

    assert (review.first_day, review.last_day) == (now.replace(day=1), now)


def test_takes_what_was_spent_in_other_money(furnished: Owner) -> None:
    furnished.put_exchange_rates("2026-11-25", USD="1.25")

    review = reviewed(furnished, last_day="2026-11-25", incurred={"overheads/rent": money("650", "USD")})

    assert fixed(review)["overheads/rent"].incurred.amount == 520


@pytest.mark.parametrize(
    ("question", "told"),
    [
        ({"last_day": "2099-01-01"}, "last_day: must be .* or earlier: what is to come has not cost anything yet"),
        ({"first_day": "2099-01-01"}, "first_day: must be .* or earlier"),
        (
            {"first_day": "2024-11-20", "last_day": "2026-11-20"},
            "first_day: must be 2025-11-20 or later: a review is of 366 days at most",
        ),
        ({"first_day": "2026-11-20", "last_day": "2026-11-19"}, "last_day: must not be before first_day"),
        ({"incurred": {"overheads/rents": money("1")}}, "did you mean 'overheads/rent'"),
        ({"incurred": {"labour-grades/operator": money("1")}}, "incurred/labour-grades/operator: has no fixed cost"),
        ({"incurred": {"overheads/rent": money("-1")}}, "incurred/overheads/rent: must be 0 or more"),
    ],
)
def test_refuses_what_cannot_be_looked_back_on(furnished: Owner, question: dict[str, Any], told: str) -> None:
    with pytest.raises(InvalidValuesError, match=told):
        reviewed(furnished, **question)


def test_has_no_fixed_cost_before_the_first_rate(owner: Owner) -> None:
    review = reviewed(owner, last_day=TODAY.isoformat())

    assert (review.fixed, review.fixed_total.budget.amount) == ((), 0)


def test_leaves_out_and_names_what_cannot_be_compared(furnished: Owner) -> None:
    furnished.record("B-1", materials=[])
    furnished.record("B-2", labour=[{"labour_grade": "operator", "idle_hours": "1000000000000"}])
    paid = {"material": "hdpe", "issued": "190", "paid": money("9", "SEK")}
    furnished.put("products/half", builders.product(name="Half a sheet"))
    furnished.record("B-3", product="half", materials=[paid])

    review = reviewed(furnished, last_day="2026-11-25")
    of_halves = variances_of_product(furnished.workspace, "half", ChosenRecords())

    assert [(each.code, each.product) for each in review.together.left_out] == [("B-3", "half"), ("B-2", "sheet")]
    assert (review.together.batches, [each.product for each in review.products]) == (1, ["sheet"])
    assert [each.code for each in review.products[0].left_out] == ["B-2"]
    assert review.together.text.endswith(". Not counted, because they cannot be compared: B-3, B-2")
    assert of_halves.text == "No batch can be compared. Not counted, because they cannot be compared: B-3"
    reason = of_halves.left_out[0].reason
    assert reason.startswith("no exchange rate between SEK and EUR")
    assert reason.endswith("enter, import or fetch one of 2026-11-25, or of a day shortly before it")
    assert (of_halves.batches, of_halves.product, of_halves.actual_cost.currency) == (0, "half", "EUR")


def test_knows_the_batches_of_a_retired_product_and_of_one_that_changed_its_unit(furnished: Owner) -> None:
    furnished.put("products/half", builders.product(name="Half a sheet"))
    furnished.record("B-1", product="half", made_on="2026-11-24")
    furnished.retire("products/half")

    found = variances_of_product(furnished.workspace, "half", ChosenRecords())

    assert (found.batches, found.name, found.good_units) == (1, "Half a sheet", 19)


def test_pays_a_monthly_grade_no_time_by_paying_it_more(furnished: Owner) -> None:
    paid = builders.labour_rate(paid_hours_per_month="160", people=1)
    furnished.put_rate("labour-grades/operator", "2026-11-01", paid)
    labour = [{"labour_grade": "operator", "hours": "4", "paid": money("100")}]
    furnished.record(labour=labour, materials=[])

    row = fixed(reviewed(furnished, last_day="2026-11-25"))["labour-grades/operator"]

    assert row.applied.amount + row.efficiency.amount == 60
    causes = variances_of_record(furnished.workspace, "B-1").statement.variances
    rate = next(each for each in causes if each.kind is VarianceKind.LABOUR_RATE)
    assert (rate.amount.amount, rate.variable.amount) == (40, 40)


def test_has_idle_hours_of_a_monthly_grade_taken_up_by_the_batch_that_bears_them(furnished: Owner) -> None:
    paid = builders.labour_rate(paid_hours_per_month="160", people=1)
    furnished.put_rate("labour-grades/operator", "2026-11-01", paid)
    furnished.record(labour=[{"labour_grade": "operator", "hours": "4", "idle_hours": "2"}], materials=[])

    row = fixed(reviewed(furnished, last_day="2026-11-25"))["labour-grades/operator"]

    assert row.applied.amount + row.efficiency.amount == 90
    assert row.capacity.amount == row.budget.amount - 90
