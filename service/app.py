"""The WSGI application."""

from collections.abc import Callable, Sequence
from importlib.metadata import version
from typing import Any

import flask

from service import time_limit
from service.api import audit, lead_times, month, quotation_previews, register, shipping, workshop
from service.api.contract import addresses
from service.api.contract.blueprints import SUMMARY, Api, Blueprint, Plugin, Rules
from service.api.costing import job_sheets, rate_card
from service.api.currency import exchange_rates
from service.api.http import answers, auth, errors, operations, rate_limit, reading
from service.api.http.forms import HTML
from service.api.http.operations import Request
from service.api.http.problems import MAX_BODY_BYTES, title_of
from service.api.http.remembered import MAX_BYTES, Answers
from service.api.listing import listings, price_histories, repricings
from service.api.operating import documentation, health, logs, metrics
from service.api.pricing import price_sheets
from service.api.quoting import quotation_life, quotation_papers, quotation_risks, quotations
from service.api.records import batch_records, learning, variances
from service.api.registering.registered import collection_blueprint
from service.arrivals import Arrivals
from service.config import Settings, settings_from_environment
from service.documents.drawing.drawing import ImageForm
from service.documents.writing.pages import content_security_policy
from service.domain.register import COLLECTIONS
from service.feeds.reference_rates import ReferenceRates
from service.serving.long_work import HandedOver, LongWork
from service.store.engine.database import Database
from service.store.engine.metering import Quota

_API_OPTIONS = {"API_TITLE": documentation.TITLE, "API_VERSION": "v1", "OPENAPI_VERSION": "3.1.0"}


_TIMES_AS_LONG = 60


class Service(flask.Flask):
    """The Flask application."""

    request_class = operations.Request

    def full_dispatch_request(self) -> flask.Response:
        """Answer within the time limit, which is longer for some operations."""
        with time_limit.within(self.extensions["pugmill.time_limit"]):
            return super().full_dispatch_request()

    def dispatch_request(self) -> Any:
        """Answer within the operation's time limit, in another process if that is likely to take long."""
        request = operations.current()
        asked = request.operation
        if asked is None or not asked.is_done_apart(request.media_type):
            return super().dispatch_request()
        seconds = self.extensions["pugmill.time_limit"] * (_TIMES_AS_LONG if asked.is_long else 1)
        long_work: LongWork | None = self.extensions["pugmill.long_work"]
        if long_work is not None:
            return long_work.answer(request.environ, request.request_id, auth.workshop().workshop_id, seconds)
        with time_limit.within(seconds):
            return super().dispatch_request()

    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """The function itself: no view is a coroutine, and Flask would check that several times a request."""
        return func


def create_app(settings: Settings | None = None) -> flask.Flask:
    """An application over the database of the settings."""
    settings = settings or settings_from_environment()
    app = Service("service", static_folder=None)
    app.config.update(_API_OPTIONS, MAX_CONTENT_LENGTH=MAX_BODY_BYTES + 1, PROVIDE_AUTOMATIC_OPTIONS=False)
    app.extensions["pugmill.database"] = Database(
        settings.database_url, has_memory=settings.has_memory, quota=_quota(settings)
    )
    app.extensions["pugmill.answers"] = Answers(MAX_BYTES if settings.has_memory else 0, len)
    app.extensions["pugmill.fonts"] = settings.fonts
    app.extensions["pugmill.feed"] = ReferenceRates(base_address=settings.feed_url)
    limit = settings.rate_limit
    app.extensions["pugmill.arrivals"] = None if limit is None else Arrivals(limit)
    app.extensions["pugmill.long_work"] = None  # `pugmill serve` has processes for it
    app.extensions["pugmill.time_limit"] = settings.time_limit
    app.extensions["pugmill.metrics"] = metrics.Metrics()
    errors.register(app)
    app.url_map.merge_slashes = False  # a doubled slash is another address, not a redirect
    who = (auth.authenticate, rate_limit.count, auth.authorise)
    what = (reading.check_address,)
    how = (reading.check_parameters, answers.negotiate, addresses.read_address, reading.check_no_body)
    _check_each_request(app, (logs.begin, *what, *who, *how))
    _finish_each_answer(app, (answers.settle_condition, logs.end, _secure, metrics.count, rate_limit.tell))
    _add_blueprints(app)
    return app


def _check_each_request(app: flask.Flask, checks: Sequence[Callable[[Request], None]]) -> None:
    """Have every request checked, in this order; each check may refuse it."""

    def check() -> None:
        request = operations.current()
        for each in checks:
            each(request)

    app.before_request(check)


def _finish_each_answer(app: flask.Flask, steps: Sequence[Callable[[Request, flask.Response], flask.Response]]) -> None:
    """Have every answer go through these steps, in this order."""

    def finish(response: flask.Response) -> flask.Response:
        request = operations.current()
        if isinstance(response, HandedOver):  # another process has done the rest
            return rate_limit.tell(request, response)
        for each in steps:
            response = each(request, response)
        status = f"{response.status_code} {title_of(response.status_code)}"
        if response.status != status:  # the framework's are older
            response.status = status
        return response

    app.after_request(finish)


def _quota(settings: Settings) -> Quota:
    megabytes = settings.quota_megabytes
    return Quota(rows=settings.quota_rows, size_bytes=None if megabytes is None else megabytes * 1_000_000)


def _add_blueprints(app: flask.Flask) -> None:
    whose = {
        "contact": {"name": "Whoever runs this service"},
        "license": {"name": "None is granted here", "identifier": "LicenseRef-None"},
    }
    info = {"description": SUMMARY, "version": version("pugmill"), **whose}
    shared = {"servers": [{"url": "/"}], "security": [{"key": []}]}
    plugins = {"flask_plugin": Rules(), "marshmallow_plugin": Plugin()}
    api = Api(app, spec_kwargs={"info": info, **shared, **plugins})
    # In the order in which one meets them: each group of the contract builds on those before it.
    registered = {name: collection_blueprint(collection) for name, collection in COLLECTIONS.items()}
    resources = ("tariffs", "labour-grades", "machines", "materials", "tools", "overheads", "closures", "taxes")
    sale = (registered["channels"], registered["shipping-services"], shipping.blueprint, registered["listings"])
    after_sale = (listings, repricings, price_histories, quotation_previews, quotations, quotation_life)
    afterwards = (quotation_papers, batch_records, variances, learning, quotation_risks)
    last = (month, register, audit, health, metrics)
    groups: tuple[Blueprint, ...] = (
        workshop.blueprint,
        *(registered[name] for name in resources),
        exchange_rates.blueprint,
        registered["products"],
        *(each.blueprint for each in (price_sheets, rate_card, lead_times, job_sheets)),
        *sale,
        *(each.blueprint for each in (*after_sale, *afterwards, *last)),
    )
    for blueprint in groups:
        api.register_blueprint(blueprint)
    documentation.register(app, api)
    app.extensions["pugmill.api"] = api
    app.extensions["pugmill.operations"] = operations.operations_of(app)
    app.extensions["pugmill.fixed_addresses"] = reading.methods_of_fixed_addresses(app)


_SECURITY_HEADERS = [
    ("X-Content-Type-Options", "nosniff"),
    ("X-Frame-Options", "DENY"),
    ("Referrer-Policy", "no-referrer"),
    ("Cross-Origin-Resource-Policy", "same-origin"),
]


def _secure(request: Request, response: flask.Response) -> flask.Response:
    """Headers against sniffing, embedding, running scripts and caching of answers."""
    mimetype, headers = response.mimetype or "", response.headers
    headers.extend(_SECURITY_HEADERS)
    if mimetype == ImageForm.SVG:
        headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'"
    elif mimetype.endswith("json"):  # problems too
        headers["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
    elif mimetype == HTML and request.path.startswith("/docs/"):
        headers["Content-Security-Policy"] = documentation.docs_policy(response.get_data(as_text=True))
    elif mimetype == HTML and request.is_of_workshop:
        headers["Content-Security-Policy"] = content_security_policy()
    headers.setdefault("Cache-Control", "no-store")
    if request.is_negotiated:
        headers.add("Vary", "Accept")
    return response
