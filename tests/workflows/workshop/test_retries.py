"""The states of an idempotency key: done, in progress, free."""

from datetime import UTC, datetime, timedelta

import pytest

from service.store.workshop.retries import StoredAnswer, renew_claim
from service.workflows.errors import KeyUsedOtherwiseError, StillRunningError
from service.workflows.workshop import retries
from tests.workflows.owner import Owner

ANSWER = StoredAnswer(status=201, headers={"Location": "/v1/quotations/1"}, body=b"{}")


def claim(owner: Owner, fingerprint: str = "f") -> retries.Claim:
    return retries.claim(owner.workspace, "key", fingerprint)


def test_the_first_request_is_done_and_the_next_gets_its_answer(owner: Owner) -> None:
    first = claim(owner)
    assert first.answer is None

    retries.keep(owner.workspace, first, ANSWER)

    assert claim(owner).answer == ANSWER


def test_another_request_is_refused_whether_the_first_is_done_or_not(owner: Owner) -> None:
    first = claim(owner)
    with pytest.raises(KeyUsedOtherwiseError):
        claim(owner, "g")
    retries.keep(owner.workspace, first, ANSWER)

    with pytest.raises(KeyUsedOtherwiseError):
        claim(owner, "g")


def test_a_released_key_is_free_for_any_request(owner: Owner) -> None:
    retries.release(owner.workspace, claim(owner))

    assert claim(owner, "g").answer is None


def test_a_request_that_must_wait_gets_the_waiting_time(owner: Owner) -> None:
    claim(owner)

    with pytest.raises(StillRunningError) as refusal:
        claim(owner)

    assert 1 <= refusal.value.retry_after_seconds <= retries.CUT_OFF.total_seconds()


def test_a_request_that_was_begun_again_is_not_released_by_the_first_nor_answered_twice(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = claim(owner)
    monkeypatch.setattr(retries, "CUT_OFF", timedelta(0))
    second = claim(owner)
    monkeypatch.undo()
    assert second.claimed_at > first.claimed_at

    retries.release(owner.workspace, first)
    retries.keep(owner.workspace, second, ANSWER)
    with pytest.raises(StillRunningError):
        retries.keep(owner.workspace, first, ANSWER)

    assert claim(owner).answer == ANSWER


def test_only_one_of_two_begins_anew_what_both_found_cut_off(owner: Owner) -> None:
    found = claim(owner)
    later = found.claimed_at + retries.CUT_OFF

    with owner.database.writing() as connection:
        begun = [renew_claim(connection, owner.workshop_id, found, later) for _ in range(2)]

    assert begun == [True, False]


def test_a_key_that_becomes_free_at_that_very_moment_is_waited_for(
    owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    claim(owner)
    monkeypatch.setattr("service.store.workshop.retries.find_claim", lambda *_: None)

    with pytest.raises(StillRunningError):
        claim(owner)


class TestUntilAnswered:
    def test_nothing_is_stored_before_the_answer(self, owner: Owner) -> None:
        with owner.workspace.until_answered() as joint:
            with joint.writing() as connection:
                assert connection.in_transaction()
            with joint.writing() as again, joint.reading() as reading:
                assert again is connection is reading
            assert connection.in_transaction()
        assert connection.closed

        with joint.writing() as another:
            assert another is not connection

    def test_everything_is_rolled_back_if_something_fails_afterwards(self, owner: Owner) -> None:
        before = owner.workshop.revision

        def change_and_fail() -> None:
            with owner.workspace.until_answered() as joint:
                Owner(database=joint.database, workshop_id=owner.workshop_id).put("taxes/vat", {"name": "VAT"})
                raise RuntimeError(datetime.now(UTC))

        with pytest.raises(RuntimeError):
            change_and_fail()

        assert owner.workshop.revision == before
