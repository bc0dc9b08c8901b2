"""Which price was in force when, if prices are applied, rolled back, or both in one instant."""

from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from service.domain.listing.price_history import PriceHistoryEntry, prices_in_force
from service.domain.values.money import in_currency
from tests.domain.strategies import tried

UTC_ZONE = ZoneInfo("UTC")
BEGIN = datetime(2026, 3, 2, 9, tzinfo=UTC)


def hours(passed: int) -> datetime:
    return BEGIN + timedelta(hours=passed)


def entry(number: int, at: int, *, price: str = "4.20", until: int | None = None, **changes: Any) -> PriceHistoryEntry:
    """A price put in force at this hour after the beginning, and rolled back at the hour `until`."""
    members = {
        "repricing": UUID(int=number),
        "as_of": hours(at).date(),
        "valid_from": hours(at).date(),
        "applied_at": hours(at),
        "applied_by": "office",
        "rolled_back_at": None if until is None else hours(until),
        "price": in_currency(Decimal(price), "EUR"),
        "unit_cost": in_currency(Decimal("3.000000"), "EUR"),
        "margin_share": Decimal("0.25"),
    }
    return PriceHistoryEntry(**{**members, **changes})


def told(*entries: PriceHistoryEntry) -> list[tuple[int, int, int | None, bool]]:
    """For each period: the repricing's number, begin and end in hours, and whether a rollback restored the price."""

    def passed(at: datetime) -> int:
        return int((at - BEGIN) / timedelta(hours=1))

    return [
        (each.entry.repricing.int, passed(each.since), each.until and passed(each.until), each.is_put_back)
        for each in prices_in_force(entries, UTC_ZONE)
    ]


def test_a_price_is_in_force_until_the_next_is_applied_in_whatever_order_they_are_given() -> None:
    entries = [entry(1, 0), entry(2, 24), entry(3, 48)]

    assert told(*entries) == told(*reversed(entries)) == [(1, 0, 24, False), (2, 24, 48, False), (3, 48, None, False)]


def test_a_price_that_is_rolled_back_ends_and_the_one_before_comes_back() -> None:
    assert told(entry(1, 0), entry(2, 24, until=30)) == [(1, 0, 24, False), (2, 24, 30, False), (1, 30, None, True)]


def test_a_price_that_was_rolled_back_itself_does_not_come_back() -> None:
    found = told(entry(1, 0), entry(2, 24, until=60), entry(3, 48, until=50))

    assert found == [(1, 0, 24, False), (2, 24, 48, False), (3, 48, 50, False), (2, 50, 60, True), (1, 60, None, True)]


def test_there_is_no_price_once_the_first_is_rolled_back() -> None:
    assert told(entry(1, 0, until=5)) == [(1, 0, 5, False)]
    assert told(entry(1, 0, until=5), entry(2, 9)) == [(1, 0, 5, False), (2, 9, None, False)]


def test_of_two_in_one_instant_the_later_repricing_counts_and_the_other_was_never_in_force() -> None:
    assert told(entry(2, 0), entry(1, 0)) == [(2, 0, None, False)]
    assert told(entry(1, 0), entry(2, 24, until=24)) == [(1, 0, None, False)]


def test_a_price_applied_in_the_instant_of_a_rollback_is_not_shown_as_restored() -> None:
    found = told(entry(1, 0), entry(2, 24, until=30), entry(3, 30))

    assert found == [(1, 0, 24, False), (2, 24, 30, False), (3, 30, None, False)]


def test_a_price_for_a_later_day_is_in_force_from_the_beginning_of_that_day() -> None:
    in_two_days = date(2026, 3, 4)

    assert told(entry(1, 0), entry(2, 1, valid_from=in_two_days)) == [(1, 0, 39, False), (2, 39, None, False)]


def test_a_price_for_a_later_day_stays_where_one_is_set_for_a_day_before() -> None:
    in_two_days = date(2026, 3, 4)

    found = told(entry(1, 0), entry(2, 1, valid_from=in_two_days), entry(3, 24))

    assert found == [(1, 0, 24, False), (3, 24, 39, False), (2, 39, None, False)]


def test_of_two_for_one_later_day_the_one_applied_last_counts_and_the_other_was_never_in_force() -> None:
    day = date(2026, 3, 4)

    assert told(entry(2, 3, valid_from=day), entry(1, 5, valid_from=day)) == [(1, 39, None, False)]
    assert told(entry(1, 3, valid_from=day), entry(2, 5, valid_from=day, until=6)) == [(1, 39, None, False)]


def test_a_day_begins_where_the_workshop_is() -> None:
    late = entry(1, 0, valid_from=date(2026, 3, 4))

    assert late.since(ZoneInfo("Pacific/Kiritimati")) == datetime(2026, 3, 3, 10, tzinfo=UTC)


def test_nothing_applied_is_nothing_in_force() -> None:
    assert told() == []


@st.composite
def histories(draw: st.DrawFn) -> list[PriceHistoryEntry]:
    """Up to eight repricings in two days, for that day or the next two; any may be rolled back, some share an
    instant."""
    entries = []
    for number in range(draw(st.integers(0, 8))):
        at = draw(st.sampled_from((0, 1, 2, 12, 13, 24, 25, 40)))
        until = draw(st.none() | st.integers(at, 60))
        day = hours(at).date() + timedelta(days=draw(st.integers(0, 2)))
        entries.append(entry(number, at, until=until, valid_from=day))
    return entries


def newest_standing(entries: Sequence[PriceHistoryEntry], at: datetime) -> PriceHistoryEntry | None:
    """The last applied price of the latest day that stands at an instant, straight from the definition."""
    standing = [
        each
        for each in entries
        if each.applied_at <= at
        and each.valid_from <= at.date()
        and (each.rolled_back_at is None or at < each.rolled_back_at)
    ]
    return max(standing, key=lambda each: (each.valid_from, each.applied_at, each.repricing), default=None)


@tried
@given(histories(), st.integers(-1, 120))
def test_at_any_instant_the_newest_price_that_stands_is_in_force(entries: list[PriceHistoryEntry], passed: int) -> None:
    at = hours(passed)

    found = [
        each.entry
        for each in prices_in_force(entries, UTC_ZONE)
        if each.since <= at and (each.until is None or at < each.until)
    ]

    assert found == [each for each in [newest_standing(entries, at)] if each is not None]


@tried
@given(histories())
def test_periods_follow_each_other_and_none_is_empty(entries: list[PriceHistoryEntry]) -> None:
    found = prices_in_force(entries, UTC_ZONE)

    assert all(each.until is None or each.since < each.until for each in found)
    for before, after in pairwise(found):
        assert before.until is not None
        assert before.until <= after.since
        assert before.until < after.since or before.entry is not after.entry


def test_the_price_of_a_piece_is_that_of_the_base_quantity_divided_by_it() -> None:
    assert entry(1, 0, price="93.50", base_quantity=100).price_of_a_piece == in_currency(Decimal("0.935"), "EUR")
