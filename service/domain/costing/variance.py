"""Cost variance: what each changed rate contributed to the change in a cost."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.costing.rate_table import RateTable
from service.domain.making.bill_of_resources import BatchBill
from service.domain.values.exact import ONE, ZERO, exactly, known
from service.domain.values.references import whole_of
from service.domain.values.shown import ShownAs

_OVERHEADS = "overheads/"
AnyRate = Annotated[Decimal, ShownAs(known, 12)]


class Cause(StrEnum):
    """Why a cost changed.

    Product: what a piece takes has changed. It is made, ordered or charged with overhead another way: by its own facts,
    those of its parts and machines, the order of its listing, or what a pool bears on.
    """

    RATE = "rate"
    EXCHANGE_RATE = "exchange_rate"
    PRODUCT = "product"


@dataclass(frozen=True, slots=True, kw_only=True)
class RateChange:
    """The cost of one unit of a resource before and now.

    Attributes:
        resource: the part of a resource, for instance "tariffs/grid#day".
        since: the day whose rates the earlier prices were computed from.
        cause: whether its own terms changed, or the exchange rate that converts them.
        old_rate: earlier money for a unit; for a share of a value, the share.
        new_rate: the same now.
    """

    resource: str
    since: date
    cause: Cause
    old_rate: AnyRate
    new_rate: AnyRate


class Comparison:
    """The rates that differ between two rate tables, and what they contribute to the cost of a product.

    A cost is a sum of quantities times rates, so each changed rate contributes
    quantity × (new rate − old rate) × (1 + old shares of the pools on its value),  and a pool on a value
    quantity × new rate × (new share − old share). A pool by the hour or piece that is gone takes away
    old quantity × old rate. These add up to the change in cost.

    Attributes:
        contributions: by part, the index of each change that affects it, and the amount for one unit.
        gone: by pool that is gone, the index of that change, and the amount for one unit of its old quantity.
    """

    @exactly
    def __init__(
        self, before: RateTable, after: RateTable, converted_anew: Callable[[str], Mapping[str, Decimal]]
    ) -> None:
        """Compare two tables; `converted_anew` gives the old unit rates of a resource at the new exchange rates."""
        self.changes: list[RateChange] = []
        self.contributions: dict[str, list[tuple[int, Decimal]]] = {}
        self.gone: dict[str, tuple[int, Decimal]] = {}
        self._since = before.as_of
        self._compare_parts(before, after, converted_anew)
        self._compare_pools(before, after)
        self._find_gone(before, after)

    def _compare_parts(
        self, before: RateTable, after: RateTable, converted_anew: Callable[[str], Mapping[str, Decimal]]
    ) -> None:
        for part, new in after.parts.items():
            old = before.parts.get(part)
            if old is None and not part.startswith(_OVERHEADS):
                continue  # not consumed before: a change of the product, not of a rate
            old_rate = ZERO if old is None else old.rate
            if new.rate == old_rate:
                continue
            added = ONE if old is None else ONE + before.charged_on(old.cost_class)
            between = converted_anew(whole_of(part)).get(part, old_rate)
            self._add(part, Cause.EXCHANGE_RATE, old_rate, between, added)
            self._add(part, Cause.RATE, between, new.rate, added)

    def _add(self, part: str, cause: Cause, old_rate: Decimal, new_rate: Decimal, added: Decimal) -> None:
        if new_rate != old_rate:
            place = self._place(part, cause, old_rate, new_rate)
            self.contributions.setdefault(part, []).append((place, (new_rate - old_rate) * added))

    def _compare_pools(self, before: RateTable, after: RateTable) -> None:
        pools = {**before.shares, **after.shares}
        for resource, pool in pools.items():
            old, new = (table.shares.get(resource) for table in (before, after))
            old_share, new_share = (ZERO if each is None else each.share for each in (old, new))
            if new_share == old_share:
                continue
            place = self._place(resource, Cause.RATE, old_share, new_share)
            for part, each in after.parts.items():
                if each.cost_class is pool.base.traits.charged and part in before.parts:
                    amount = each.rate * (new_share - old_share)
                    self.contributions.setdefault(part, []).append((place, amount))

    def _find_gone(self, before: RateTable, after: RateTable) -> None:
        for part, old in before.parts.items():
            if part.startswith(_OVERHEADS) and part not in after.parts and old.rate:
                self.gone[part] = self._place(part, Cause.RATE, old.rate, ZERO), -old.rate

    def _place(self, resource: str, cause: Cause, old_rate: Decimal, new_rate: Decimal) -> int:
        self.changes.append(
            RateChange(resource=resource, since=self._since, cause=cause, old_rate=old_rate, new_rate=new_rate)
        )
        return len(self.changes) - 1


def unit_costs(bill: BatchBill, rates: Mapping[str, tuple[Decimal, Decimal]]) -> tuple[Decimal, Decimal]:
    """The full and the variable cost of a piece:  Σ quantity × rate ÷ pieces.

    Args:
        rates: what a unit of each part adds to the one and to the other; mostly the same object twice.

    Raises:
        KeyError: a part has no rate.
    """
    full = variable = ZERO
    for part, quantity in bill.quantities.items():
        rate, of_variable = rates[part]
        amount = quantity * rate
        full += amount
        variable += amount if of_variable is rate else quantity * of_variable
    return full / bill.pieces, variable / bill.pieces


@exactly
def unit_effects(bill: BatchBill, earlier: BatchBill, comparison: Comparison) -> dict[int, Decimal]:
    """What each change contributed to the cost of a piece, by its index in the comparison.

    Args:
        bill: what is consumed now.
        earlier: what was consumed at the old rates; pools that are gone are in no other bill.
    """
    found: dict[int, Decimal] = {}
    contributions, quantities = comparison.contributions, bill.quantities
    few, many = (contributions, quantities) if len(contributions) < len(quantities) else (quantities, contributions)
    for part in few:
        if part in many:
            for place, amount in contributions[part]:
                found[place] = found.get(place, ZERO) + quantities[part] * amount
    effects = {place: amount / bill.pieces for place, amount in found.items()}
    for part in comparison.gone.keys() & earlier.quantities.keys():
        place, amount = comparison.gone[part]
        effects[place] = earlier.quantities[part] * amount / earlier.pieces
    return {place: effects[place] for place in sorted(effects) if effects[place]}


_ROUNDING_ERROR = Decimal("1E-24")


@exactly
def product_effect(change: Decimal, effects: Sequence[Decimal], old_cost: Decimal) -> Decimal:
    """The part of a change in cost that no rate explains: a piece takes other quantities. 0 within rounding."""
    left = change - sum(effects, ZERO)
    return left if abs(left) > _ROUNDING_ERROR * max(abs(old_cost), abs(old_cost + change)) else ZERO
