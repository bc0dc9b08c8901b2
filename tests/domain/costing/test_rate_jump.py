"""A rate that is ten times the one before it, or a tenth, or 0, or lacks a part of it: warned of, never refused."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.free_of_charge import unusual_rates
from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rate_jump import rate_jumps, terms_left_out
from service.domain.costing.rates import LabourRate, MaterialRate, RateTerms, TariffRate
from service.domain.selling.channels import ChannelRate
from service.domain.shipping.shipping_rates import ShippingRate
from service.domain.values.message import PlausibilityWarning
from tests.domain.examples import terms_of
from tests.support import builders
from tests.support.builders import money


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


def left_out(kind: type[RateTerms], before: dict[str, Any], now: dict[str, Any]) -> list[PlausibilityWarning]:
    """What is told of terms that follow others."""
    one, other = (
        DatedRate(resource="tariffs/grid", valid_from=day, terms=terms_of(kind, terms))
        for day, terms in ((date(2026, 1, 1), before), (date(2026, 12, 7), now))
    )
    return list(terms_left_out("Grid", one, other, "sheet"))


def test_what_the_rate_before_had_and_this_one_has_not_is_told_with_what_it_was() -> None:
    charges = {"standing_charge_per_month": money("18.00"), "expected_kwh_per_month": "900"}

    (told,) = left_out(TariffRate, builders.tariff_rate(**charges), builders.tariff_rate("0.33"))

    assert (told.code, told.product) == ("terms-left-out", "sheet")
    assert told.text == (
        "The rate of Grid from 2026-12-07 has no standing_charge_per_month (until then 18.00 EUR), no "
        "expected_kwh_per_month (until then 900). It replaces all of the rate before it: add what still holds."
    )


LIMITED = builders.shipping_rate(limits={"max_mass_kg": "31.5", "max_longest_side_mm": "1200"})
NO_ABROAD = builders.shipping_rate()
EVERYWHERE = {**NO_ABROAD, "zones": {"abroad": NO_ABROAD["zones"]["home"], **NO_ABROAD["zones"]}}
PAID_BY_BUYER = builders.channel_rate(shipping_paid_by="buyer", shipping_charge="0")
FEES = builders.channel_rate()["fees"]


@pytest.mark.parametrize(
    ("kind", "before", "now", "changes"),
    [
        (
            LabourRate,
            builders.labour_rate(on_cost_share="0.21", paid_hours_per_month="160"),
            builders.labour_rate("16"),
            "on_cost_share 0 (until then 0.21), no paid_hours_per_month (until then 160)",
        ),
        (ChannelRate, builders.channel_rate(), builders.channel_rate(fees=FEES[:1]), "no payment in its fees"),
        (
            ChannelRate,
            PAID_BY_BUYER,
            builders.channel_rate(),
            "shipping_paid_by seller (until then buyer), no shipping_charge (until then 0)",
        ),
        (ShippingRate, EVERYWHERE, NO_ABROAD, "no abroad in its zones"),
        (ShippingRate, LIMITED, NO_ABROAD, "no limits (until then max_mass_kg 31.5, max_longest_side_mm 1200)"),
    ],
)
def test_of_every_kind_of_terms(kind: type[RateTerms], before: Any, now: Any, changes: str) -> None:
    (told,) = left_out(kind, before, now)

    assert str(told.text).startswith(f"The rate of Grid from 2026-12-07 has {changes}. ")


@pytest.mark.parametrize(
    ("kind", "before", "now"),
    [
        (MaterialRate, {"reclaim_value": money("0.30")}, {"reclaim_value": money("0")}),
        (MaterialRate, {"reclaim_value": money("0")}, {}),
        (MaterialRate, {}, {"reclaim_value": money("0.30")}),
        (MaterialRate, {"reclaim_value": money("0.30")}, {"reclaim_value": money("0.20")}),
    ],
)
def test_what_is_still_said_or_meant_nothing_is_not(kind: type[RateTerms], before: Any, now: Any) -> None:
    one, other = (builders.material_rate(**each) for each in (before, now))

    assert left_out(kind, one, other) == []
