"""What a workflow refuses because of the state of the workshop."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta

from service.domain.currency.exchange_rates import FEED_MAX_AGE_DAYS
from service.domain.values.errors import PugmillError


class NotRegisteredError(PugmillError, LookupError):
    """Nothing is registered at this address, or it has been retired."""

    def __init__(self, what: str, retired_at: datetime | None = None, *, meant: str = "") -> None:
        retired = f"{what} was retired on {retired_at.date()}; PUT it again to bring it back" if retired_at else ""
        super().__init__(retired or f"there is no {what}{meant}")
        self.what = what


class InUseError(PugmillError):
    """Something cannot be retired while others refer to it."""

    def __init__(self, what: str, users: Sequence[str]) -> None:
        super().__init__(f"{what} is used by {', '.join(users)}; change or retire these first")
        self.what = what
        self.users = tuple(users)


class PreconditionFailedError(PugmillError):
    """The state has changed since the caller read it."""

    def __init__(self, what: str) -> None:
        super().__init__(f"{what} has changed since you read it, or is not there; read it again and decide anew")
        self.what = what


def _at(instant: datetime | None) -> str:
    return "" if instant is None else f", at {instant:%Y-%m-%dT%H:%M:%SZ}"


class StalePreviewError(PugmillError):
    """The state or the request has changed since the preview, or the preview was applied already."""

    def __init__(self, applied_as: str | None, at: datetime | None = None) -> None:
        applied = f"this very preview was applied already{_at(at)}, as repricing {applied_as}; nothing was done again"
        stale = "the workshop, the day or the request is not what it was at the preview; preview again and decide anew"
        super().__init__(applied if applied_as else stale)
        self.applied_as = applied_as


class ChangedMeanwhileError(PugmillError):
    """The workshop kept changing while prices were computed, so that none were put in force."""

    retry_after_seconds = 30

    def __init__(self) -> None:
        super().__init__(
            "somebody kept changing rates, products or prices while the new prices were computed, so nothing was done; "
            "try again when they have finished"
        )


class NothingPricedError(PugmillError):
    """No listing in the scope can be priced."""

    def __init__(self, listings: int, reasons: Sequence[str]) -> None:
        told = "; ".join(reasons)
        super().__init__(f"none of {listings} listings can be priced: {told}")
        self.listings = listings
        self.reasons = tuple(reasons)


class SupersededError(PugmillError):
    """A repricing cannot be rolled back: it was already, or later repricings have replaced some of its prices."""

    def __init__(self, repricing: str, rolled_back_at: datetime | None, superseded_prices: int) -> None:
        done = f"repricing {repricing} was rolled back already{_at(rolled_back_at)}"
        gone = f"{superseded_prices} of its prices no longer count"
        remedy = "roll back the later repricings first, newest first"
        super().__init__(done if rolled_back_at else f"{gone}; {remedy}")
        self.superseded_prices = superseded_prices


class NotUndoneError(PugmillError):
    """What was taken over from records cannot be undone: it was already, or a product has changed since."""

    def __init__(self, product: str, reason: str) -> None:
        super().__init__(f"what product '{product}' took over from its records cannot be undone: {reason}")
        self.product = product


class FeedFailedError(PugmillError):
    """The exchange rates could not be refreshed; the old ones are used up to their maximum age.

    Attributes:
        source: publisher of the rates.
        fault: kind of fault.
        retry_after_seconds: when the feed asks to be tried again, if it says so.
        last_published_on: the last day there are rates for, if any.
        age_days: age of that day today.
    """

    max_age_days = FEED_MAX_AGE_DAYS

    def __init__(
        self, source: str, fault: str, reason: str, retry_after_seconds: int | None, last: date | None, today: date
    ) -> None:
        self.source = source
        self.fault = fault
        self.retry_after_seconds = retry_after_seconds
        self.last_published_on = last
        self.age_days = None if last is None else (today - last).days
        super().__init__(f"no new exchange rates from the feed of '{source}': {reason}; {self._remaining()}")

    def _remaining(self) -> str:
        if self.last_published_on is None or self.age_days is None:
            return "there are none from before"
        days = "1 day" if self.age_days == 1 else f"{self.age_days} days"
        are = f"the last good ones, of {self.last_published_on}, are {days} old and"
        if self.age_days > self.max_age_days:
            return f"{are} too old to be used"
        return f"{are} used until {self.last_published_on + timedelta(days=self.max_age_days)}"


class KeyUsedOtherwiseError(PugmillError):
    """The idempotency key was sent with a different request before."""

    def __init__(self) -> None:
        super().__init__("this Idempotency-Key came with another request before; give each request a key of its own")


class StillRunningError(PugmillError):
    """The first request with the idempotency key has not been answered yet."""

    def __init__(self, retry_after_seconds: int) -> None:
        super().__init__("the first request with this Idempotency-Key is still being worked on; ask again in a moment")
        self.retry_after_seconds = retry_after_seconds
