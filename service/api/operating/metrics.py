"""Metrics for Prometheus, of all workers together; no workshop is named.

Labels are the contract's operation ids, methods, statuses, decisions and the feed's faults, so their number is finite.
"""

import os
import time
from collections.abc import Iterator
from contextlib import suppress
from importlib.metadata import version

import flask
from flask.views import MethodView
from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest, values
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from service import clock, time_limit
from service.api.contract.blueprints import Blueprint
from service.api.http.auth import database
from service.api.http.forms import TEXT
from service.api.http.operations import Request, operation
from service.domain.listing.price_change import RepricingSummary
from service.workflows.workshop.watching import find_feed_state, is_answering

blueprint = Blueprint("metrics", __name__, tag="service", description="The service itself.")
DIRECTORY = "PROMETHEUS_MULTIPROC_DIR"
"""Environment variable of the directory where prometheus-client shares the workers' metrics; set by `pugmill serve`."""
SLOT = "PUGMILL_SLOT"
"""Environment variable with a worker's place among the workers: digits, and no two of them at once have the same.

A worker that replaces another continues its files. Without it, each process has files of its own.
"""
_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30)
_METHODS = frozenset({"GET", "HEAD", "POST", "PUT", "DELETE"})
_FEED_SECONDS = 1
"""Time to find the age of the feed's rates: every node is asked, and one may be silent. Otherwise it is left out."""
_DECISIONS = ("first", "changed", "same", "kept", "held", "unpriced")


class Metrics:
    """The metrics of one application, or its share in those of all workers.

    Attributes:
        registry: the metrics of this process.
    """

    def __init__(self) -> None:
        # The library decides at import whether processes share their metrics, but our workers are forks of a process
        # that had imported it before the directory was set.
        shared = DIRECTORY in os.environ
        self._place = os.environ.get(SLOT)
        values.ValueClass = values.MultiProcessValue(self._files) if shared else values.MutexValue  # type: ignore[no-untyped-call]
        self.registry = registry = CollectorRegistry()
        self._requests = Counter(
            "pugmill_requests", "Requests answered.", ["operation", "method", "status"], registry=registry
        )
        self._seconds = Histogram(
            "pugmill_request_seconds", "Time to an answer.", ["operation"], buckets=_SECONDS, registry=registry
        )
        self._labelled: dict[tuple[str, str, int], tuple[Counter, Histogram]] = {}
        self._refused = Counter("pugmill_requests_over_limit", "Requests refused by the rate limit.", registry=registry)
        self._repricings = Counter("pugmill_repricings", "Repricings applied.", registry=registry)
        self._repricing_seconds = Histogram(
            "pugmill_repricing_seconds", "Time to apply a repricing.", buckets=(*_SECONDS, 120, 600), registry=registry
        )
        self._listings = Counter(
            "pugmill_repriced_listings", "Listings in applied repricings.", ["decision"], registry=registry
        )
        self._last_repricing = Gauge(
            "pugmill_last_repricing_timestamp_seconds",
            "When a repricing was last applied, since the service was started.",
            multiprocess_mode="max",
            registry=registry,
        )
        self._refreshes = Counter(
            "pugmill_feed_refreshes",
            "Refreshes of the exchange rates: good, held if a day waits for confirmation, or the feed's fault.",
            ["result"],
            registry=registry,
        )

    def begin(self) -> None:
        """Make this process's files now, in a process that was forked; later the disk may be full."""
        self._place = os.environ.get(SLOT)
        self._refused.inc(0)

    def _files(self) -> str:
        """What the files of this process are named by; asked at each count, because processes are forked."""
        return self._place or str(os.getpid())

    def answered(self, operation: str, method: str, status: int, seconds: float) -> None:
        """Count a request."""
        requests, times = self._of(operation, method if method in _METHODS else "other", status)
        requests.inc()
        times.observe(seconds)
        if status == 429:  # noqa: PLR2004
            self._refused.inc()

    def _of(self, operation: str, method: str, status: int) -> tuple[Counter, Histogram]:
        """The metrics with these labels; finding them by their labels takes the library longer than counting."""
        found = self._labelled.get((operation, method, status))
        if found is None:
            requests, times = self._requests.labels(operation, method, str(status)), self._seconds.labels(operation)
            found = self._labelled[operation, method, status] = requests, times
        return found

    def repriced(self, summary: RepricingSummary, seconds: float) -> None:
        """Count a repricing that was applied."""
        self._repricings.inc()
        self._repricing_seconds.observe(seconds)
        self._last_repricing.set(clock.now().timestamp())
        for decision in _DECISIONS:
            self._listings.labels(decision).inc(getattr(summary, decision))

    def refreshed(self, result: str) -> None:
        """Count a refresh of the exchange rates by its result."""
        self._refreshes.labels(result).inc()

    def told(self) -> bytes:
        """All metrics as text: those of now, and those of all workers together."""
        together = CollectorRegistry()
        if DIRECTORY in os.environ:
            MultiProcessCollector(together)  # type: ignore[no-untyped-call]
        else:
            together.register(self.registry)
        together.register(_OfNow())
        return generate_latest(together)


def count(request: Request, response: flask.Response) -> flask.Response:
    """Count an answered request, and the repricing or refresh of exchange rates if it was one."""
    metrics: Metrics = request.extensions["pugmill.metrics"]
    asked_for = "other" if request.operation is None else request.operation.id
    seconds = time.perf_counter() - request.begun
    with suppress(OSError):  # a full disk must not spoil an answer
        metrics.answered(asked_for, request.method, response.status_code, seconds)
    if request.repriced is not None and response.status_code < 300:  # noqa: PLR2004
        metrics.repriced(request.repriced, seconds)
    if request.feed_result is not None:
        metrics.refreshed(request.feed_result)
    return response


class _OfNow(Collector):
    """Metrics computed on request: the version, whether the database answers, the age of the feed's rates.

    They are no gauges of the library, which would store them for all workers and report them again.
    """

    def collect(self) -> Iterator[Metric]:
        """Each metric as a family of its own."""
        build = GaugeMetricFamily("pugmill_build_info", "Version of the service.", labels=["version"])
        build.add_metric([version("pugmill")], 1)
        yield build
        asked = database()
        is_up = is_answering(asked)
        yield GaugeMetricFamily("pugmill_database_up", "Whether the database answers.", value=is_up)
        with time_limit.within(_FEED_SECONDS):
            found = find_feed_state(asked) if is_up else None
        if found is not None and found.newest_day is not None:
            age = clock.today_in("UTC") - found.newest_day
            yield GaugeMetricFamily(
                "pugmill_feed_newest_day_age_seconds",
                "Age of the feed's newest day in use, in whole days.",
                value=age.total_seconds(),
            )
        if found is not None and found.changed_at is not None:
            yield GaugeMetricFamily(
                "pugmill_feed_last_change_timestamp_seconds",
                "When rates of the feed last came into use.",
                value=found.changed_at.timestamp(),
            )


@blueprint.route("/metrics")
class MetricsView(MethodView):
    """Metrics."""

    @operation("getMetrics", forms=(TEXT,), is_keyed=False, refuses=(400,))
    @blueprint.response(200, {"type": "string"}, content_type=TEXT)
    def get(self) -> flask.Response:
        """Metrics of all workers since their start: requests, repricings, refreshes, age of the exchange rates.

        In Prometheus's text format. It needs no key and names no workshop; keep it inside your own network.
        """
        metrics: Metrics = flask.current_app.extensions["pugmill.metrics"]
        return flask.Response(metrics.told(), content_type=f"{TEXT}; version=0.0.4; charset=utf-8")
