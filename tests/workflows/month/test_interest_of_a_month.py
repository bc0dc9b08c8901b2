"""A month that may bear interest twice is warned of, by what its costs are called or said to be."""

from typing import Any

import pytest

from service.domain.month.statement import MonthStatement
from tests.support import builders
from tests.workflows.owner import Owner

LOAN = "Interest on the loan for the press"


@pytest.fixture
def lent(furnished: Owner) -> Owner:
    """A press whose rate holds interest."""
    furnished.put_rate("machines/press", "2026-01-01", builders.machine_rate(interest_share="0.06"))
    return furnished


def planned(owner: Owner, name: str = LOAN, leave_out: tuple[str, ...] = (), **kind: Any) -> MonthStatement:
    cost = {"name": name, "amount": builders.money("85"), **kind}
    return owner.plan_month(other_fixed_costs=[cost], leave_out=list(leave_out))


def warned(owner: Owner, **plan: Any) -> list[str]:
    return [each.text for each in planned(owner, **plan).warnings if each.code == "interest-counted-twice"]


def test_the_warning_names_cost_machine_and_amount(lent: Owner) -> None:
    (text,) = warned(lent)

    assert f"as a fixed cost: {LOAN}." in text
    assert "hold 60.00 EUR of it a month: Sheet press." in text  # 12,000 × 0.06 ÷ 12


@pytest.mark.parametrize(
    ("plan", "is_warned"),
    [
        ({"name": "Bank", "kind": "interest"}, True),
        ({"name": "Bank"}, False),
        ({"kind": "other"}, False),
        ({"leave_out": ("machines/press",)}, False),
        ({"name": "Zinsen"}, False),
    ],
    ids=["said to be", "neither said nor named", "said to be another", "of a machine left out", "in another language"],
)
def test_it_depends_on_what_the_cost_is_and_on_what_the_month_bears(
    lent: Owner, plan: dict[str, Any], is_warned: bool
) -> None:
    assert bool(warned(lent, **plan)) is is_warned


def test_it_never_changes_a_figure(lent: Owner) -> None:
    named, other = planned(lent), planned(lent, kind="other")

    assert (named.fixed_cost, named.profit) == (other.fixed_cost, other.profit)


def test_a_machine_without_interest_is_not_warned_of(furnished: Owner) -> None:
    assert warned(furnished) == []
