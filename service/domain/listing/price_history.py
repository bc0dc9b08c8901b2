"""The price history of a listing."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from service.domain.values.exact import exactly
from service.domain.values.money import Money, in_currency
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceHistoryEntry:
    """A price that a repricing set on a listing.

    Attributes:
        repricing: id of the repricing.
        as_of: the day whose rates it was computed from.
        valid_from: the first day on which it is in force.
        applied_at: when it was set; in force since then, or since the beginning of its first day if that is later.
        applied_by: name of the key that it was applied with.
        rolled_back_at: when it was taken back; none if it never was.
        price: as displayed on the channel, in the listing's currency.
        unit: what the product is sold by.
        base_quantity: pieces, or units, that the price is for.
        unit_cost: what a piece, or unit, costs, in the workshop's currency, with four digits more than the minor unit.
        margin_share: profit ÷ net price; none at a net price of 0.
    """

    repricing: UUID
    as_of: date
    valid_from: date
    applied_at: datetime
    applied_by: str
    rolled_back_at: datetime | None
    price: Money
    unit: Unit = Unit.PIECE
    base_quantity: int = 1
    unit_cost: Money
    margin_share: Decimal | None

    @property
    @exactly
    def price_of_a_piece(self) -> Money:
        """Price ÷ base quantity, unrounded."""
        return in_currency(self.price.amount / self.base_quantity, self.price.currency)

    def since(self, zone: ZoneInfo) -> datetime:
        """The instant from which it is in force, if it is not taken back before."""
        return max(self.applied_at, datetime.combine(self.valid_from, time(), zone))


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


def prices_in_force(entries: Iterable[PriceHistoryEntry], zone: ZoneInfo) -> tuple[PriceInForce, ...]:
    """The periods of a listing's prices in order; the entries may come in any order.

    Of the prices that stand, the one with the latest first day is in force; of one day, the one applied last. So what
    is set for a later day stays when a price for an earlier one is set or taken back. A price replaced in the instant
    of its beginning was never in force. Of two applied in one instant the repricing with the greater id is later
    (UUIDs of version 7 rise with time).

    Args:
        zone: the workshop's; decides when a day begins.

    Source: RFC 9562, Universally Unique IDentifiers (UUIDs), section 5.7, 2024.
    """
    found: list[PriceInForce] = []
    standing: list[PriceHistoryEntry] = []
    events = sorted(_events(entries, zone), key=lambda event: event[:4])
    for place, (at, is_rollback, *_, entry) in enumerate(events):
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
            is_put_back = is_rollback and was is entry and bool(found) and found[-1].entry is entry
            found.append(PriceInForce(entry=standing[-1], since=at, until=until, is_put_back=is_put_back))
    return tuple(found)


_Event = tuple[datetime, bool, datetime, UUID, PriceHistoryEntry]


def _events(entries: Iterable[PriceHistoryEntry], zone: ZoneInfo) -> Iterable[_Event]:
    """Each beginning and end: instant, whether it is an end, when the price was applied, repricing and entry.

    No price is applied for a day that is over, so beginnings in this order are also in order of their first days.
    """
    for entry in entries:
        since = entry.since(zone)
        yield since, False, entry.applied_at, entry.repricing, entry
        if entry.rolled_back_at is not None:
            yield max(since, entry.rolled_back_at), True, entry.applied_at, entry.repricing, entry
