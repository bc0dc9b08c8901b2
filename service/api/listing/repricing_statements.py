"""A repricing as it is told, with its changes or without."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from service.domain.costing.variance import RateChange
from service.domain.currency.exchange_rates import UsedRates
from service.domain.listing.price_change import PriceChange, RepricingFigures, RepricingSummary
from service.domain.listing.repricing import RepricingRequest
from service.encoding import encoded
from service.store.listing.repricings import Repricing


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingStatement:
    """A repricing.

    Attributes:
        id: its id; none of what is not stored.
        status: preview, nothing_to_change, applied or rolled_back.
        as_of: the day of its rates.
        applied_at: when it was applied.
        applied_by: name of the key that it was applied with.
        rolled_back_at: when the prices before it were put back in force.
        rolled_back_by: name of the key that this was done with.
        request: what was asked for.
        summary: how many listings of each decision; none on the further pages of a preview.
        rate_changes: every rate that moved since the prices in force were found, if any cost rests on it.
        exchange_rates: what amounts were converted with.
    """

    id: UUID | None
    status: str
    as_of: date
    applied_at: datetime | None
    applied_by: str | None
    rolled_back_at: datetime | None
    rolled_back_by: str | None
    request: RepricingRequest
    summary: RepricingSummary | None
    rate_changes: tuple[RateChange, ...]
    exchange_rates: tuple[UsedRates, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesPage:
    """Some of the changes.

    Attributes:
        items: by listing.
        next: where more of them are; of a preview, POST the same body there.
    """

    items: tuple[PriceChange, ...]
    next: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingAnswer(RepricingStatement):
    """A repricing with its changes.

    Attributes:
        changes: the first of them.
    """

    changes: ChangesPage


def statement_of(request: RepricingRequest, figures: RepricingFigures | None, status: str) -> dict[str, Any]:
    """What is not stored, as plain data."""
    return _encoded(request, figures, status)


def stored_statement(stored: Repricing) -> dict[str, Any]:
    """What is stored, as plain data."""
    return _encoded(
        stored.request,
        stored.figures,
        "applied" if stored.rolled_back_at is None else "rolled_back",
        id=stored.id,
        applied_at=stored.applied_at,
        applied_by=stored.applied_by,
        rolled_back_at=stored.rolled_back_at,
        rolled_back_by=stored.rolled_back_by,
    )


_NOT_STORED = dict.fromkeys(("id", "applied_at", "applied_by", "rolled_back_at", "rolled_back_by"))


def _encoded(request: RepricingRequest, figures: RepricingFigures | None, status: str, **stored: Any) -> dict[str, Any]:
    assert request.as_of is not None  # it was asked with its day
    statement = RepricingStatement(
        **{**_NOT_STORED, **stored},
        status=status,
        as_of=request.as_of,
        request=request,
        summary=None if figures is None else figures.summary,
        rate_changes=figures.rate_changes if figures else (),
        exchange_rates=figures.exchange_rates if figures else (),
    )
    found: dict[str, Any] = encoded(statement)
    return found
