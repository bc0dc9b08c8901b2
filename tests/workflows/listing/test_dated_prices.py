"""Prices have a first day: what is set for Monday comes on Monday, and nothing of an earlier day undoes it."""

import random
from collections.abc import Sequence
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import flask
import pytest

from service import clock
from service.domain.listing.price_history import PriceHistoryEntry, prices_in_force
from service.store.engine.database import Database
from service.store.engine.tables import listing_prices
from service.store.listing.prices_in_force import Narrowing, listings_with_prices
from service.workflows.errors import StalePreviewError, SupersededError
from service.workflows.listing import repricing, repricing_records
from service.workflows.listing.price_list import ListedPrice, price_list
from tests.api.repriced import made_of
from tests.conftest import make_client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.days import on_day
from tests.support.profiles import seeds
from tests.workflows.listing.repriced import LATER, Repriced, applied, asked, previewed, put_in_force
from tests.workflows.owner import Owner

CODE = "sheet-online"
FRIDAY, SATURDAY, SUNDAY = date(2026, 11, 27), date(2026, 11, 28), date(2026, 11, 29)
MONDAY, TUESDAY, WEDNESDAY = date(2026, 11, 30), date(2026, 12, 1), date(2026, 12, 2)


def ask(owner: Owner, price: str) -> None:
    """Let the listing's policy ask for this price."""
    owner.put(f"listings/{CODE}", builders.listing(policy={"target": "fixed_price", "value": price}))


def reprice(owner: Owner, price: str, today: date, as_of: date | None = None) -> Repriced:
    """Apply a price on a day, for that day or another one."""
    with on_day(today):
        ask(owner, price)
        return applied(owner, str(as_of or today))


def roll_back(owner: Owner, done: Repriced, today: date) -> None:
    assert done.id is not None
    with on_day(today):
        owner.roll_back(done.id)


def in_force(owner: Owner, *days: date) -> tuple[str | None, ...]:
    """The price in the price list of each day."""
    found = []
    for day in days:
        (entry,) = price_list(owner.workspace, day, None, ListedPrice.IN_FORCE)
        found.append(None if entry.price is None else str(entry.price.amount))
    return tuple(found)


def history(owner: Owner, as_of: date = LATER) -> list[PriceHistoryEntry]:
    return repricing_records.price_history(owner.workspace, CODE, as_of, before=None, limit=500)


@pytest.fixture
def selling(furnished: Owner) -> Owner:
    """With a price of 10 since Friday."""
    reprice(furnished, "10", FRIDAY)
    return furnished


class TestAPriceForMonday:
    def test_is_in_force_on_monday_and_not_before(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)

        assert in_force(selling, FRIDAY, SUNDAY, MONDAY, TUESDAY) == ("10.00", "10.00", "12.00", "12.00")

    def test_is_neither_seen_nor_undone_by_what_is_set_on_the_sunday_before(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)

        done = reprice(selling, "11", SUNDAY)

        assert done.changes[CODE]["old"]["price"]["amount"] == "10.00"
        assert in_force(selling, SATURDAY, SUNDAY, MONDAY) == ("10.00", "11.00", "12.00")

    def test_stays_on_monday_where_one_is_set_for_tuesday(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)

        done = reprice(selling, "13", FRIDAY, TUESDAY)

        assert done.changes[CODE]["old"]["price"]["amount"] == "12.00"
        assert in_force(selling, FRIDAY, MONDAY, TUESDAY) == ("10.00", "12.00", "13.00")

    def test_gives_way_to_another_one_for_monday_and_comes_back_once_that_is_taken_back(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)
        second = reprice(selling, "13", SATURDAY, MONDAY)
        assert in_force(selling, SUNDAY, MONDAY) == ("10.00", "13.00")

        roll_back(selling, second, SUNDAY)

        assert in_force(selling, SUNDAY, MONDAY) == ("10.00", "12.00")

    def test_is_the_same_again_where_it_is_asked_for_again(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)

        with on_day(SUNDAY):
            assert put_in_force(selling, str(MONDAY)).id is None

    def test_can_be_the_first_one(self, furnished: Owner) -> None:
        reprice(furnished, "12", FRIDAY, MONDAY)

        assert in_force(furnished, SUNDAY, MONDAY) == (None, "12.00")
        with on_day(SUNDAY):
            assert put_in_force(furnished, str(SUNDAY)).decisions == {CODE: "first"}

    def test_rests_on_the_bill_of_its_day_also_where_a_product_has_changed_since(self, furnished: Owner) -> None:
        """Both prices are stale, and each bill is found anew when it is looked at."""
        furnished.put("products/pair", made_of("sheet", "2"))
        with on_day(FRIDAY):
            furnished.put(f"listings/{CODE}", builders.listing(product="pair"))
            applied(furnished, str(FRIDAY))
            furnished.put_rate("materials/hdpe", str(MONDAY), builders.material_rate("1.80"))
            applied(furnished, str(MONDAY))
            furnished.put("products/pair", made_of("sheet", "3"))

        with on_day(SUNDAY):
            today = put_in_force(furnished, str(SUNDAY))
            monday = put_in_force(furnished, str(MONDAY))

        for done in (today, monday):
            assert [each["resource"] for each in done.changes[CODE]["effects"]] == ["products/pair"]

    def test_keeps_a_bill_that_was_found_anew_beside_the_price_that_was_looked_at(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)
        selling.put("products/sheet", builders.product(name="Sheet, new"))

        with on_day(FRIDAY):
            ask(selling, "10")
            assert put_in_force(selling, str(FRIDAY), include_unchanged=True).figures.summary.same == 1

        with selling.database.reading() as connection:
            prices = listing_prices
            rows = connection.execute(
                prices.select().where(prices.c.workshop_id == selling.workshop_id).order_by(prices.c.valid_from)
            ).all()
        assert [(row.valid_from, row.is_stale, row.bill is None) for row in rows] == [
            (FRIDAY, False, False),
            (MONDAY, True, True),
        ]


class TestAPriceForToday:
    def test_is_what_the_rates_of_an_earlier_day_give(self, selling: Owner) -> None:
        done = reprice(selling, "11", SUNDAY, FRIDAY)

        assert in_force(selling, SATURDAY, SUNDAY) == ("10.00", "11.00")
        assert done.id is not None
        found = repricing_records.find_repricing(selling.workspace, done.id)
        assert (found.request.as_of, found.valid_from) == (FRIDAY, SUNDAY)

    def test_is_of_today_where_the_workshop_is(self, app: flask.Flask, contract: Contract, database: Database) -> None:
        far = make_client(app, contract, time_zone="Pacific/Kiritimati")
        owner = Owner(database=database, workshop_id=far.workshop.workshop_id)
        builders.register_workshop(owner)
        with on_day(SUNDAY):
            ask(owner, "10")
            owner.reprice(as_of=None)

        assert in_force(owner, SUNDAY, MONDAY) == (None, "10.00")

    def test_is_not_put_in_force_as_it_was_previewed_before_midnight(self, selling: Owner) -> None:
        """On the next day another price may be the one that it replaces."""
        request = asked(str(FRIDAY), {})
        ask(selling, "11")
        with on_day(SUNDAY), repricing.preview(selling.workspace, request) as seen:
            tag = seen.tag

        with on_day(MONDAY), pytest.raises(StalePreviewError):
            repricing.apply(selling.workspace, request, lambda now: now == tag)
        with on_day(SUNDAY):
            assert repricing.apply(selling.workspace, request, lambda now: now == tag).valid_from == SUNDAY


class TestTheWayBack:
    def test_of_what_has_not_come_leaves_what_was_set_for_the_days_before(self, selling: Owner) -> None:
        monday = reprice(selling, "12", FRIDAY, MONDAY)
        reprice(selling, "11", SATURDAY)

        roll_back(selling, monday, SUNDAY)

        assert in_force(selling, FRIDAY, SATURDAY, MONDAY) == ("10.00", "11.00", "11.00")

    def test_of_today_leaves_what_is_set_for_monday(self, selling: Owner) -> None:
        today = reprice(selling, "11", SATURDAY)
        reprice(selling, "12", SATURDAY, MONDAY)

        roll_back(selling, today, SUNDAY)

        assert in_force(selling, SATURDAY, SUNDAY, MONDAY) == ("11.00", "10.00", "12.00")

    def test_leaves_what_was_in_force_on_the_days_before_it(self, selling: Owner) -> None:
        monday = reprice(selling, "12", FRIDAY, MONDAY)

        roll_back(selling, monday, WEDNESDAY)

        assert in_force(selling, SUNDAY, MONDAY, TUESDAY, WEDNESDAY) == ("10.00", "12.00", "12.00", "10.00")

    def test_of_a_first_price_leaves_none_from_then_on(self, furnished: Owner) -> None:
        first = reprice(furnished, "10", FRIDAY)

        roll_back(furnished, first, SUNDAY)

        assert in_force(furnished, FRIDAY, SATURDAY, SUNDAY) == ("10.00", "10.00", None)

    def test_does_not_bring_back_what_was_taken_back_itself(self, selling: Owner) -> None:
        eleven = reprice(selling, "11", SATURDAY)
        roll_back(selling, eleven, SUNDAY)
        twelve = reprice(selling, "12", SUNDAY)

        roll_back(selling, twelve, SUNDAY)

        assert in_force(selling, SATURDAY, SUNDAY, MONDAY) == ("11.00", "10.00", "10.00")

    def test_is_closed_once_a_later_price_has_come(self, selling: Owner) -> None:
        today = reprice(selling, "11", SATURDAY)
        monday = reprice(selling, "12", SATURDAY, MONDAY)

        with pytest.raises(SupersededError, match="1 of its prices"):
            roll_back(selling, today, MONDAY)
        roll_back(selling, monday, MONDAY)
        roll_back(selling, today, MONDAY)

        assert in_force(selling, FRIDAY, SATURDAY, MONDAY) == ("10.00", "11.00", "10.00")


def test_a_repricing_names_the_later_days_whose_prices_it_leaves(selling: Owner) -> None:
    reprice(selling, "11", FRIDAY, SUNDAY)
    monday = reprice(selling, "12", FRIDAY, MONDAY)

    with on_day(FRIDAY):
        both, one = (previewed(selling, str(day)).figures.later_days for day in (SATURDAY, SUNDAY))
    roll_back(selling, monday, SATURDAY)

    assert (both, one) == ((SUNDAY, MONDAY), (MONDAY,))
    assert reprice(selling, "13", SATURDAY).figures.later_days == (SUNDAY,)


class TestTheHistory:
    def test_tells_both_of_one_day_with_their_first_day(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)
        reprice(selling, "13", SATURDAY, MONDAY)

        assert [(str(each.price.amount), each.valid_from) for each in history(selling)] == [
            ("13.00", MONDAY),
            ("12.00", MONDAY),
            ("10.00", FRIDAY),
        ]

    def test_of_a_day_leaves_later_prices_out(self, selling: Owner) -> None:
        reprice(selling, "12", FRIDAY, MONDAY)

        assert [len(history(selling, day)) for day in (date(2026, 11, 26), FRIDAY, SUNDAY, MONDAY)] == [0, 1, 1, 2]


def standing_at_the_end_of(day: date, entries: Sequence[PriceHistoryEntry]) -> str | None:
    """The price in force in the last moment of a day, from the periods that the history tells."""
    last = datetime.combine(day, time(23, 59, 59), UTC)
    found = [
        str(each.entry.price.amount)
        for each in prices_in_force(entries, ZoneInfo("UTC"))
        if each.since <= last and (each.until is None or last < each.until)
    ]
    assert len(found) <= 1
    return found[0] if found else None


@pytest.mark.parametrize("seed", seeds(9))
def test_whatever_is_set_and_taken_back_no_day_changes_that_it_is_not_about(furnished: Owner, seed: int) -> None:
    """And the price list of a day is what the history tells of its last moment."""
    chance, days = random.Random(seed), [FRIDAY + timedelta(days=passed) for passed in range(-1, 16)]
    applied_so_far: list[Repriced] = []
    ask(furnished, "10")
    now = datetime.combine(FRIDAY, time(), UTC)

    def found() -> dict[date, str | None]:
        with furnished.database.reading() as connection:
            parts = [listings_with_prices(connection, furnished.workshop_id, Narrowing(), day) for day in days]
            return dict(zip(days, (row.price for part in parts for rows in part for row in rows), strict=True))

    for step in range(10):
        now += timedelta(minutes=1, days=chance.choice((0, 0, 0, 1)))
        today, before = now.date(), found()
        with clock.set_to(now):
            standing = {each.valid_from for each in history(furnished) if each.rolled_back_at is None}
            if applied_so_far and chance.random() < 0.35:
                back = chance.choice(applied_so_far)
                assert back.id is not None
                day = max(repricing_records.find_repricing(furnished.workspace, back.id).valid_from, today)
                was = before[day]
                try:
                    furnished.roll_back(back.id)
                except SupersededError:
                    assert found() == before
                    continue
                after = found()
                assert was == back.changes[CODE]["new"]["price"]["amount"]
                assert [each for each in days if each < day and after[each] != before[each]] == []
                assert was not in [after[each] for each in days if each >= day]
            else:
                day = today + timedelta(days=chance.randrange(5))
                ask(furnished, f"{20 + step}")
                applied_so_far.append(applied(furnished, str(day)))
                after, next_one = found(), min((each for each in standing if each > day), default=date.max)
                assert after == {each: f"{20 + step}.00" if day <= each < next_one else before[each] for each in days}
        entries = history(furnished)
        assert found() == {each: standing_at_the_end_of(each, entries) for each in days}
