"""The one table of what each error is in HTTP, and the error handlers."""

import logging
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from http import HTTPStatus
from typing import Any

import flask
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from werkzeug.exceptions import HTTPException, MethodNotAllowed

from service.api.http.problems import MAX_BODY_BYTES, ProblemError, error_at, title_of, unable
from service.domain.costing.errors import MissingRatesError
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.errors import InconsistentProductError, MissingMeasuresError, ProductLoopError
from service.domain.pricing.errors import UnreachableTargetError
from service.domain.quoting.errors import BelowFloorError, QuotationStateError
from service.domain.shipping.errors import DoesNotFitError, UnknownZoneError
from service.domain.values.errors import (
    CurrencyMismatchError,
    FigureTooLargeError,
    InvalidValueError,
    InvalidValuesError,
    PugmillError,
    TooComplexError,
    UnknownCurrencyError,
)
from service.feeds.errors import Fault
from service.nearest import did_you_mean
from service.store.engine.database_faults import BUSY, OUT_OF_TIME, DatabaseFault, fault_of
from service.store.engine.metering import QuotaExceededError
from service.time_limit import OutOfTimeError
from service.workflows import errors as workflow

_logger = logging.getLogger("pugmill")


def _errors_of(problems: Sequence[InvalidValueError]) -> list[dict[str, str]]:
    location = "query" if flask.request.method in ("GET", "HEAD") else "json"
    return [error_at(location, tuple(str(step) for step in each.path), each.reason) for each in problems]


def _missing_rates(error: MissingRatesError) -> ProblemError:
    missing = [
        {
            "resource": each.resource,
            "first_valid_from": each.first_valid_from.isoformat() if each.first_valid_from else None,
        }
        for each in error.missing
    ]
    day = error.as_of.isoformat()
    told = f"{error}; a rate is put at its first day: /v1/{error.missing[0].resource}/rates/{day}"
    return ProblemError(422, "missing-rate", told, as_of=day, missing=missing)


def _simple(status: int, kind: str, *facts: str) -> Callable[[Any], ProblemError]:
    """A problem with some of the error's attributes, and with the wrong member if the error names it."""

    def build(error: Any) -> ProblemError:
        members = {name: _plain(getattr(error, name)) for name in facts}
        if path := getattr(error, "path", ()):
            members["errors"] = _errors_of([InvalidValueError(path, str(error))])
        return ProblemError(status, kind, str(error), **members)

    return build


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    return value.isoformat() if isinstance(value, date) else list(value) if isinstance(value, tuple) else value


def _again(status: int, kind: str, error: Any) -> ProblemError:
    """The request may be sent again as it is, after some seconds."""
    return ProblemError(status, kind, str(error), headers={"Retry-After": str(error.retry_after_seconds)})


_FEED_STATUS = {Fault.TIMEOUT: 504, Fault.UNREACHABLE: 503, Fault.UNAVAILABLE: 503, Fault.TRUNCATED: 503}
_RETRY_AFTER_SECONDS = 300


def _feed_failed(error: workflow.FeedFailedError) -> ProblemError:
    """502 if the feed's answer cannot be used; 503 or 504 if a retry may help."""
    status = _FEED_STATUS.get(Fault(error.fault), 502)
    seconds = error.retry_after_seconds or _RETRY_AFTER_SECONDS
    return ProblemError(
        status,
        f"feed-{error.fault}",
        str(error),
        headers={} if status == HTTPStatus.BAD_GATEWAY else {"Retry-After": str(seconds)},
        source=error.source,
        last_published_on=_plain(error.last_published_on),
        age_days=error.age_days,
        max_age_days=error.max_age_days,
    )


PROBLEMS: dict[type[PugmillError], Callable[[Any], ProblemError]] = {
    InvalidValueError: lambda error: ProblemError.of_errors(_errors_of([error])),
    InvalidValuesError: lambda error: ProblemError.of_errors(_errors_of(error.problems)),
    FigureTooLargeError: _simple(422, "figure-too-large"),
    UnknownCurrencyError: _simple(422, "unknown-currency", "code"),
    CurrencyMismatchError: _simple(422, "currency-mismatch", "one", "other"),
    ProductLoopError: _simple(422, "product-loop", "loop"),
    InconsistentProductError: _simple(409, "inconsistent-product", "product"),
    TooComplexError: _simple(422, "too-complex", "limit"),
    MissingRatesError: _missing_rates,
    MissingExchangeRateError: _simple(
        422, "missing-exchange-rate", "one", "other", "max_age_days", "last_source", "last_published_on"
    ),
    UnreachableTargetError: _simple(
        422, "unreachable-target", "target", "wanted", "highest", "highest_margin_share", "at_price"
    ),
    UnknownZoneError: _simple(422, "unknown-zone", "zone", "zones"),
    MissingMeasuresError: _simple(422, "missing-measures", "product", "purpose", "members"),
    DoesNotFitError: _simple(422, "does-not-fit", "product", "reasons"),
    QuotationStateError: _simple(409, "quotation-state", "state"),
    BelowFloorError: _simple(409, "below-floor", "told"),
    QuotaExceededError: _simple(507, "quota-exceeded", "rows", "most_rows", "bytes", "most_bytes"),
    workflow.NotRegisteredError: _simple(404, "not-found"),
    workflow.InUseError: _simple(409, "in-use", "users"),
    workflow.FeedFailedError: _feed_failed,
    workflow.StalePreviewError: _simple(412, "stale-preview", "applied_as"),
    workflow.NothingPricedError: _simple(422, "nothing-priced", "listings", "reasons"),
    workflow.SupersededError: _simple(409, "superseded", "superseded_prices"),
    workflow.NotUndoneError: _simple(409, "not-undone", "product"),
    workflow.PreconditionFailedError: _simple(412, "precondition-failed"),
    workflow.KeyUsedOtherwiseError: _simple(422, "idempotency-key-used-otherwise"),
    workflow.StillRunningError: lambda error: _again(409, "still-running", error),
    workflow.ChangedMeanwhileError: lambda error: _again(503, "changed-meanwhile", error),
}
"""The problem for each error of the domain and the workflows."""


def answer_pugmill_error(error: PugmillError) -> flask.Response:
    """Answer an error of the domain or a workflow."""
    return PROBLEMS[type(error)](error).response()


def answer_http_exception(error: HTTPException) -> flask.Response:
    """Answer an error of the framework, with its own headers (Allow, Retry-After, WWW-Authenticate)."""
    if isinstance(error, MethodNotAllowed):  # werkzeug takes its methods from a set
        error.valid_methods = sorted(error.valid_methods or ())
    status = error.code or 500
    headers = {
        name: value for name, value in error.get_headers() if name.lower() not in ("content-type", "content-length")
    }
    kind = title_of(status).lower().replace(" ", "-")
    return ProblemError(status, kind, _remedy(status, headers.get("Allow")), headers=headers).response()


def _meant_address() -> str:
    """The end of a refusal, with the word that the first unknown part of the path is nearest to."""
    addresses = [rule.rule.split("/") for rule in flask.current_app.url_map.iter_rules()]
    for place, part in enumerate(flask.request.path.split("/")):
        addresses = [each for each in addresses if len(each) > place]
        fitting = [each for each in addresses if part == each[place] or "<" in each[place]]
        if not fitting:
            return did_you_mean(part, (each[place] for each in addresses))
        addresses = fitting
    return ""


def _remedy(status: int, allowed: str | None) -> str:
    """What is wrong, in our words rather than the framework's."""
    told = {
        404: f"there is nothing at this address{_meant_address() or '; /openapi.json lists all addresses'}",
        405: f"this address does not allow {flask.request.method}; it allows {allowed}",
        413: f"send at most {MAX_BODY_BYTES:,} bytes",
        414: "the address is too long",
        431: "the header fields are too long",
    }
    return told.get(status, f"{title_of(status)}: this request cannot be answered as it was sent")


def answer_database_error(error: DBAPIError) -> flask.Response:
    """Answer 503 for a known fault of the database, 500 for anything else."""
    fault = fault_of(error)
    return answer_unexpected(error) if fault is None else _given_up(fault, error)


def answer_pool_timeout(error: PoolTimeoutError) -> flask.Response:
    """Answer 503: every connection is in use."""
    return _given_up(BUSY, error)


def answer_out_of_time(error: OutOfTimeError) -> flask.Response:
    """Answer 503: the work exceeded its time limit."""
    return _given_up(OUT_OF_TIME, error)


def _given_up(fault: DatabaseFault, error: Exception) -> flask.Response:
    _logger.warning("given up: %s", fault.kind, exc_info=error)
    return unable(fault).response()


def answer_unexpected(error: Exception) -> flask.Response:
    """Answer 500 for a fault of ours; the log has the details."""
    _logger.error("unexpected error", exc_info=error)
    return ProblemError(
        500, "unexpected", "something went wrong on our side; the log has the details under the request id"
    ).response()


def register(app: flask.Flask) -> None:
    """Register the handlers, so that every error is answered with a problem document."""
    app.register_error_handler(ProblemError, ProblemError.response)
    app.register_error_handler(PugmillError, answer_pugmill_error)
    app.register_error_handler(HTTPException, answer_http_exception)
    app.register_error_handler(DBAPIError, answer_database_error)
    app.register_error_handler(PoolTimeoutError, answer_pool_timeout)
    app.register_error_handler(OutOfTimeError, answer_out_of_time)
    app.register_error_handler(Exception, answer_unexpected)
