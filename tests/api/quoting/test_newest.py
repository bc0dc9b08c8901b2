"""A word in place of an id: the newest quotation, or the newest in a state, and the newest repricing."""

from typing import Any

import pytest

from tests.api.outside import refused
from tests.api.places import register_everything
from tests.api.quoting.test_quotation_life import draft, issued
from tests.conftest import Client
from tests.support.builders import register_workshop


@pytest.fixture
def workshop(client: Client) -> Client:
    register_workshop(client)
    return client


def found(client: Client, word: str) -> Any:
    return client.get(f"quotations/{word}").json["id"]


@pytest.mark.every_engine
def test_each_state_has_its_newest_quotation(workshop: Client) -> None:
    first, second = issued(workshop)["id"], issued(workshop)["id"]
    third = draft(workshop)["id"]

    assert [found(workshop, word) for word in ("newest", "draft", "issued")] == [third, third, second]
    workshop.post("quotations/issued/accept", {})
    assert [found(workshop, word) for word in ("accepted", "issued")] == [second, first]
    refused(workshop, "GET", "quotations/declined", status=404)


def test_a_workshop_without_any_has_none(stranger: Client, workshop: Client) -> None:
    draft(workshop)

    for address in ("quotations/newest", "quotations/draft", "repricings/newest"):
        assert "newest" in refused(stranger, "GET", address, status=404).json["detail"] or "draft" in address
    refused(stranger, "GET", "quotations/latest", status=422)


def test_the_newest_repricing_can_be_taken_back(client: Client) -> None:
    register_everything(client)
    (applied,) = client.get("repricings").json["items"]

    assert client.post("repricings/newest/rollback", None).json["id"] == applied["id"]
