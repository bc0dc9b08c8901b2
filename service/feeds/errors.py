"""Faults of a feed."""

from enum import StrEnum


class Fault(StrEnum):
    """Kinds of faults of a feed."""

    UNREACHABLE = "unreachable"
    TIMEOUT = "timeout"
    UNAVAILABLE = "unavailable"
    REDIRECTED = "redirected"
    UNEXPECTED_STATUS = "unexpected-status"
    TOO_LARGE = "too-large"
    WRONG_CONTENT = "wrong-content"
    FORBIDDEN_XML = "forbidden-xml"
    TRUNCATED = "truncated"
    WRONG_STRUCTURE = "wrong-structure"
    NO_DAY = "no-day"
    BAD_DAY = "bad-day"
    FUTURE_DAY = "future-day"
    DUPLICATE_DAY = "duplicate-day"
    BAD_CURRENCY = "bad-currency"
    DUPLICATE_CURRENCY = "duplicate-currency"
    BAD_RATE = "bad-rate"
    TOO_FEW_CURRENCIES = "too-few-currencies"
    LATE = "late"


class FeedError(Exception):
    """A feed cannot be used at the moment.

    Attributes:
        fault: the kind of fault.
        reason: the details.
        retry_after_seconds: the feed's Retry-After, if it sent one.
    """

    def __init__(self, fault: Fault, reason: str, retry_after_seconds: int | None = None) -> None:
        super().__init__(f"{fault}: {reason}")
        self.fault = fault
        self.reason = reason
        self.retry_after_seconds = retry_after_seconds
