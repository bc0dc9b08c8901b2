"""Monthly plans: which are valid and which are refused."""

from typing import Any

import pytest

from service.domain.month.plan import MonthPlan, OtherFixedCost, PlannedLine
from service.domain.values.errors import InvalidValuesError
from service.encoding import decoded
from tests.support import builders

A_LISTING = {"pieces": 10, "listing": "brick-online"}


def refused(kind: type[Any], body: dict[str, Any]) -> str:
    with pytest.raises(InvalidValuesError) as error:
        decoded(body, kind)
    return str(error.value)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ({"pieces": 10}, "product: give either a product or a listing"),
        (builders.planned(listing="brick-online"), "product: give either a product or a listing"),
        ({**A_LISTING, "tax": "vat"}, "tax: is decided by the listing; leave it out"),
        (builders.planned(standard_batch=None), "standard_batch: is required with a product"),
        (builders.planned(policy=None), "policy: say how to price it (policy), or give a price"),
        (builders.planned(price="5"), "policy: say how to price it (policy), or give a price"),
        (builders.planned(shipping_service="post"), "shipping_zone: is required with a shipping service"),
        (builders.planned(least_per_month=5, most_per_month=4), "most_per_month: must be least_per_month, 5, or more"),
    ],
)
def test_an_invalid_line_is_refused_with_its_place(line: dict[str, Any], message: str) -> None:
    assert refused(PlannedLine, line) == message


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"weeks": "5.1"}, "weeks: must be 5 or less: a plan is for one month and bears the fixed costs of one; plan "),
        ({"weeks": "0"}, "weeks: must be more than 0"),
        ({"weeks": "4", "month": "2026-12"}, "weeks: follow from the month and the closures in it; leave them out"),
        ({"month": "2026-13"}, 'month: must be a month, such as "2026-12"'),
        ({"month": "2026-12-01"}, 'month: must be a month, such as "2026-12"'),
        ({"month": "0000-12"}, 'month: must be a month, such as "2026-12"'),
    ],
)
def test_a_plan_is_for_one_month(changes: dict[str, Any], message: str) -> None:
    assert refused(MonthPlan, builders.month_plan(**changes)).startswith(message)


def test_a_month_may_have_five_working_weeks() -> None:
    assert decoded(builders.month_plan(weeks="5"), MonthPlan).weeks == 5


def test_other_fixed_costs_and_the_target_profit_are_not_negative() -> None:
    less, plan = "must be 0 or more", builders.month_plan(target_profit=builders.money("-0.01"))

    assert refused(OtherFixedCost, {"name": "rent", "amount": builders.money("-1")}) == f"amount/amount: {less}"
    assert refused(MonthPlan, plan) == f"target_profit/amount: {less}"
