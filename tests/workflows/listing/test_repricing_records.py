"""What a repricing records, and how it is rolled back."""

from collections.abc import Iterator
from uuid import UUID

import pytest

from service.domain.listing.repricing import RepricingRequest
from service.workflows.errors import NotRegisteredError, PreconditionFailedError, StalePreviewError, SupersededError
from service.workflows.listing import repricing, repricing_records
from tests.api.repriced import FIRST, MONDAY
from tests.domain.examples import TODAY
from tests.support import builders
from tests.support.days import on_day
from tests.workflows.listing.repriced import LATER, applied, history, previewed, put_in_force, statements
from tests.workflows.owner import Owner

NOWHERE = UUID(int=1)


@pytest.fixture(autouse=True)
def on_that_monday() -> Iterator[None]:
    """So that what is applied for that day is in force at once, whichever day it is today."""
    with on_day(MONDAY):
        yield


@pytest.fixture
def selling(furnished: Owner) -> Owner:
    furnished.put("listings/sheet-online", builders.listing())
    return furnished


def dearer(owner: Owner, price: str = "1.80") -> None:
    owner.put_rate("materials/hdpe", MONDAY, builders.material_rate(price))


def test_the_newest_repricing_is_the_one_applied_last(selling: Owner) -> None:
    with pytest.raises(NotRegisteredError, match="the newest"):
        repricing_records.newest_repricing(selling.workspace)
    applied(selling)
    dearer(selling)
    second = applied(selling, MONDAY)

    assert repricing_records.newest_repricing(selling.workspace) == second.id


def test_each_further_repricing_of_a_day_is_written_by_the_same_statements(selling: Owner) -> None:
    sent = []
    for price in ("1.80", "1.90", "2.00", "2.10"):
        dearer(selling, price)
        with statements(selling.database) as each:
            applied(selling, MONDAY)
        sent.append([statement for statement in each if statement.startswith("INSERT")])

    assert sent[1] == sent[2] == sent[3]


class TestRollingBack:
    def test_puts_the_price_before_in_force_again(self, selling: Owner) -> None:
        applied(selling)
        (before,) = history(selling, "sheet-online")
        dearer(selling)
        second = applied(selling, MONDAY)
        assert second.id is not None
        assert history(selling, "sheet-online")[1:] == [before]

        done = selling.roll_back(second.id)

        assert (done.rolled_back_by, done.rolled_back_at is None) == ("owner", False)
        assert history(selling, "sheet-online") == [before]

    def test_is_possible_once_and_newest_first(self, selling: Owner) -> None:
        first = applied(selling)
        dearer(selling)
        second = applied(selling, MONDAY)
        assert first.id is not None
        assert second.id is not None

        with pytest.raises(SupersededError, match="1 of its prices no longer count; roll back the later") as error:
            selling.roll_back(first.id)
        assert error.value.superseded_prices == 1
        selling.roll_back(second.id)
        with pytest.raises(SupersededError, match="was rolled back already"):
            selling.roll_back(second.id)
        selling.roll_back(first.id)

        assert history(selling, "sheet-online") == []

    def test_tried_first_stores_nothing_and_is_refused_alike(self, selling: Owner) -> None:
        first = applied(selling)
        dearer(selling)
        second = applied(selling, MONDAY)
        assert first.id is not None
        assert second.id is not None
        before = history(selling, "sheet-online")

        tried = repricing_records.roll_back(selling.workspace, second.id, is_dry_run=True)

        assert (tried.id, tried.rolled_back_at) == (second.id, None)
        assert history(selling, "sheet-online") == before
        with pytest.raises(SupersededError, match="1 of its prices no longer count"):
            repricing_records.roll_back(selling.workspace, first.id, is_dry_run=True)

    def test_is_refused_to_somebody_who_has_seen_another_state(self, selling: Owner) -> None:
        done = applied(selling)
        assert done.id is not None

        with pytest.raises(PreconditionFailedError):
            repricing_records.roll_back(selling.workspace, done.id, lambda _: False)

        assert len(history(selling, "sheet-online")) == 1

    def test_of_an_unknown_repricing_or_another_workshops_is_refused(self, selling: Owner, other_owner: Owner) -> None:
        done = applied(selling)
        assert done.id is not None

        for owner, repricing_id in ((selling, NOWHERE), (other_owner, done.id)):
            with pytest.raises(NotRegisteredError):
                owner.roll_back(repricing_id)

        assert len(history(selling, "sheet-online")) == 1


def test_the_history_of_a_listing_has_day_and_repricing_of_each_price_newest_first(selling: Owner) -> None:
    first = applied(selling)
    dearer(selling)
    second = applied(selling, MONDAY)

    found = repricing_records.price_history(selling.workspace, "sheet-online", LATER, before=None, limit=9)

    assert [each.repricing for each in found] == [second.id, first.id]
    assert [each.as_of.isoformat() for each in found] == [MONDAY, FIRST]
    assert found[0].price.amount > found[1].price.amount


def test_there_is_no_history_of_a_listing_that_is_not_registered(selling: Owner) -> None:
    with pytest.raises(NotRegisteredError, match="listing 'gold'"):
        history(selling, "gold")


def test_a_preview_that_was_applied_meanwhile_is_refused_with_what_applied_it(selling: Owner) -> None:
    """A preview that was never applied is refused without naming a repricing, whatever else was applied before."""
    request = RepricingRequest(as_of=TODAY)
    with repricing.preview(selling.workspace, request) as seen:
        tag = seen.tag
    done = applied(selling)

    for expected, named in ((tag, str(done.id)), ("another", None)):
        with pytest.raises(StalePreviewError) as error:
            repricing.apply(selling.workspace, request, lambda now, it=expected: now == it)
        assert error.value.applied_as == named


def test_changes_are_listed_from_after_a_given_listing(selling: Owner) -> None:
    selling.put("listings/sheet-to-order", builders.listing())

    with repricing.preview(selling.workspace, RepricingRequest(as_of=TODAY)) as seen:
        found = [listing for listing, _ in seen.changes("sheet-online")]

    assert found == ["sheet-to-order"]


def test_a_repricing_that_finds_nothing_to_change_is_not_recorded(selling: Owner) -> None:
    applied(selling)
    revision = selling.revision

    again = put_in_force(selling)

    assert (again.id, again.figures.summary.same) == (None, 1)
    assert selling.revision == revision
    assert previewed(selling, FIRST).changes == {}
