"""The result of a repricing, as shown."""

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from uuid import UUID

from service.domain.costing.rate_card import RateCard
from service.domain.costing.rate_table import RateTable
from service.domain.costing.variance import Cause, RateChange
from service.domain.currency.exchange_rates import ExchangeRates, UsedRates
from service.domain.listing.repricing import Decision
from service.domain.values.exact import SHARE_DECIMALS, apportioned, half_up
from service.domain.values.money import Money
from service.domain.values.shown import WITH_MORE_DIGITS
from service.domain.values.units import Unit

Effects = tuple[tuple[str, Cause, Decimal], ...]
"""Unrounded contributions to the change in cost of a piece: resource, cause and amount."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceNow:
    """The price that is asked now.

    Attributes:
        price: as it is displayed on the channel.
        base_quantity: pieces, or units, that the price is for.
        unit_cost: what a piece, or unit, costs now.
        margin_share: profit ÷ net price at this price; none at a net price of 0.
    """

    price: Money
    base_quantity: int = 1
    unit_cost: Money
    margin_share: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBefore(PriceNow):
    """The price in force before, on the first day of the new one.

    Attributes:
        unit_cost: what a piece, or unit, cost then.
        margin_share: profit ÷ net price then; none at a net price of 0.
        as_of: the day whose rates it was computed with.
        repricing: the repricing that set it.
    """

    as_of: date
    repricing: UUID


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedEffect:
    """What one change contributed to the change in the cost of a piece, or unit.

    Attributes:
        resource: the part of a resource that changed, for instance "tariffs/grid#day"; or the product.
        cause: its rate; the exchange rate that converts it; or the product: what a piece takes has changed, because it
            is made, ordered or charged with overhead another way now.
        amount: rounded so that all effects add up to the new unit cost less the old one.
    """

    resource: str
    cause: Cause
    amount: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceChange:
    """The decision about one listing's price, with its reasons.

    Attributes:
        listing: its code.
        product: code of its product.
        unit: what that is sold by, and both costs are for one of.
        channel: code of its sales channel.
        decision: first: it had no price in force; changed: the new price replaces the old; same: the price has not
            changed; kept: the old price still meets its policy and the change is too small; held: the change is too
            large and waits for confirmation; unpriced: no price can be found.
        old: the price in force; null for a first one.
        new: the price asked; if first or changed, in force from its day on once the repricing is applied. Null if
            unpriced.
        kept_margin_share: the margin of the old price at the new cost; null in another currency or for another base
            quantity.
        move_share: (new price − old price) ÷ old price, both of a piece if the base quantity is another one; null
            from a price of 0 or in another currency.
        effects: the contribution of each changed rate, and of the product, to the change in cost; they add up to it.
        problem: why no price can be found, and the remedy.
    """

    listing: str
    product: str
    unit: Unit = Unit.PIECE
    channel: str
    decision: Decision
    old: PriceBefore | None
    new: PriceNow | None
    kept_margin_share: Decimal | None
    move_share: Decimal | None
    effects: tuple[StatedEffect, ...]
    problem: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingSummary:
    """The number of listings by decision.

    Attributes:
        listings: all listings in the scope.
        first: listings with a first price.
        changed: listings with a new price.
        same: listings whose price has not changed.
        kept: listings whose change is too small.
        held: listings whose new price waits for confirmation.
        unpriced: listings without a price.
    """

    listings: int
    first: int
    changed: int
    same: int
    kept: int
    held: int
    unpriced: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingFigures:
    """The result of a repricing for all listings together.

    Attributes:
        rate_changes: rates that changed since the prices in force were computed and that affect a listing looked at.
        later_days: days after the first one of these prices from which others are set, which stay.
    """

    summary: RepricingSummary
    rate_changes: tuple[RateChange, ...]
    exchange_rates: tuple[UsedRates, ...]
    later_days: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RepricingBasis:
    """The unit rates, the terms of resources and sales, and the exchange rates that a repricing used."""

    table: RateTable
    card: RateCard
    exchange: ExchangeRates


_NULL = "null"
_TOLD = {each: each.value for each in Decision}


class ChangeWriter:
    """Writes a `PriceChange` as JSON text directly, for speed: a repricing writes one for each listing.

    Codes, currencies and figures are made of characters that JSON takes as they are.
    """

    def __init__(self, home: str) -> None:
        """Take the workshop's currency."""
        self._home, self._decimals = home, WITH_MORE_DIGITS.decimals_in(home)

    def share(self, share: Decimal | None) -> str | None:
        """A share as shown."""
        return None if share is None else str(half_up(share, SHARE_DECIMALS))

    def cost(self, amount: Decimal) -> Decimal:
        """A cost as shown."""
        return half_up(amount, self._decimals)

    def money(self, cost: Decimal) -> str:
        """JSON of a cost as shown."""
        return f'{{"amount":"{cost:f}","currency":"{self._home}"}}'

    def priced(self, price: str, currency: str, base_quantity: int, cost: str, margin: str | None) -> str:
        """JSON of a price at the minor unit with the cost of a piece, and its margin as shown."""
        return (
            f'{{"price":{{"amount":"{price}","currency":"{currency}"}},"base_quantity":{base_quantity},'
            f'"unit_cost":{cost},"margin_share":{_text(margin)}}}'
        )

    def set_by(self, priced: str, as_of: str, repricing: str) -> str:
        """JSON of a price with the day and id of the repricing that set it."""
        return f'{priced[:-1]},"as_of":"{as_of}","repricing":"{repricing}"}}'

    def effects(self, old_cost: Decimal, new_cost: Decimal, effects: Effects) -> str:
        """JSON of the contributions, rounded to add up to the difference of the shown costs."""
        if not effects:
            return "[]"
        total, amounts = new_cost - old_cost, [each[2] for each in effects]
        shown = (total,) if len(amounts) == 1 else apportioned(amounts, self._decimals, total)
        stated = ",".join(
            f'{{"resource":"{resource}","cause":"{cause.value}","amount":{self.money(amount)}}}'
            for (resource, cause, _), amount in zip(effects, shown, strict=True)
        )
        return f"[{stated}]"

    def change(
        self,
        of: tuple[str, str, str, str],
        decided: Decision,
        prices: tuple[str | None, str | None],
        shares: tuple[str | None, str | None] = (None, None),
        effects: str = "[]",
        problem: str = _NULL,
    ) -> str:
        """The whole, from JSON of its parts.

        Args:
            of: codes of listing, product and channel, and the unit.
            prices: JSON of the old and the new one.
            shares: the margin kept, and that by which the price moves, as shown.
            problem: JSON of the message.
        """
        listing, product, channel, unit = of
        return (
            f'{{"listing":"{listing}","product":"{product}","unit":"{unit}","channel":"{channel}",'
            f'"decision":"{_TOLD[decided]}","old":{prices[0] or _NULL},"new":{prices[1] or _NULL},'
            f'"kept_margin_share":{_text(shares[0])},"move_share":{_text(shares[1])},"effects":{effects},'
            f'"problem":{problem}}}'
        )


def _text(share: str | None) -> str:
    return _NULL if share is None else f'"{share}"'
