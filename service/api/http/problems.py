"""Every refusal as a problem document (RFC 9457), and one table of what each error means in HTTP."""

import json
import logging
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from http import HTTPStatus
from typing import Any

import flask
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from werkzeug.exceptions import HTTPException

from service.api.http.database_faults import BUSY, OUT_OF_TIME, DatabaseFault, fault_of
from service.domain.costing.errors import MissingRatesError
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.errors import InconsistentProductError, MissingMeasuresError, ProductLoopError
from service.domain.pricing.errors import UnreachableTargetError
from service.domain.quoting.errors import QuotationStateError
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
from service.time_limit import OutOfTimeError
from service.workflows import errors as workflow

MEDIA_TYPE = "application/problem+json"
_TYPES = "tag:pugmill.example,2026:problem/"
_logger = logging.getLogger("pugmill")

# Where RFC 9110 renamed a status, the standard library may lag behind.
_TITLES = {413: "Content Too Large", 414: "URI Too Long", 422: "Unprocessable Content"}


def title_of(status: int) -> str:
    """The status's reason phrase, by RFC 9110."""
    return _TITLES.get(status) or HTTPStatus(status).phrase


class ProblemError(Exception):
    """A refusal, ready to be answered.

    Attributes:
        status: the HTTP status.
        kind: the last part of the problem's type.
        detail: what is wrong and how to mend it.
        members: further facts, `errors` among them.
        headers: of the answer; several texts for a header are a line each.
    """

    def __init__(
        self,
        status: int,
        kind: str,
        detail: str,
        *,
        headers: Mapping[str, str | list[str]] | None = None,
        **members: Any,
    ) -> None:
        super().__init__(detail)
        self.status, self.kind, self.detail = status, kind, detail
        self.members, self.headers = members, dict(headers or {})

    @classmethod
    def of_errors(cls, errors: Sequence[Mapping[str, Any]]) -> "ProblemError":
        """422, naming each member, parameter or line that is wrong."""
        shown = list(errors)[:MAX_ERRORS]
        named = "; ".join(f"{_place(error)}: {error['detail']}" for error in shown[:_NAMED])
        more = f"; and {len(errors) - _NAMED} more" if len(errors) > _NAMED else ""
        return cls(422, "invalid-request", named + more, errors=shown)

    def response(self) -> flask.Response:
        """The problem document."""
        document = {
            "type": _TYPES + self.kind,
            "title": title_of(self.status),
            "status": self.status,
            "detail": self.detail,
            **self.members,
        }
        body = json.dumps(document, ensure_ascii=False) + "\n"
        return flask.Response(
            body.encode("utf-8", "backslashreplace"), self.status, self.headers, content_type=MEDIA_TYPE
        )


MAX_BODY_BYTES = 1024 * 1024
MAX_ERRORS = 50
"""The most errors that a problem names one by one."""
_NAMED = 3


def error_at(location: str, path: tuple[str, ...], detail: str) -> dict[str, str]:
    """One error, by JSON pointer (RFC 6901) in a body and by name in a query string."""
    if location == "query":
        return {"parameter": "/".join(path)[:200], "detail": detail}
    pointer = "".join("/" + step.replace("~", "~0").replace("/", "~1") for step in path)
    return {"pointer": pointer[:500], "detail": detail}


def _place(error: Mapping[str, Any]) -> str:
    if "line" in error:
        return f"line {error['line']}"
    return str(error.get("pointer") or error.get("parameter") or "the body")


def _errors_of(problems: Sequence[InvalidValueError]) -> list[dict[str, str]]:
    location = "query" if flask.request.method in ("GET", "HEAD") else "json"
    return [error_at(location, tuple(str(step) for step in each.path), each.reason) for each in problems]


def _invalid_values(error: InvalidValuesError) -> ProblemError:
    return ProblemError.of_errors(_errors_of(error.problems))


def _missing_rates(error: MissingRatesError) -> ProblemError:
    missing = [
        {
            "resource": each.resource,
            "first_valid_from": each.first_valid_from.isoformat() if each.first_valid_from else None,
        }
        for each in error.missing
    ]
    return ProblemError(422, "missing-rate", str(error), as_of=error.as_of.isoformat(), missing=missing)


def _product_loop(error: ProductLoopError) -> ProblemError:
    return ProblemError(422, "product-loop", str(error), loop=list(error.loop), **_pointed(error.path, str(error)))


def _too_complex(error: TooComplexError) -> ProblemError:
    return ProblemError(422, "too-complex", str(error), limit=error.limit, **_pointed(error.path, str(error)))


def _pointed(path: Sequence[str | int], detail: str) -> dict[str, Any]:
    """The errors member for a single member, if it is known."""
    return {"errors": _errors_of([InvalidValueError(path, detail)])} if path else {}


def _simple(status: int, kind: str, *facts: str) -> Callable[[Any], ProblemError]:
    """A problem whose members are some of the error's attributes."""

    def build(error: Any) -> ProblemError:
        return ProblemError(status, kind, str(error), **{name: _plain(getattr(error, name)) for name in facts})

    return build


def _of_shipping(kind: str, *facts: str) -> Callable[[Any], ProblemError]:
    """What stands against a shipment, with the member that asked for it, if it is known."""

    def build(error: Any) -> ProblemError:
        problem = _simple(422, kind, *facts)(error)
        problem.members.update(_pointed(error.path, str(error)))
        return problem

    return build


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    return value.isoformat() if isinstance(value, date) else list(value) if isinstance(value, tuple) else value


_FEED_STATUS = {Fault.TIMEOUT: 504, Fault.UNREACHABLE: 503, Fault.UNAVAILABLE: 503, Fault.TRUNCATED: 503}
_RETRY_AFTER_SECONDS = 300


def _feed_failed(error: workflow.FeedFailedError) -> ProblemError:
    """502 where the feed answers what cannot be used; 503 and 504 where asking again may help."""
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
    InvalidValuesError: _invalid_values,
    FigureTooLargeError: _simple(422, "figure-too-large"),
    UnknownCurrencyError: _simple(422, "unknown-currency", "code"),
    CurrencyMismatchError: _simple(422, "currency-mismatch", "one", "other"),
    ProductLoopError: _product_loop,
    InconsistentProductError: _simple(409, "inconsistent-product", "product"),
    TooComplexError: _too_complex,
    MissingRatesError: _missing_rates,
    MissingExchangeRateError: _simple(
        422, "missing-exchange-rate", "one", "other", "max_age_days", "last_source", "last_published_on"
    ),
    UnreachableTargetError: _simple(
        422, "unreachable-target", "target", "wanted", "highest", "highest_margin_share", "at_price"
    ),
    UnknownZoneError: _of_shipping("unknown-zone", "zone", "zones"),
    MissingMeasuresError: _of_shipping("missing-measures", "product", "purpose", "members"),
    DoesNotFitError: _of_shipping("does-not-fit", "product", "reasons"),
    QuotationStateError: _simple(409, "quotation-state", "state"),
    workflow.NotRegisteredError: _simple(404, "not-found"),
    workflow.InUseError: _simple(409, "in-use", "users"),
    workflow.FeedFailedError: _feed_failed,
    workflow.StalePreviewError: _simple(412, "stale-preview", "applied_as"),
    workflow.NothingPricedError: _simple(422, "nothing-priced", "listings", "reasons"),
    workflow.SupersededError: _simple(409, "superseded", "superseded_prices"),
    workflow.PreconditionFailedError: _simple(412, "precondition-failed"),
    workflow.KeyUsedOtherwiseError: _simple(422, "idempotency-key-used-otherwise"),
    workflow.StillRunningError: lambda error: ProblemError(
        409, "still-running", str(error), headers={"Retry-After": str(error.retry_after_seconds)}
    ),
}
"""What each error of the domain and the workflows is answered with."""


def answer_pugmill_error(error: PugmillError) -> flask.Response:
    """A refusal of the domain or a workflow."""
    return PROBLEMS[type(error)](error).response()


def answer_problem(problem: ProblemError) -> flask.Response:
    """A refusal of this layer."""
    return problem.response()


def answer_http_exception(error: HTTPException) -> flask.Response:
    """A refusal of the framework, its own headers kept (Allow, Retry-After, WWW-Authenticate)."""
    status = error.code or 500
    kept = {
        name: value for name, value in error.get_headers() if name.lower() not in ("content-type", "content-length")
    }
    kind = title_of(status).lower().replace(" ", "-")
    return ProblemError(status, kind, _remedy(status, kept.get("Allow")), headers=kept).response()


def _remedy(status: int, allowed: str | None) -> str:
    """What is wrong, in our own words rather than the framework's."""
    told = {
        404: "there is nothing at this address; /openapi.json lists the addresses there are",
        405: f"this address does not take {flask.request.method}; it takes {allowed}",
        413: f"send at most {MAX_BODY_BYTES:,} bytes",
        414: "the address is too long",
        431: "the header fields are too long",
    }
    return told.get(status, f"{title_of(status)}: this request cannot be answered as it was sent")


def answer_database_error(error: DBAPIError) -> flask.Response:
    """What the database cannot do now is for the caller to try again; anything else is a fault of ours."""
    fault = fault_of(error)
    return answer_unexpected(error) if fault is None else _given_up(fault, error)


def answer_pool_timeout(error: PoolTimeoutError) -> flask.Response:
    """Every connection is taken: for the caller to try again."""
    return _given_up(BUSY, error)


def answer_out_of_time(error: OutOfTimeError) -> flask.Response:
    """The work was given up."""
    return _given_up(OUT_OF_TIME, error)


def _given_up(fault: DatabaseFault, error: Exception) -> flask.Response:
    _logger.warning("given up: %s", fault.kind, exc_info=error)
    return unable(fault).response()


def unable(fault: DatabaseFault) -> ProblemError:
    """That something cannot be done now, and when to try again."""
    return ProblemError(503, fault.kind, fault.detail, headers={"Retry-After": str(fault.retry_after_seconds)})


def answer_unexpected(error: Exception) -> flask.Response:
    """A fault of ours: logged in full, told in short."""
    _logger.error("unexpected error", exc_info=error)
    return ProblemError(
        500, "unexpected", "something went wrong on our side; the log has it under the request id"
    ).response()


def register(app: flask.Flask) -> None:
    """Answer every error with a problem document."""
    app.register_error_handler(ProblemError, answer_problem)
    app.register_error_handler(PugmillError, answer_pugmill_error)
    app.register_error_handler(HTTPException, answer_http_exception)
    app.register_error_handler(DBAPIError, answer_database_error)
    app.register_error_handler(PoolTimeoutError, answer_pool_timeout)
    app.register_error_handler(OutOfTimeError, answer_out_of_time)
    app.register_error_handler(Exception, answer_unexpected)
