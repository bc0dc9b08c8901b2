"""What a unit of every part of every resource costs on a date, so that a cost is a sum of products."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.costing.rate_card import RateCard, unit_rates
from service.domain.making.resources import (
    RECLAIMED,
    STANDING,
    CostClass,
    Material,
    Overhead,
    OverheadBase,
    Tariff,
    heading,
)
from service.domain.values.errors import PugmillError
from service.domain.values.exact import ONE, ZERO, exactly
from service.domain.values.references import Registered, part_in, part_of

OPTIONAL_PARTS: Mapping[type, str] = {Material: RECLAIMED, Tariff: STANDING}
"""Parts that terms may leave out; they cost nothing then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRate:
    """What a unit of one part of a resource costs.

    Attributes:
        rate: money for a unit, in the table's currency.
        cost_class: the heading it stands under.
        variable: whether its cost rises and falls with the volume.
    """

    rate: Decimal
    cost_class: CostClass
    variable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolShare:
    """What a pool of overhead adds to the value that it is absorbed on.

    Attributes:
        base: that value.
        variable: whether it rises and falls with the volume.
        share: of the value.
    """

    base: OverheadBase
    variable: bool
    share: Decimal


def charged(pools: Iterable[PoolShare], *, variable_alone: bool = False) -> dict[CostClass | None, Decimal]:
    """What pools together add to a value of each heading that any is absorbed on, as a share of it."""
    found: dict[CostClass | None, Decimal] = {}
    for pool in pools:
        if pool.variable or not variable_alone:
            charged_on = pool.base.traits.charged
            found[charged_on] = found.get(charged_on, ZERO) + pool.share
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class RateTable:
    """The unit rates of a date.

    Attributes:
        as_of: the date.
        currency: of every rate.
        parts: by part of a resource, for instance "tariffs/grid#day".
        shares: the pools of overhead that are a share of a value, by resource.
    """

    as_of: date
    currency: str
    parts: Mapping[str, PartRate]
    shares: Mapping[str, PoolShare]

    def charged_on(self, cost_class: CostClass) -> Decimal:
        """What all pools together add to a value of this heading, as a share of it."""
        return charged(self.shares.values()).get(cost_class, ZERO)

    def full(self) -> dict[str, Decimal]:
        """What a unit of each part adds to the full cost:  rate × (1 + the shares of the pools on its value)."""
        return self._unit_costs(variable_alone=False)

    def variable(self) -> dict[str, Decimal]:
        """The same for the variable cost."""
        return self._unit_costs(variable_alone=True)

    @exactly
    def _unit_costs(self, *, variable_alone: bool) -> dict[str, Decimal]:
        shares = charged(self.shares.values(), variable_alone=variable_alone)
        factors = {
            (cost_class, variable): shares.get(cost_class, ZERO) + (ONE if variable or not variable_alone else ZERO)
            for cost_class in CostClass
            for variable in (True, False)
        }
        return {part: each.rate * factors[each.cost_class, each.variable] for part, each in self.parts.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Rating:
    """A rate table, and what could not be rated.

    Attributes:
        table: the unit rates.
        unusable: why a resource with a rate has no unit rate, by resource.
        unrated_pools: pools on a value that have no rate; no product has a cost without them.
    """

    table: RateTable
    unusable: Mapping[str, PugmillError]
    unrated_pools: tuple[str, ...]


def rating(card: RateCard, registered: Mapping[str, Registered], convert: Callable[..., Decimal]) -> Rating:
    """The unit rates of everything registered that products consume.

    Args:
        card: every rate in force on the date.
        registered: what the rates are of, by resource; pools without a rate too.
        convert: an amount in the card's currency.
    """
    parts: dict[str, PartRate] = {}
    shares: dict[str, PoolShare] = {}
    unusable: dict[str, PugmillError] = {}
    for resource, facts in registered.items():
        pool = facts if isinstance(facts, Overhead) and facts.base.is_value else None
        try:
            rates = unit_rates(card, [resource], {resource: facts} if isinstance(facts, Overhead) else {}, convert)
        except PugmillError as error:
            unusable[resource] = error
            continue
        if pool is None:
            parts.update(_parts(resource, facts, rates))
        elif rates:
            shares[resource] = PoolShare(base=pool.base, variable=pool.variable, share=rates[resource])
    return Rating(
        table=RateTable(as_of=card.as_of, currency=card.currency, parts=parts, shares=shares),
        unusable=unusable,
        unrated_pools=tuple(
            resource
            for resource, facts in registered.items()
            if isinstance(facts, Overhead) and facts.base.is_value and resource not in shares
        ),
    )


def _parts(resource: str, facts: Registered, rates: Mapping[str, Decimal]) -> dict[str, PartRate]:
    """The parts of a resource; one that its terms leave out costs nothing."""
    if not rates:
        return {}
    optional = OPTIONAL_PARTS.get(type(facts))
    priced = {**({} if optional is None else {part_of(resource, optional): ZERO}), **rates}
    found = {}
    for part, rate in priced.items():
        cost_class, variable = heading(facts, part_in(part))
        found[part] = PartRate(rate=rate, cost_class=cost_class, variable=variable)
    return found
