"""The clock that the whole service reads."""

from datetime import UTC, date, datetime, timedelta, timezone
from threading import Thread

import pytest

from service import clock
from service.store.workshop.workshops import new_workshop

NOON = datetime(2026, 12, 10, 12, tzinfo=UTC)


def test_gives_the_machines_time_in_utc_unless_it_is_set() -> None:
    before = datetime.now(UTC)
    told = clock.now()
    after = datetime.now(UTC)

    assert before <= told <= after
    assert told.tzinfo is UTC


def test_stands_still_where_it_is_set_for_every_thread_and_then_runs_as_before() -> None:
    told = []
    with clock.set_to(NOON):
        elsewhere = Thread(target=lambda: told.append(clock.now()))
        elsewhere.start()
        elsewhere.join()
        with clock.set_to(NOON + timedelta(days=1)):
            told.append(clock.now())
        told.append(clock.now())

    assert told == [NOON, NOON + timedelta(days=1), NOON]
    assert clock.now() >= datetime.now(UTC) - timedelta(minutes=1)


def test_runs_again_after_a_failure_too() -> None:
    with pytest.raises(ZeroDivisionError), clock.set_to(NOON):
        raise ZeroDivisionError

    assert clock.now() != NOON


def test_gives_an_instant_of_another_zone_in_utc() -> None:
    with clock.set_to(datetime(2026, 12, 10, 14, tzinfo=timezone(timedelta(hours=2)))):
        assert clock.now().isoformat() == "2026-12-10T12:00:00+00:00"


@pytest.mark.parametrize(
    ("time_zone", "at", "day"),
    [
        ("UTC", "2026-12-10T23:59:59.999999Z", 10),
        ("UTC", "2026-12-11T00:00:00Z", 11),
        ("Pacific/Auckland", "2026-12-10T10:59:59Z", 10),  # 13 hours ahead in summer
        ("Pacific/Auckland", "2026-12-10T11:00:00Z", 11),
        ("America/St_Johns", "2026-12-11T03:29:59Z", 10),  # 3.5 hours behind
        ("America/St_Johns", "2026-12-11T03:30:00Z", 11),
    ],
)
def test_today_is_the_day_of_the_workshops_time_zone(time_zone: str, at: str, day: int) -> None:
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en", time_zone=time_zone)

    with clock.set_to(datetime.fromisoformat(at)):
        assert workshop.today() == clock.today_in(time_zone) == date(2026, 12, day)
