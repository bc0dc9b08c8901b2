"""The price history of a listing."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from service.domain.values.exact import exactly
from service.domain.values.money import Money, in_currency


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
        base_quantity: pieces that the price is for.
        unit_cost: what a piece costs, in the workshop's currency, with four digits more than the minor unit.
        margin_share: profit ÷ net price; none at a net price of 0.
    """

    repricing: UUID
    as_of: date
    applied_at: datetime
    applied_by: str
    rolled_back_at: datetime | None
    price: Money
    base_quantity: int = 1
    unit_cost: Money
    margin_share: Decimal | None

    @property
    @exactly
    def price_of_a_piece(self) -> Money:
        """Price ÷ base quantity, unrounded."""
        return in_currency(self.price.amount / self.base_quantity, self.price.currency)


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceInForce:
    """A period in which a listing had one price; until None if it lasts.

    Attributes:
        is_put_back: whether the price came back because the one after it was rolled back.
    """

    entry: PriceHistoryEntry
    since: datetime
    until: datetime | None
    is_put_back: bool


def prices_in_force(entries: Iterable[PriceHistoryEntry]) -> tuple[PriceInForce, ...]:
    """The periods of a listing's prices in order; the entries may come in any order.

    After a rollback the newest earlier price that was not rolled back is in force again, if any. A price replaced in
    the instant it was applied was never in force. Of two applied in one instant the repricing with the greater id is
    later (UUIDs of version 7 rise with time).

    Source: RFC 9562, Universally Unique IDentifiers (UUIDs), section 5.7, 2024.
    """
    found: list[PriceInForce] = []
    standing: list[PriceHistoryEntry] = []
    events = sorted(_events(entries), key=lambda event: event[:3])
    for place, (at, is_rollback, _, entry) in enumerate(events):
        was = standing[-1] if standing else None
        if is_rollback:
            standing.remove(entry)
        else:
            standing.append(entry)
        until = events[place + 1][0] if place + 1 < len(events) else None
        if not standing or until == at:
            continue
        if found and found[-1].until == at and found[-1].entry is standing[-1]:
            last = found.pop()
            found.append(PriceInForce(entry=last.entry, since=last.since, until=until, is_put_back=last.is_put_back))
        else:
            is_put_back = is_rollback and was is entry
            found.append(PriceInForce(entry=standing[-1], since=at, until=until, is_put_back=is_put_back))
    return tuple(found)


def _events(entries: Iterable[PriceHistoryEntry]) -> Iterable[tuple[datetime, bool, UUID, PriceHistoryEntry]]:
    """Each application and rollback: instant, whether it is a rollback, repricing and entry."""
    for entry in entries:
        yield entry.applied_at, False, entry.repricing, entry
        if entry.rolled_back_at is not None:
            yield entry.rolled_back_at, True, entry.repricing, entry
