"""Metrics for a monitoring system: what is counted, that nothing identifies a workshop, and the number of series."""

import os
from collections.abc import Iterator
from datetime import UTC, date, datetime
from inspect import unwrap
from pathlib import Path

import flask
import pytest
from prometheus_client import values
from prometheus_client.parser import text_string_to_metric_families

from service import clock
from service.api.operating.metrics import DIRECTORY, SLOT, Metrics
from service.app import create_app
from service.config import Settings
from service.domain.currency.exchange_rates import FEED
from service.store.engine.database import Database
from service.store.engine.schema import migrate
from tests.api.places import register_everything
from tests.conftest import Client, make_client
from tests.support.builders import material
from tests.support.contract import Contract
from tests.support.feed import FeedServer
from tests.support.running import running

Samples = dict[tuple[str, tuple[str, ...]], float]


def samples(text: str) -> Samples:
    """Each sample, by its name and the values of its labels, sorted by the labels' names."""
    return {
        (sample.name, tuple(value for _, value in sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def told(client: Client) -> Samples:
    answer = client.get("/metrics", headers={"Authorization": ""})
    assert answer.status_code == 200
    return samples(answer.text)


def risen(before: Samples, after: Samples) -> Samples:
    return {key: value - before.get(key, 0) for key, value in after.items() if value != before.get(key, 0)}


def test_every_request_is_counted_by_operation_method_and_status(client: Client) -> None:
    before = told(client)

    client.put("materials/hdpe", material())
    client.get("materials/hdpe")
    client.get("materials/none")
    found = risen(before, told(client))

    assert found["pugmill_requests_total", ("PUT", "putMaterial", "201")] == 1
    assert found["pugmill_requests_total", ("GET", "getMaterial", "200")] == 1
    assert found["pugmill_requests_total", ("GET", "getMaterial", "404")] == 1
    assert found["pugmill_request_seconds_count", ("getMaterial",)] == 2


def test_all_requests_outside_the_contract_are_one_series(client: Client) -> None:
    before = told(client)

    for place in range(20):
        client.app.test_client().open(f"/nothing-{place}", method=f"ODD{place}")
    found = risen(before, told(client))

    assert {key for key in found if key[0] == "pugmill_requests_total"} == {
        ("pugmill_requests_total", ("other", "other", "404")),
        ("pugmill_requests_total", ("GET", "getMetrics", "200")),
    }


def test_a_repricing_is_counted_with_the_decisions_on_its_listings(client: Client) -> None:
    before = told(client)

    unwrap(register_everything)(client)
    client.post("repricings", {"as_of": "2026-11-25"})  # a preview does not count
    after = told(client)
    found = risen(before, after)

    assert found["pugmill_repricings_total", ()] == 1
    assert found["pugmill_repricing_seconds_count", ()] == 1
    assert found["pugmill_repriced_listings_total", ("first",)] == 1
    assert after["pugmill_last_repricing_timestamp_seconds", ()] == pytest.approx(clock.now().timestamp(), abs=60)


def test_refusals_by_the_rate_limit_are_counted(database_url: str, contract: Contract) -> None:
    app = create_app(Settings(database_url=database_url, rate_limit=1))
    client = make_client(app, contract)
    for _ in range(3):
        client.get("materials")

    assert told(client)["pugmill_requests_over_limit_total", ()] >= 1
    app.extensions["pugmill.database"].dispose()


def test_the_age_of_the_feed_is_read_from_the_database(
    client: Client, app: flask.Flask, feed_server: FeedServer, database_url: str
) -> None:
    assert client.post("exchange-rates/refresh", {"span": "latest"}).status_code == 200
    listed = client.get("exchange-rates").json["items"]
    newest = max(date.fromisoformat(each["published_on"]) for each in listed if each["source"] == FEED)
    restarted = create_app(Settings(database_url=database_url))

    found = samples(restarted.test_client().get("/metrics").text)

    restarted.extensions["pugmill.database"].dispose()
    assert found["pugmill_feed_newest_day_age_seconds", ()] <= (datetime.now(UTC).date() - newest).total_seconds()
    assert 0 <= datetime.now(UTC).timestamp() - found["pugmill_feed_last_change_timestamp_seconds", ()] < 3600
    assert found["pugmill_database_up", ()] == 1


@pytest.fixture
def pathless_app(tmp_path: Path) -> flask.Flask:
    return create_app(Settings(database_url=f"sqlite:///{tmp_path / 'no-such-directory' / 'pugmill.db'}"))


def test_metrics_without_a_database_are_still_answered_and_say_so(pathless_app: flask.Flask) -> None:
    found = samples(pathless_app.test_client().get("/metrics").text)

    assert found["pugmill_database_up", ()] == 0
    assert ("pugmill_build_info", ("0.1.0",)) in found


def test_a_part_of_the_database_that_fails_does_not_make_it_seem_down(tmp_path: Path) -> None:
    app = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'without-tables.db'}"))

    found = samples(app.test_client().get("/metrics").text)

    app.extensions["pugmill.database"].dispose()
    assert found["pugmill_database_up", ()] == 1
    assert ("pugmill_feed_newest_day_age_days", ()) not in found


def test_no_metric_identifies_a_workshop_a_key_or_data(client: Client) -> None:
    register_everything(client)

    text = client.get("/metrics").text

    for secret in (client.key, client.workshop.name, str(client.workshop.workshop_id), "hdpe", "/v1/"):
        assert secret not in text


def lines_of(text: str) -> list[str]:
    """Each series, and each line that says what a family is, without values."""
    return [line if line.startswith("#") else line.rpartition(" ")[0] for line in text.splitlines()]


class TestSharedByWorkers:
    """As `pugmill serve` sets it up: each process has files in one directory."""

    @pytest.fixture
    def database(self, tmp_path: Path) -> Path:
        path = tmp_path / "pugmill.db"
        database = Database(f"sqlite:///{path}")
        migrate(database)
        database.dispose()
        return path

    @pytest.fixture
    def shared_app(self, database: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[flask.Flask]:
        directory = database.parent / "metrics"
        directory.mkdir()
        monkeypatch.setenv(DIRECTORY, str(directory))
        application = create_app(Settings(database_url=f"sqlite:///{database}"))
        yield application
        application.extensions["pugmill.database"].dispose()
        values.ValueClass = values.MutexValue

    def test_every_scrape_has_every_family_and_series_once(self, shared_app: flask.Flask, database: Path) -> None:
        def scraped() -> str:
            answer = shared_app.test_client().get("/metrics")
            assert answer.status_code == 200
            return answer.text

        present = scraped()
        database.rename(database.with_suffix(".away"))
        away = scraped()
        database.with_suffix(".away").rename(database)
        back = scraped()

        for text in (present, away, back):
            lines = lines_of(text)
            assert sorted(set(lines)) == sorted(lines)
            assert samples(text)["pugmill_build_info", ("0.1.0",)] == 1
        assert [samples(text)["pugmill_database_up", ()] for text in (present, away, back)] == [1, 0, 1]

    def test_a_replaced_process_goes_on_in_the_files_of_its_slot(
        self, shared_app: flask.Flask, database: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setenv(SLOT, "3")
        for _ in range(3):
            Metrics().answered("getMaterial", "GET", 200, 0.1)

        text = shared_app.test_client().get("/metrics").text

        assert samples(text)["pugmill_requests_total", ("GET", "getMaterial", "200")] == 3
        assert {path.stem.rpartition("_")[2] for path in (database.parent / "metrics").iterdir()} == {
            "3",
            str(os.getpid()),
        }


def test_every_worker_reports_the_sum_over_all_workers(tmp_path: Path) -> None:
    with running(tmp_path) as service:
        for _ in range(30):
            service.ask("GET", "/v1/taxes")
        answers = [service.ask("GET", "/metrics").partition(b"\r\n\r\n")[2].decode() for _ in range(6)]

    assert {samples(text)["pugmill_requests_total", ("GET", "listTaxes", "200")] for text in answers} == {30}
    assert not list(tmp_path.glob("pugmill-*"))
