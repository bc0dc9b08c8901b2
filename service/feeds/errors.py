"""What may be wrong with a feed."""

from enum import StrEnum


class Fault(StrEnum):
    """The kinds of what may be wrong with a feed."""

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
    """A feed cannot be used as it is.

    Attributes:
        fault: what kind of fault it is.
        reason: what was found.
        retry_after_seconds: when the feed wants to be asked again, if it said so.
    """

    def __init__(self, fault: Fault, reason: str, retry_after_seconds: int | None = None) -> None:
        super().__init__(f"{fault}: {reason}")
        self.fault = fault
        self.reason = reason
        self.retry_after_seconds = retry_after_seconds
