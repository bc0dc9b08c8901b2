"""A rate that is ten times the one before it, or a tenth, or 0: warned of, never refused."""

from decimal import Decimal

import pytest

from service.domain.costing.free_of_charge import unusual_rates
from service.domain.costing.rate_jump import rate_jumps


@pytest.mark.parametrize(
    ("before", "now", "is_told"),
    [
        ("0.80", "7.99", False),
        ("0.80", "8", True),
        ("0.80", "800", True),
        ("8", "0.81", False),
        ("8", "0.80", True),
        ("0", "8", False),
        ("8", "0", False),
        ("-8", "8", False),
        ("-8", "-80", True),
    ],
)
def test_a_rate_of_ten_times_the_one_before_or_a_tenth_is_told(before: str, now: str, *, is_told: bool) -> None:
    found = list(rate_jumps("Flakes", {"": Decimal(before)}, {"": Decimal(now)}))

    assert [(each.code, each.product) for each in found] == [("rate-jump", None)] * is_told


def test_the_part_and_both_rates_are_told_with_the_remedy() -> None:
    before = {"day": Decimal("0.30"), "night": Decimal("0.18"), "entire": Decimal(1)}
    now = {"day": Decimal(30), "night": Decimal("0.018"), "entire": Decimal(100), "dawn": Decimal(9)}

    dearer, cheaper = rate_jumps("Grid", before, now, "sheet")

    assert dearer.text == (
        "The rate of Grid, day is at least ten times the one before: 30 after 0.3. Check the amount, its unit and its "
        "currency."
    )
    assert cheaper.text.startswith("The rate of Grid, night is at most a tenth of the one before: 0.018 after 0.18.")
    assert {dearer.product, cheaper.product} == {"sheet"}


def test_rates_are_told_in_the_digits_that_people_read() -> None:
    (told,) = rate_jumps("Press", {"": Decimal("345.93837535014")}, {"": Decimal("0.0000106442577031")})

    assert "a tenth of the one before: 0.00001 after 345.9384. " in told.text


def test_a_rate_of_0_is_told_but_for_parts_that_may_be_left_out() -> None:
    rates = {"day": Decimal(0), "night": Decimal("0.1"), "standing": Decimal(0), "entire": Decimal(0)}

    assert [each.text.facts for each in unusual_rates("Grid", rates)] == [{"resource": "Grid, day"}]
    assert list(unusual_rates("Flakes", {"": Decimal(1), "reclaimed": Decimal(0)})) == []


def test_a_price_below_0_is_told_as_what_it_earns() -> None:
    (warning,) = unusual_rates("Bottle caps", {"": Decimal("-0.20"), "reclaimed": Decimal("-0.30")})

    assert str(warning.text) == (
        "The rate of Bottle caps is below 0: 0.2 is earned with each unit that is used. "
        "Leave the minus out if the workshop pays for it and is not paid to take it."
    )
