"""Whether the service is ready, and how old the rates of the feed are."""

from datetime import date

from service.domain.currency.exchange_rates import FEED
from service.store.currency.exchange import FeedState
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from service.store.workshop.workshops import new_workshop
from service.workflows.workshop import keys
from service.workflows.workshop.watching import Readiness, find_feed_state, is_answering, readiness
from tests.workflows.owner import Owner


def test_a_database_with_the_tables_of_the_code_is_ready(owner: Owner) -> None:
    assert readiness(owner.database) == Readiness(is_ready=True, database="reachable", migrations="current")


def test_a_database_without_tables_is_reachable_and_has_pending_migrations(empty_database: Database) -> None:
    assert readiness(empty_database) == Readiness(is_ready=False, database="reachable", migrations="pending")
    assert find_feed_state(empty_database) is None
    assert is_answering(empty_database)


def test_a_database_that_does_not_answer_is_unreachable() -> None:
    nowhere = Database("sqlite:////no/such/folder/pugmill.db")

    assert readiness(nowhere) == Readiness(is_ready=False, database="unreachable", migrations="unknown")
    assert not is_answering(nowhere)


def test_the_feed_is_as_old_as_its_newest_day_in_any_workshop_whatever_was_entered_by_hand(
    empty_database: Database,
) -> None:
    migrate(empty_database)
    assert find_feed_state(empty_database) == FeedState(newest_day=None, changed_at=None)

    for day in ("2026-11-24", "2026-11-23"):
        an_owner(empty_database).put_exchange_rates(day, source=FEED, USD="1.1")
    an_owner(empty_database).put_exchange_rates("2026-11-25", USD="1.1")

    state = find_feed_state(empty_database)
    assert state is not None
    assert state.newest_day == date(2026, 11, 24)


def an_owner(database: Database) -> Owner:
    workshop = new_workshop(name="Kiln Lane", address="", currency="EUR", locale="en_IE", time_zone="UTC")
    keys.create_workshop(database, workshop, "tests")
    return Owner(database=database, workshop_id=workshop.workshop_id)
