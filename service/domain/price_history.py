"""What a listing's price was, and since when."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from service.domain.money import Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceHistoryEntry:
    """A price that a repricing put in force on a listing.

    Attributes:
        repricing: id of the repricing.
        as_of: the day whose rates it was computed from.
        applied_at: since when it has been in force.
        applied_by: name of the key that it was applied with.
        rolled_back_at: when the price before it was put back in force; none if it never was.
        price: as displayed on the channel, in the listing's currency.
        unit_cost: what a piece costs, in the workshop's currency, with four digits more than the minor unit.
        margin_share: profit ÷ net price; none at a net price of 0.
    """

    repricing: UUID
    as_of: date
    applied_at: datetime
    applied_by: str
    rolled_back_at: datetime | None
    price: Money
    unit_cost: Money
    margin_share: Decimal | None
