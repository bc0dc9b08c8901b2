"""Isolation of two workshops with the same codes, days and numbers: every operation of the contract reads and changes
only the workshop's own data."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import flask
import pytest

from service.app import create_app
from service.config import Settings
from tests.api.outside import is_problem, operations, parameters, refused
from tests.api.places import KEYED, named
from tests.api.twins import (
    CHANGING,
    READING,
    Answers,
    Twin,
    Walk,
    address_in,
    altered_by,
    everybodys,
    figures,
    furnish,
    ids_by,
    shown,
    told,
    walk,
)
from tests.conftest import make_client
from tests.support import builders
from tests.support.contract import Contract
from tests.support.feed import FeedServer


def make_twin(app: flask.Flask, contract: Contract, feed: FeedServer, mark: str, factor: str) -> Twin:
    twin = Twin(
        client=make_client(app, contract, name=f"Workshop of {mark}"),
        mark=mark,
        altered=altered_by(mark, factor),
        anew=altered_by(f"{mark} anew", str(1 + (float(factor) - 1) / 2)),
    )
    furnish(twin, feed)
    return twin


@pytest.fixture(scope="module")
def feed(running_feed: FeedServer) -> Iterator[FeedServer]:
    yield running_feed
    running_feed.reset()


def make_twins(app: flask.Flask, contract: Contract, feed: FeedServer) -> tuple[Twin, Twin]:
    """Make the older and the younger twin."""
    older = make_twin(app, contract, feed, "Quillwort", "1.012")
    younger = make_twin(app, contract, feed, "Fernbrake", "1.034")
    feed.reset()
    return older, younger


@pytest.fixture(scope="module", params=["the older one acts", "the younger one acts"])
def seen(
    request: pytest.FixtureRequest, app: flask.Flask, contract: Contract, feed: FeedServer, database_url: str
) -> Iterator[Walk]:
    older, younger = make_twins(app, contract, feed)
    watched, acting = (younger, older) if "older" in request.param else (older, younger)
    without_memory = create_app(Settings(database_url=database_url, rate_limit=None, has_memory=False))
    yield walk(watched, acting, contract, replace(watched.client, app=without_memory))
    without_memory.extensions["pugmill.database"].dispose()


pytestmark = pytest.mark.every_engine_by_night
reading = pytest.mark.parametrize("name", READING)
WITH_IDS = [name for name, place in READING.items() if "{" in place.path]
UNKNOWN = {name for name in WITH_IDS if "repricing_id" in name}
"""Operations whose addresses differ between the twins."""
SUCCESS = {"PUT": (200, 201), "POST": (200, 201), "DELETE": (204,)}
changing = pytest.mark.parametrize("name", CHANGING)


def of(name: str, answers: Answers) -> Answers:
    """The answers of one operation."""
    found = {key: answer for key, answer in answers.items() if key[0] == name}
    assert found
    return found


def betrayed(answer: Any, other: Twin) -> list[str]:
    """The secrets of the other workshop that an answer contains."""
    return [secret for secret in other.secrets if secret in told(answer)]


def test_every_operation_that_needs_a_key_is_in_the_walk() -> None:
    walked = [
        place for place in KEYED if not place.is_document or not (place.stores or place.template.endswith(".png"))
    ]
    assert {*READING, *CHANGING} >= {named(place) for place in walked}


def test_both_workshops_begin_at_the_same_revision(seen: Walk) -> None:
    """With equal revisions, a cache that ignored the workshop would return the other's answers."""
    assert seen.revisions[0] == seen.revisions[1] > 0


class TestReading:
    @reading
    def test_returns_only_the_workshops_own_data(self, seen: Walk, name: str) -> None:
        for key, own in of(name, seen.own).items():
            others = seen.first[key]
            assert own.status_code == others.status_code == 200, (key, own.text)
            assert own.data != others.data, key
            assert not betrayed(own, seen.watched), key
            assert not betrayed(others, seen.acting), key
            assert figures(own) & figures(others) <= everybodys(READING[name]), key

    def test_the_others_entity_tag_never_matches(self, seen: Walk) -> None:
        assert {key[0] for key in seen.knowing} >= {name for name in READING if name.startswith("GET")} - UNKNOWN
        for key, answer in seen.knowing.items():
            assert answer.status_code == 200, key
            assert answer.data == seen.own[key].data, key

    @pytest.mark.parametrize("name", WITH_IDS)
    def test_finds_nothing_under_the_others_id(self, seen: Walk, name: str) -> None:
        answer = seen.with_its_id[name]

        assert answer.status_code == 404
        assert is_problem(answer)
        assert not betrayed(answer, seen.watched)

    @reading
    def test_gives_the_same_bytes_after_all_changes_of_the_other(self, seen: Walk, name: str) -> None:
        for key, first in of(name, seen.first).items():
            assert shown(seen.after[key]) == shown(first), key
            assert shown(seen.anew[key]) == shown(first), key


class TestChanging:
    @changing
    def test_changes_none_of_the_others_data(self, seen: Walk, name: str) -> None:
        done = seen.done[name]

        assert done.answer.status_code in SUCCESS[CHANGING[name].method], done.answer.text
        assert done.has_changed
        assert not done.has_made_keys
        before, after = done.left
        assert after == before
        assert not betrayed(done.answer, seen.watched)

    @changing
    def test_is_refused_with_the_others_id_and_with_the_others_entity_tag(self, seen: Walk, name: str) -> None:
        done = seen.done[name]

        assert (done.with_its_id is not None) == ("{" in CHANGING[name].path)
        for answer, status in ((done.with_its_id, 404), (done.with_its_tag, 412)):
            if answer is not None:
                assert answer.status_code == status, answer.text
                assert is_problem(answer)
                assert not betrayed(answer, seen.watched)


@pytest.fixture(scope="module")
def both(app: flask.Flask, contract: Contract, feed: FeedServer) -> tuple[Twin, Twin]:
    return make_twins(app, contract, feed)


def is_json(operation: dict[str, Any]) -> bool:
    """Whether it answers JSON; the same in another form is the same view."""
    return all(
        "application/json" in answer["content"]
        for status, answer in operation["responses"].items()
        if "200" <= status < "204"
    )


def test_a_cursor_of_the_other_is_refused_by_every_list(both: tuple[Twin, Twin], contract: Contract) -> None:
    paged = {
        f"{method} {template}"
        for method, template, operation in operations(contract.document)
        if any(each["name"] == "cursor" for each in operation["parameters"]) and is_json(operation)
    }
    places = [place for name, place in READING.items() if named(place) in paged]

    assert {named(place) for place in places} == paged
    for place in places:
        for twin, other in (both, both[::-1]):
            address = place.address(ids_by(other, number=False))
            page = other.client.request(place.method, f"{address}{'&' if '?' in address else '?'}limit=1", place.body)
            following = (page.json if "next" in page.json else page.json["changes"])["next"]
            assert following, address
            at_its_own = following.replace(address.partition("?")[0], place.address(ids_by(twin, number=False)))
            answer = refused(twin.client, place.method, at_its_own, place.body, status=422)
            assert parameters(answer) == ["cursor"]
            assert not betrayed(answer, other)


POSTED_ONCE = [
    (name, place)
    for name, place in CHANGING.items()
    if place.method == "POST" and not place.path.startswith("/v1/exchange-rates")
]


def test_every_operation_that_takes_an_idempotency_key_is_tried_with_one(contract: Contract) -> None:
    taking = {
        f"{method} {template}"
        for method, template, operation in operations(contract.document)
        if any(each["name"] == "Idempotency-Key" for each in operation["parameters"]) and is_json(operation)
    }

    assert {name for name, _ in POSTED_ONCE} == taking


@pytest.mark.parametrize("name", [name for name, _ in POSTED_ONCE])
def test_the_same_idempotency_key_counts_separately_in_each_workshop(both: tuple[Twin, Twin], name: str) -> None:
    place, key = CHANGING[name], {"Idempotency-Key": f'"{name.encode().hex()}"'}
    for twin in both:
        price = twin.anew(builders.material_rate(str(1 + len(name))))
        twin.client.register("materials/hdpe", twin.altered(builders.material()), **{"2026-03-01": price})

    addresses = [address_in(twin, place, twin) for twin in both]
    tries = [
        (twin, twin.client.request(place.method, address, twin.altered(place.body), headers=key))
        for _ in range(2)
        for twin, address in zip(both, addresses, strict=True)
    ]

    for (_, first), (_, again), other in zip(tries[:2], tries[2:], reversed(both), strict=True):
        assert first.status_code in SUCCESS["POST"], first.text
        assert again.data == first.data
        assert not betrayed(first, other)
    if name != "POST /v1/batch-records":  # which tells how many there are
        assert tries[0][1].data != tries[1][1].data
