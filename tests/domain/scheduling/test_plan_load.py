"""The time that a monthly plan needs and has available."""

from decimal import Decimal

import pytest

from service.domain.scheduling.plan_load import Load, bottleneck, minutes_available


def a_load(needed: str, available: str | None, resource: str = "machines/press") -> Load:
    limit = None if available is None else Decimal(available)
    return Load(
        resource=resource,
        name="Press",
        minutes_per_batch=(Decimal(needed),),
        minutes_needed=Decimal(needed),
        minutes_available=limit,
    )


@pytest.mark.parametrize(
    ("hours", "weeks", "minutes"),
    [("15", None, "3900"), ("0.1", None, "26"), ("40", "4", "9600"), ("0", "4", "0"), (None, "4", None)],
)
def test_a_month_has_a_twelfth_of_the_minutes_of_52_weeks(
    hours: str | None, weeks: str | None, minutes: str | None
) -> None:
    found = minutes_available(hours and Decimal(hours), weeks and Decimal(weeks))  # type: ignore[arg-type]

    assert found == (None if minutes is None else Decimal(minutes))


def test_the_fullest_is_the_bottleneck_not_the_busiest() -> None:
    busy, full = a_load("900", "9000"), a_load("80", "100", "machines/saw")

    assert bottleneck([busy, full]) is full


def test_a_resource_without_any_time_is_fuller_than_any_other() -> None:
    shut, full = a_load("1", "0"), a_load("900", "100", "machines/saw")

    assert bottleneck([full, shut]) is shut
    assert shut.is_over_full
    assert shut.load_share is None


def test_a_resource_that_is_unknown_or_not_needed_is_no_bottleneck() -> None:
    assert bottleneck([a_load("900", None), a_load("0", "100")]) is None
    assert not a_load("900", None).is_over_full


def test_needing_exactly_the_available_time_is_not_too_much() -> None:
    assert not a_load("100", "100").is_over_full
