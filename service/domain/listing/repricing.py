"""Whether a price in force changes, waits for confirmation or stays when rates change."""

from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.values.declared import Code, Length, NotNegative, Text, declared
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO
from service.domain.values.references import Names


@declared
class RepricingRules:
    """When a new price replaces the price in force.

    Attributes:
        least_move_share: a price that still meets its policy stays if it would change by less than this share.
        greatest_move_share: a price that would change by more than this share waits for confirmation; none waits if
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
    """Which listings to look at; each member narrows the selection.

    Attributes:
        resources: listings whose cost or sale depends on one of these at any depth, for instance "tariffs/grid".
        changed_since: listings that depend on a rate that changed after this day: its terms began later, or were
            entered, corrected or uncovered on this day or later; or on a resource without a rate. Every listing if
            exchange rates changed.
        channel: listings on this sales channel.
        product: listings of this product.
        tag: listings that carry this tag.
    """

    resources: Annotated[tuple[ResourceReference, ...], Length(at_least=1, at_most=1000)] | None = None
    changed_since: date | None = None
    channel: Annotated[Code, Names("channels")] | None = None
    product: Annotated[Code, Names("products")] | None = None
    tag: Code | None = None

    @property
    def is_empty(self) -> bool:
        return self == RepricingScope()

    def problems(self) -> Iterator[InvalidValueError]:
        if self.resources is not None and self.changed_since is not None:
            yield InvalidValueError(("changed_since",), "has no meaning beside resources; leave one of them out")


@declared
class RepricingRequest:
    """Which listings to reprice, by which rates and rules.

    Attributes:
        as_of: the day of the rates, from which the prices are in force; today in the workshop's time zone if left out.
        scope: which listings; all if left out, or with what-if rates all that depend on them.
        rules: when a new price replaces the price in force.
        confirmed: codes of listings whose prices may change by any share.
        confirm_all: whether all prices may change by any share.
        include_unchanged: whether the changes include prices that stay.
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
    """The decision about a listing's price."""

    FIRST = "first"
    CHANGED = "changed"
    SAME = "same"
    LEFT = "kept"
    HELD = "held"
    UNPRICED = "unpriced"


COMING_INTO_FORCE = frozenset({Decision.FIRST, Decision.CHANGED})
STAYING = frozenset({Decision.SAME, Decision.LEFT})


def move_share(old: Decimal, new: Decimal) -> Decimal | None:
    """(new − old) ÷ old; None from a price of 0."""
    return (new - old) / old if old else None


def decision(old: Decimal, new: Decimal, rules: RepricingRules, *, keeps_policy: bool, is_confirmed: bool) -> Decision:
    """Decides about a price in force, given the new price in the same currency.

    Args:
        keeps_policy: whether the old price still meets the policy's target and floor.
        is_confirmed: whether it may change by any share.
    """
    if new == old:
        return Decision.SAME
    move = move_share(old, new)
    if keeps_policy and move is not None and abs(move) < rules.least_move_share:
        return Decision.LEFT
    is_great = rules.greatest_move_share is not None and (move is None or abs(move) > rules.greatest_move_share)
    return Decision.HELD if is_great and not is_confirmed else Decision.CHANGED
