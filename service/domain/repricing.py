"""What a change of rates does to a price in force: whether it moves, and what each rate contributed."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.cost_sheet import CHARGED
from service.domain.making.bill_of_resources import BatchBill
from service.domain.rate_table import RateTable
from service.domain.values.declared import Code, Length, NotNegative, Text, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ONE, ZERO, exactly

_OVERHEADS = "overheads/"


@declared
class RepricingRules:
    """When a price in force gives way to the price that is asked now.

    Attributes:
        least_move_share: a price that still meets its policy stays where the new one is less than this share away.
        greatest_move_share: a price that would move by more than this share waits for confirmation; none waits if
            left out.
    """

    least_move_share: NotNegative = ZERO
    greatest_move_share: NotNegative | None = None

    def problems(self) -> Iterator[InvalidValueError]:
        if self.greatest_move_share is not None and self.greatest_move_share < self.least_move_share:
            reason = "must not be below least_move_share: every change would wait for confirmation"
            yield InvalidValueError(("greatest_move_share",), reason)


ResourceReference = Annotated[
    str,
    Text(
        max_length=128,
        pattern=r"[a-z-]+/[A-Za-z0-9][A-Za-z0-9._-]*",
        form="a collection, a slash and a code, such as tariffs/grid",
    ),
]


@declared
class RepricingScope:
    """Which listings are looked at; each member narrows it.

    Attributes:
        resources: listings whose cost or sale rests on one of these through any depth, for instance "tariffs/grid".
        changed_since: listings that rest on a rate which changed after this day: its terms began later, or were
            entered, corrected or uncovered on this day or later; or which has no rate at all. Where exchange rates
            changed so, every listing.
        channel: listings on this sales channel.
        product: listings of this product.
        tag: listings that carry this tag.
    """

    resources: Annotated[tuple[ResourceReference, ...], Length(at_least=1, at_most=1000)] | None = None
    changed_since: date | None = None
    channel: Code | None = None
    product: Code | None = None
    tag: Code | None = None

    @property
    def is_empty(self) -> bool:
        """Whether it narrows nothing."""
        return self == RepricingScope()

    def problems(self) -> Iterator[InvalidValueError]:
        if self.resources is not None and self.changed_since is not None:
            yield InvalidValueError(("changed_since",), "has no meaning beside resources; leave one of them out")


@declared
class RepricingRequest:
    """Which listings to price anew, by which rates and rules.

    Attributes:
        as_of: the day whose rates are used; today in the workshop's time zone if left out.
        scope: which listings; every one if left out, with what-if rates every one that rests on them.
        rules: when a price in force gives way.
        confirmed: codes of listings whose prices may move by any share.
        confirm_all: whether all may.
        include_unchanged: whether the changes tell also of prices that stay.
    """

    as_of: date | None = None
    scope: RepricingScope | None = None
    rules: RepricingRules = RepricingRules()
    confirmed: Annotated[tuple[Code, ...], Length(at_most=1000)] = ()
    confirm_all: bool = False
    include_unchanged: bool = False

    def problems(self) -> Iterator[InvalidValueError]:
        if self.scope is not None and self.scope.is_empty:
            yield InvalidValueError(("scope",), "is empty; leave it out for every listing, or name what narrows it")


class Decision(StrEnum):
    """What becomes of a listing's price."""

    FIRST = "first"
    CHANGED = "changed"
    SAME = "same"
    KEPT = "kept"
    HELD = "held"
    UNPRICED = "unpriced"


COMING_INTO_FORCE = frozenset({Decision.FIRST, Decision.CHANGED})
STAYING = frozenset({Decision.SAME, Decision.KEPT})


def move_share(old: Decimal, new: Decimal) -> Decimal | None:
    """By what share of the old price the new one is higher; None from a price of 0."""
    return (new - old) / old if old else None


def decision(old: Decimal, new: Decimal, rules: RepricingRules, *, keeps_policy: bool, is_confirmed: bool) -> Decision:
    """What becomes of a price in force, given what is asked now in the same currency.

    Args:
        old: the price in force.
        new: what is asked now.
        rules: when one gives way to the other.
        keeps_policy: whether the old price still meets the policy's target and floor.
        is_confirmed: whether it may move by any share.
    """
    if new == old:
        return Decision.SAME
    move = move_share(old, new)
    if keeps_policy and move is not None and abs(move) < rules.least_move_share:
        return Decision.KEPT
    is_great = rules.greatest_move_share is not None and (move is None or abs(move) > rules.greatest_move_share)
    return Decision.HELD if is_great and not is_confirmed else Decision.CHANGED


class Cause(StrEnum):
    """Why a cost changed."""

    RATE = "rate"
    EXCHANGE_RATE = "exchange_rate"
    PRODUCT = "product"


@dataclass(frozen=True, slots=True, kw_only=True)
class RateChange:
    """What one unit of something cost before and costs now.

    Attributes:
        resource: which part of which resource, for instance "tariffs/grid#day".
        since: the day whose rates the prices before were made with.
        cause: whether its own terms changed, or an exchange rate that they are converted with.
        old_rate: money for a unit before; for a share of a value, the share.
        new_rate: the same now.
    """

    resource: str
    since: date
    cause: Cause
    old_rate: Decimal
    new_rate: Decimal


class Comparison:
    """What moved between two rate tables, and what that does to the cost of whatever consumes it.

    The cost is a sum of quantities times rates, so each rate that moved contributes its own amount, and the quantity is
    all that differs between products:  quantity × (new rate − old rate) × (1 + old shares of the pools on its value),
    and for a pool on a value  quantity × new rate × (new share − old share). These add up to the change in cost.

    Attributes:
        changes: what moved.
        contributions: by part, the place of each change that it has a share in, and the amount for one unit.
    """

    @exactly
    def __init__(
        self, before: RateTable, after: RateTable, converted_anew: Callable[[str], Mapping[str, Decimal]]
    ) -> None:
        """Compare the tables.

        Args:
            before: the older one.
            after: the newer one.
            converted_anew: the older unit rates of a resource's parts with the newer exchange rates.
        """
        self.changes: list[RateChange] = []
        self.contributions: dict[str, list[tuple[int, Decimal]]] = {}
        self._since = before.as_of
        self._compare_parts(before, after, converted_anew)
        self._compare_pools(before, after)

    def _compare_parts(
        self, before: RateTable, after: RateTable, converted_anew: Callable[[str], Mapping[str, Decimal]]
    ) -> None:
        for part, new in after.parts.items():
            old = before.parts.get(part)
            if old is None and not part.startswith(_OVERHEADS):
                continue  # the product did not consume it: that is the product's change, not a rate's
            old_rate = ZERO if old is None else old.rate
            if new.rate == old_rate:
                continue
            added = ONE if old is None else ONE + before.charged_on(old.cost_class)
            between = converted_anew(part.partition("#")[0]).get(part, old_rate)
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
                if each.cost_class is CHARGED[pool.base] and part in before.parts:
                    amount = each.rate * (new_share - old_share)
                    self.contributions.setdefault(part, []).append((place, amount))

    def _place(self, resource: str, cause: Cause, old_rate: Decimal, new_rate: Decimal) -> int:
        self.changes.append(
            RateChange(resource=resource, since=self._since, cause=cause, old_rate=old_rate, new_rate=new_rate)
        )
        return len(self.changes) - 1


def unit_cost(bill: BatchBill, rates: Mapping[str, Decimal]) -> Decimal:
    """What a piece costs:  the sum of quantity × rate, divided by the pieces.

    Raises:
        KeyError: a part has no rate.
    """
    total = ZERO
    for part, quantity in bill.quantities.items():
        total += quantity * rates[part]
    return total / bill.pieces


@exactly
def unit_effects(bill: BatchBill, comparison: Comparison) -> dict[int, Decimal]:
    """What each change contributed to the cost of a piece, by its place in the comparison."""
    found: dict[int, Decimal] = {}
    contributions, quantities = comparison.contributions, bill.quantities
    for part in contributions.keys() & quantities.keys():
        for place, amount in contributions[part]:
            found[place] = found.get(place, ZERO) + quantities[part] * amount
    return {place: found[place] / bill.pieces for place in sorted(found) if found[place]}


_HAIR = Decimal("1E-24")


@exactly
def product_effect(change: Decimal, effects: Sequence[Decimal], old_cost: Decimal) -> Decimal:
    """What is left of a change in cost when every rate has its share: the product is made another way now.

    What is no more than the last digits of the costs is nothing.
    """
    left = change - sum(effects, ZERO)
    return left if abs(left) > _HAIR * max(abs(old_cost), abs(old_cost + change)) else ZERO
