"""The unit rates of every part of every resource on a date, so that a cost is a sum of products."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.costing.rate_card import RateCard, unit_rates
from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import Overhead, OverheadBase
from service.domain.making.resources import DISPOSED, RECLAIMED, STANDING, Material, Tariff, heading
from service.domain.values.errors import PugmillError
from service.domain.values.exact import ONE, ZERO, exactly
from service.domain.values.references import Registered, part_in, part_of

OPTIONAL_PARTS: Mapping[type, tuple[str, ...]] = {Material: (RECLAIMED, DISPOSED), Tariff: (STANDING,)}
"""Parts that terms may leave out; these then cost nothing."""
_OPTIONAL = frozenset(part for parts in OPTIONAL_PARTS.values() for part in parts)


def is_optional(part: str) -> bool:
    """Whether terms may leave out this part of a resource."""
    return part in _OPTIONAL


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRate:
    """The cost of a unit of one part of a resource, in the table's currency."""

    rate: Decimal
    cost_class: CostClass
    variable: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolShare:
    """A pool of overhead as a share of the value that it is absorbed on."""

    base: OverheadBase
    variable: bool
    share: Decimal


def charged(pools: Iterable[PoolShare], *, variable_alone: bool = False) -> dict[CostClass | None, Decimal]:
    """The total share that pools add to the value of each heading."""
    found: dict[CostClass | None, Decimal] = {}
    for pool in pools:
        if pool.variable or not variable_alone:
            charged_on = pool.base.traits.charged
            found[charged_on] = found.get(charged_on, ZERO) + pool.share
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class RateTable:
    """The unit rates of a date, in one currency.

    Attributes:
        parts: by part of a resource, for instance "tariffs/grid#day".
        shares: the pools on a value, by resource.
    """

    as_of: date
    currency: str
    parts: Mapping[str, PartRate]
    shares: Mapping[str, PoolShare]

    def charged_on(self, cost_class: CostClass) -> Decimal:
        """The total share that all pools add to the value of this heading."""
        return charged(self.shares.values()).get(cost_class, ZERO)

    def full(self) -> dict[str, Decimal]:
        """What a unit of each part adds to the full cost:  rate × (1 + shares of the pools on its value)."""
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
    """A rate table, and what has no unit rate.

    Attributes:
        unusable: the errors of resources whose rates give no unit rate.
        unrated_pools: overhead pools without a rate; they cost nothing until their first one.
    """

    table: RateTable
    unusable: Mapping[str, PugmillError]
    unrated_pools: tuple[str, ...]


def rating(card: RateCard, registered: Mapping[str, Registered], convert: Callable[..., Decimal]) -> Rating:
    """The unit rates of all registered resources, with pools that have no rate; converted into the card's currency."""
    parts: dict[str, PartRate] = {}
    shares: dict[str, PoolShare] = {}
    unusable: dict[str, PugmillError] = {}
    unrated: list[str] = []
    for resource, facts in registered.items():
        pool = facts if isinstance(facts, Overhead) and facts.base.is_value else None
        try:
            rates = unit_rates(card, [resource], {resource: facts} if isinstance(facts, Overhead) else {}, convert)
        except PugmillError as error:
            unusable[resource] = error
            continue
        if not rates and isinstance(facts, Overhead):
            unrated.append(resource)
        elif pool is None:
            parts.update(_parts(resource, facts, rates, card))
        else:
            shares[resource] = PoolShare(base=pool.base, variable=pool.variable, share=rates[resource])
    return Rating(
        table=RateTable(as_of=card.as_of, currency=card.currency, parts=parts, shares=shares),
        unusable=unusable,
        unrated_pools=tuple(unrated),
    )


def _parts(resource: str, facts: Registered, rates: Mapping[str, Decimal], card: RateCard) -> dict[str, PartRate]:
    """The parts of a resource; parts that its terms leave out cost nothing."""
    if not rates:
        return {}
    optional = OPTIONAL_PARTS.get(type(facts), ())
    priced = {**{part_of(resource, part): ZERO for part in optional}, **rates}
    found = {}
    for part, rate in priced.items():
        cost_class, variable = heading(facts, part_in(part))
        found[part] = PartRate(rate=rate, cost_class=cost_class, variable=variable and not card.is_fixed(resource))
    return found
