"""Refreshing exchange rates from the feed, and days that wait for confirmation, on every engine."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
import requests_mock as mocking

from service.domain.currency.errors import MissingExchangeRateError
from service.domain.currency.exchange_rates import FEED
from service.domain.values.errors import UnknownCurrencyError
from service.domain.values.money import Money
from service.feeds.reference_rates import Span
from service.workflows.currency import exchange, feed
from service.workflows.currency.exchange import Exchange
from service.workflows.currency.feed import Refreshing
from service.workflows.errors import FeedFailedError, NotRegisteredError
from tests.support.feed import DAILY, DAYS_90, HISTORY, RATES, Rates, day_of, feed_at, with_rates, xml_of
from tests.workflows.owner import Owner

ADDRESS = "https://rates.example/"
FILES = {Span.LATEST: DAILY, Span.DAYS_90: DAYS_90, Span.HISTORY: HISTORY}
XML = {"Content-Type": "text/xml"}


class Publisher:
    """A feed whose files contain what the test publishes."""

    def __init__(self, mock: mocking.Mocker) -> None:
        self.mock = mock

    def publish(self, span: Span = Span.LATEST, *, tag: str = "", **days: Rates) -> None:
        """Put the rates of each day in the file; d0 is today, d1 yesterday …"""
        body = xml_of({day_of(int(name[1:])): rates for name, rates in days.items()})
        headers = {**XML, **({"ETag": tag} if tag else {})}
        self.mock.get(ADDRESS + FILES[span], content=body, headers=headers)

    def fail(self, status: int = 503) -> None:
        self.mock.get(ADDRESS + DAILY, status_code=status)


@pytest.fixture
def publisher(requests_mock: mocking.Mocker) -> Publisher:
    made = Publisher(requests_mock)
    made.publish(d0=RATES)
    return made


def refresh(owner: Owner, span: Span = Span.LATEST) -> Refreshing:
    return feed.refresh_exchange_rates(owner.workspace, feed_at(ADDRESS), span)


def failing(owner: Owner, span: Span = Span.LATEST) -> FeedFailedError:
    revision = owner.revision
    with pytest.raises(FeedFailedError) as error:
        refresh(owner, span)
    assert owner.revision == revision
    return error.value


def used(owner: Owner) -> dict[str, Decimal]:
    """Dollars for a euro on each day of the feed that is in use; d1 is yesterday."""
    days = exchange.list_exchange_rates(owner.workspace, before=None, limit=500)
    today = owner.workshop.today()
    return {f"d{(today - day.published_on).days}": day.rates["USD"] for day in days if day.source == FEED}


def waiting(owner: Owner) -> list[str]:
    found = feed.list_held_exchange_rates(owner.workspace, before=None, limit=500)
    return [f"d{(owner.workshop.today() - each.day.published_on).days}" for each in found]


def confirm(owner: Owner, days_before: int, source: str = FEED) -> list[int]:
    today = owner.workshop.today()
    found = feed.confirm_exchange_rates(owner.workspace, today - timedelta(days=days_before), source)
    assert found.source == source
    return [(today - day).days for day in found.days]


def drop(owner: Owner, days_before: int) -> None:
    published_on = owner.workshop.today() - timedelta(days=days_before)
    feed.drop_held_exchange_rates(owner.workspace, published_on, FEED)


class TestRefreshing:
    def test_stores_a_day_and_says_how_old_it_is(self, owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d3=RATES)

        found = refresh(owner)

        assert (found.source, found.span, found.modified) == (FEED, Span.LATEST, True)
        assert (found.added, found.replaced, found.unchanged, found.held) == (1, 0, 0, ())
        assert (found.last_published_on, found.age_days) == (date.fromisoformat(day_of(3)), 3)
        stored = exchange.find_exchange_rates(owner.workspace, date.fromisoformat(day_of(3)), FEED)
        assert {code: str(rate) for code, rate in stored.day.rates.items()} == RATES
        assert stored.revision == owner.revision == 1

    def test_the_same_again_changes_nothing(self, owner: Owner, publisher: Publisher) -> None:
        refresh(owner)

        again = refresh(owner)

        assert (again.added, again.replaced, again.unchanged) == (0, 0, 1)
        assert owner.revision == 1

    def test_stores_a_correction(self, owner: Owner, publisher: Publisher) -> None:
        refresh(owner)
        publisher.publish(d0=with_rates(USD="1.0800"))

        corrected = refresh(owner)

        assert (corrected.added, corrected.replaced, corrected.unchanged) == (0, 1, 0)
        assert used(owner) == {"d0": Decimal("1.08")}
        assert owner.revision == 2

    def test_fills_in_the_days_before(self, owner: Owner, publisher: Publisher) -> None:
        refresh(owner)
        publisher.publish(Span.DAYS_90, d0=RATES, d1=with_rates(USD="1.1"), d2=with_rates(USD="1.2"))

        found = refresh(owner, Span.DAYS_90)

        assert (found.added, found.unchanged) == (2, 1)
        assert list(used(owner)) == ["d0", "d1", "d2"]

    def test_asks_each_file_again_only_for_what_has_changed(self, owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d0=RATES, tag='"one"')
        refresh(owner)
        publisher.publish(Span.DAYS_90, d0=RATES, d1=RATES)
        publisher.mock.get(ADDRESS + DAILY, status_code=304)

        again, other_file = refresh(owner), refresh(owner, Span.DAYS_90)

        assert (again.modified, again.added, again.unchanged) == (False, 0, 0)
        assert (again.last_published_on, again.age_days) == (date.fromisoformat(day_of()), 0)
        asked = [request.headers.get("If-None-Match") for request in publisher.mock.request_history]
        assert asked == [None, '"one"', None]
        assert other_file.added == 1

    @pytest.mark.parametrize(("last", "file"), [(None, DAYS_90), (11, DAYS_90), (10, DAILY), (0, DAILY)])
    def test_without_a_span_fetches_earlier_days_where_the_last_one_is_too_old_to_compare_with(
        self, owner: Owner, publisher: Publisher, last: int | None, file: str
    ) -> None:
        if last is not None:
            owner.put_exchange_rates(day_of(last), FEED, **RATES)
        publisher.publish(Span.DAYS_90, d0=RATES)

        feed.refresh_exchange_rates(owner.workspace, feed_at(ADDRESS))

        assert [request.url for request in publisher.mock.request_history] == [ADDRESS + file]

    def test_fetches_unconditionally_where_no_day_is_left(self, owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d0=RATES, tag='"one"')
        refresh(owner)
        exchange.withdraw_exchange_rates(owner.workspace, date.fromisoformat(day_of()), FEED)

        assert refresh(owner).added == 1
        assert "If-None-Match" not in publisher.mock.request_history[-1].headers

    def test_names_unknown_currencies(self, owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d0=with_rates(ZZZ="3"))

        assert refresh(owner).left_out == ("ZZZ",)

    def test_is_each_workshops_own(self, owner: Owner, other_owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d0=RATES, tag='"one"')
        refresh(owner)

        assert used(other_owner) == {}
        assert refresh(other_owner).added == 1
        assert "If-None-Match" not in publisher.mock.request_history[-1].headers


class TestAFeedThatFails:
    def test_leaves_the_last_good_rates_and_says_their_age(self, owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d2=RATES)
        refresh(owner)
        publisher.fail()

        error = failing(owner)

        assert (error.source, error.fault) == (FEED, "unavailable")
        assert (error.last_published_on, error.age_days) == (date.fromisoformat(day_of(2)), 2)
        assert f"the last good ones, of {day_of(2)}, are 2 days old and used until {day_of(-8)}" in str(error)
        assert list(used(owner)) == ["d2"]

    @pytest.mark.parametrize(
        ("days", "told"), [(1, "1 day old and used until"), (10, f"10 days old and used until {day_of()}")]
    )
    def test_says_how_long_the_last_good_rates_are_used(
        self, owner: Owner, publisher: Publisher, days: int, told: str
    ) -> None:
        publisher.publish(**{f"d{days}": RATES})
        refresh(owner)
        publisher.fail()

        assert told in str(failing(owner))

    def test_at_the_first_start_leaves_nothing(self, owner: Owner, publisher: Publisher) -> None:
        publisher.fail(404)

        error = failing(owner)

        assert (error.last_published_on, error.age_days) == (None, None)
        assert str(error).endswith("there are none from before")

    def test_changes_nothing_even_if_only_one_day_of_its_file_is_wrong(
        self, owner: Owner, publisher: Publisher
    ) -> None:
        refresh(owner)
        publisher.publish(Span.HISTORY, d0=RATES, d1=RATES, d2=with_rates(USD="0"))

        assert failing(owner, Span.HISTORY).fault == "bad-rate"
        assert list(used(owner)) == ["d0"]

    @pytest.mark.parametrize(("days_before", "is_late"), [(10, False), (11, True)])
    def test_is_late_once_its_last_day_no_longer_counts(
        self, owner: Owner, publisher: Publisher, days_before: int, is_late: bool
    ) -> None:
        publisher.publish(**{f"d{days_before}": RATES})

        if is_late:
            assert failing(owner).fault == "late"
            assert used(owner) == {}
        else:
            assert refresh(owner).age_days == days_before

    def test_is_late_too_where_it_says_that_nothing_has_changed(self, owner: Owner, publisher: Publisher) -> None:
        owner.put_exchange_rates(day_of(11), FEED, USD="1.07")
        publisher.publish(d11=RATES, tag='"old"')
        failing(owner)
        with owner.database.writing() as connection:
            feed.feed_files.save_conditions(connection, owner.workshop_id, ADDRESS + DAILY, {"If-None-Match": '"old"'})
        publisher.mock.get(ADDRESS + DAILY, status_code=304)

        error = failing(owner)

        assert (error.fault, error.age_days) == ("late", 11)


class TestADayThatJumps:
    @pytest.fixture
    def jumped(self, owner: Owner, publisher: Publisher) -> Owner:
        """A normal rate three days ago; two days ago one that is ten times as high, which is held back."""
        publisher.publish(d3=RATES)
        refresh(owner)
        publisher.publish(d2=with_rates(USD="10.77"))
        (held,) = refresh(owner).held
        assert held.day.published_on == date.fromisoformat(day_of(2))
        return owner

    def test_is_held_back_with_its_reason_and_not_used(self, jumped: Owner) -> None:
        (held,) = feed.list_held_exchange_rates(jumped.workspace, before=None, limit=9)
        (jump,) = held.jumps
        convert = Exchange(jumped.workspace, jumped.workshop.today())

        assert (jump.currency, str(jump.from_rate), str(jump.to_rate)) == ("USD", "1.0772", "10.77")
        assert jump.share == Decimal("8.998143")
        assert used(jumped) == {"d3": Decimal("1.0772")}
        assert convert(Money(amount=Decimal("1.0772"), currency="USD")) == 1
        assert [day.age_days for day in convert.used.stated()] == [3]

    def test_is_the_last_day_of_the_feed_only_once_it_is_used(self, jumped: Owner, publisher: Publisher) -> None:
        assert refresh(jumped).age_days == 3
        publisher.fail()
        assert failing(jumped).age_days == 3

    def test_is_found_by_its_day_with_its_reason(self, jumped: Owner, other_owner: Owner) -> None:
        day = date.fromisoformat(day_of(2))
        (listed,) = feed.list_held_exchange_rates(jumped.workspace, before=None, limit=9)

        assert feed.find_held_exchange_rates(jumped.workspace, day, FEED) == listed
        with pytest.raises(NotRegisteredError, match=f"held back for {day} from"):
            feed.find_held_exchange_rates(other_owner.workspace, day, FEED)

    def test_changes_nothing_when_it_comes_again(self, jumped: Owner) -> None:
        revision = jumped.revision

        assert len(refresh(jumped).held) == 1
        assert jumped.revision == revision

    def test_is_used_once_it_is_confirmed_and_stays_so(self, jumped: Owner) -> None:
        revision = jumped.revision

        assert confirm(jumped, 2) == [2]

        assert jumped.revision == revision + 1
        assert (used(jumped)["d2"], waiting(jumped)) == (Decimal("10.77"), [])
        assert (refresh(jumped).unchanged, waiting(jumped)) == (1, [])

    def test_once_confirmed_also_releases_later_days_that_no_longer_jump(
        self, jumped: Owner, publisher: Publisher
    ) -> None:
        for days_before, rate in ((1, "10.80"), (0, "99")):
            publisher.publish(**{f"d{days_before}": with_rates(USD=rate)})
            refresh(jumped)
        assert waiting(jumped) == ["d0", "d1", "d2"]

        assert confirm(jumped, 2) == [2, 1]

        (held,) = feed.list_held_exchange_rates(jumped.workspace, before=None, limit=9)
        assert (waiting(jumped), str(held.jumps[0].from_rate)) == (["d0"], "10.80")

    def test_once_confirmed_leaves_earlier_days_waiting(self, jumped: Owner, publisher: Publisher) -> None:
        publisher.publish(d1=with_rates(USD="5"))
        refresh(jumped)

        assert (confirm(jumped, 1), waiting(jumped)) == ([1], ["d2"])

    def test_once_dropped_is_gone_and_is_held_back_again_if_it_comes_again(self, jumped: Owner) -> None:
        revision = jumped.revision

        drop(jumped, 2)

        assert (jumped.revision, waiting(jumped), list(used(jumped))) == (revision + 1, [], ["d3"])
        assert (len(refresh(jumped).held), waiting(jumped)) == (1, ["d2"])

    def test_is_no_longer_held_back_once_the_source_corrects_it(self, jumped: Owner, publisher: Publisher) -> None:
        publisher.publish(d2=with_rates(USD="1.08"))

        found = refresh(jumped)

        assert (found.added, waiting(jumped)) == (1, [])
        assert used(jumped) == {"d3": Decimal("1.0772"), "d2": Decimal("1.08")}

    def test_as_a_correction_leaves_the_old_rates_in_use_until_they_come_back_or_it_is_confirmed(
        self, owner: Owner, publisher: Publisher
    ) -> None:
        publisher.publish(d1=RATES, d0=RATES)
        refresh(owner)
        publisher.publish(d1=RATES, d0=with_rates(USD="10"))
        refresh(owner)
        assert (used(owner)["d0"], waiting(owner)) == (Decimal("1.0772"), ["d0"])

        publisher.publish(d1=RATES, d0=RATES)
        assert (refresh(owner).unchanged, waiting(owner)) == (2, [])

        publisher.publish(d1=RATES, d0=with_rates(USD="10"))
        refresh(owner)
        assert (confirm(owner, 0), used(owner)["d0"]) == ([0], Decimal(10))

    def test_that_is_not_waiting_cannot_be_confirmed_or_dropped(self, jumped: Owner, other_owner: Owner) -> None:
        for owner, days_before in ((jumped, 3), (other_owner, 2)):
            for act in (confirm, drop):
                with pytest.raises(NotRegisteredError, match=r"no day of exchange rates held back for .* from 'ECB'"):
                    act(owner, days_before)
        with pytest.raises(NotRegisteredError):
            confirm(jumped, 2, "customs")

    def test_is_listed_newest_first_from_where_the_page_before_ended(self, jumped: Owner, publisher: Publisher) -> None:
        publisher.publish(d1=with_rates(USD="5"))
        refresh(jumped)

        (first,) = feed.list_held_exchange_rates(jumped.workspace, before=None, limit=1)
        position = (first.day.published_on, first.day.source)
        (second,) = feed.list_held_exchange_rates(jumped.workspace, before=position, limit=9)

        assert [str(each.day.published_on) for each in (first, second)] == [day_of(1), day_of(2)]


class TestConverting:
    def test_between_any_two_currencies_goes_through_the_base_and_shows_only_the_rates_needed(
        self, owner: Owner, publisher: Publisher
    ) -> None:
        refresh(owner)
        convert = Exchange(owner.workspace, owner.workshop.today())

        yen = convert.converted(Money(amount=Decimal("1.0772"), currency="USD"), "JPY")

        assert yen == Decimal("164.52")
        (shown,) = convert.used.stated()
        assert (shown.source, shown.age_days, shown.max_age_days) == (FEED, 0, 10)
        assert shown.rates == {"JPY": Decimal("164.52"), "USD": Decimal("1.0772")}

    def test_within_a_currency_takes_no_rate(self, owner: Owner) -> None:
        convert = Exchange(owner.workspace, owner.workshop.today())

        assert convert.converted(Money(amount=Decimal(5), currency="USD"), "USD") == 5
        assert convert.used.days == ()

    def test_of_a_currency_that_has_ended_is_refused_with_its_last_day_however_young_its_last_rate(
        self, owner: Owner
    ) -> None:
        owner.put_exchange_rates("2022-12-30", FEED, HRK="7.5365", USD="1.0666")
        euro = Money(amount=Decimal(1), currency="EUR")

        with pytest.raises(UnknownCurrencyError, match="HRK is no longer in use; its last day was 2023-01-14; use EUR"):
            Exchange(owner.workspace, date(2023, 1, 15)).converted(euro, "HRK")
        assert Exchange(owner.workspace, date(2022, 12, 31)).converted(euro, "HRK") == Decimal("7.5365")

    def test_in_the_days_of_both_currencies_is_not_at_the_last_rate_before_them(self, owner: Owner) -> None:
        """The kuna was changed at 7.53450; its last reference rate is another."""
        owner.put_exchange_rates("2022-12-30", FEED, HRK="7.5365", USD="1.0666")
        euro, convert = Money(amount=Decimal(1), currency="EUR"), Exchange(owner.workspace, date(2023, 1, 2))

        with pytest.raises(MissingExchangeRateError) as error:
            convert.converted(euro, "HRK")
        assert str(error.value) == (
            "no exchange rate between EUR and HRK on 2023-01-02: the last one is of 2022-12-30, and on 2023-01-01 EUR "
            "came in the place of HRK, at a rate of its own; enter, import or fetch a newer one"
        )
        assert convert.converted(euro, "USD") == Decimal("1.0666")
        owner.put_exchange_rates("2023-01-01", HRK="7.53450")
        assert Exchange(owner.workspace, date(2023, 1, 2)).converted(euro, "HRK") == Decimal("7.53450")

    def test_without_a_recent_rate_is_refused_and_names_the_last_one(self, owner: Owner, publisher: Publisher) -> None:
        publisher.publish(d10=RATES)
        refresh(owner)
        today = owner.workshop.today()
        dollar = Money(amount=Decimal(1), currency="USD")
        assert Exchange(owner.workspace, today)(dollar) > 0

        with pytest.raises(MissingExchangeRateError) as error:
            Exchange(owner.workspace, today + timedelta(days=1))(dollar)

        assert (error.value.last_source, error.value.last_published_on) == (FEED, today - timedelta(days=10))
        assert error.value.max_age_days == 10
        assert f"is of {day_of(10)}, 11 days before, where 10 are allowed" in str(error.value)

    def test_the_last_one_told_is_none_that_was_published_later(self, owner: Owner) -> None:
        for day in ("2026-09-01", "2026-11-20"):
            owner.put_exchange_rates(day, USD="1.1")

        with pytest.raises(MissingExchangeRateError) as error:
            Exchange(owner.workspace, date(2026, 11, 19))(Money(amount=Decimal(1), currency="USD"))

        assert (error.value.last_source, error.value.last_published_on) == ("manual", date(2026, 9, 1))
