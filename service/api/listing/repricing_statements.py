"""A repricing as it is answered, with its changes or without."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from service.domain.costing.variance import RateChange
from service.domain.currency.exchange_rates import UsedRates
from service.domain.listing.price_change import PriceChange, RepricingFigures, RepricingSummary
from service.domain.listing.repricing import RepricingRequest
from service.domain.values.shown import shown
from service.encoding import encoded
from service.store.listing.repricings import Repricing
from service.workflows.register import Prices


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingStatement:
    """A repricing.

    Attributes:
        id: its id; null if it is not stored.
        status: preview, nothing_to_change, applied or rolled_back.
        as_of: the day of its rates.
        valid_from: the first day of its prices: as_of, or the day of the application if that is later.
        applied_at: when it was applied.
        applied_by: name of the key that applied it.
        rolled_back_at: when the earlier prices were restored.
        rolled_back_by: name of the key that rolled it back.
        request: what was asked for.
        summary: number of listings by decision; null on the further pages of a preview.
        rate_changes: every rate that changed since the prices in force were set, if any cost depends on it.
        exchange_rates: the exchange rates used.
        later_days: days after valid_from for which prices had been set already. They stay: if a rate that changed holds
            on these days too, reprice each of them.
    """

    id: UUID | None
    status: str
    as_of: date
    valid_from: date
    applied_at: datetime | None
    applied_by: str | None
    rolled_back_at: datetime | None
    rolled_back_by: str | None
    request: RepricingRequest
    summary: RepricingSummary | None
    rate_changes: tuple[RateChange, ...]
    exchange_rates: tuple[UsedRates, ...]
    later_days: tuple[date, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesPage:
    """Some of the changes.

    Attributes:
        items: the changes, by listing.
        next: address of the next page; for a preview, POST the same body there.
    """

    items: tuple[PriceChange, ...]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingAnswer(RepricingStatement):
    """A repricing with its changes.

    Attributes:
        changes: the first page of them.
    """

    changes: ChangesPage


_NOT_STORED = dict.fromkeys(("id", "applied_at", "applied_by", "rolled_back_at", "rolled_back_by"))
_NOT_FOUND = {"summary": None, "rate_changes": (), "exchange_rates": (), "later_days": ()}


def statement_of(
    request: RepricingRequest, valid_from: date, figures: RepricingFigures | None, status: str
) -> dict[str, Any]:
    """A repricing that is not stored, as plain data."""
    without = _NOT_STORED if figures else _NOT_STORED | _NOT_FOUND
    found: dict[str, Any] = encoded(
        shown(
            RepricingStatement, "", request, figures, request=request, valid_from=valid_from, status=status, **without
        )
    )
    return found


def stored_statement(stored: Repricing) -> dict[str, Any]:
    """A stored repricing as plain data."""
    status = "applied" if stored.rolled_back_at is None else "rolled_back"
    found: dict[str, Any] = encoded(
        shown(RepricingStatement, "", stored, stored.request, stored.figures, status=status)
    )
    return found


def prices_told(prices: Prices | None) -> dict[str, Any] | None:
    """What a repricing would do after something is registered, as plain data."""
    if prices is None:
        return None
    statement = statement_of(prices.request, prices.valid_from, prices.figures, "preview")
    return {**statement, "changes": {"items": list(prices.changes), "next": None}}
