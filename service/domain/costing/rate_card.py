"""The rates in force on a date, and the unit rates that follow from their terms."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from service.domain.costing.rates import Components, Convert, OverheadRate, RateTerms, ResourceTerms
from service.domain.making.resources import Overhead
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.references import WHOLE, Registered, part_of


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedRate:
    """The terms in force from a date on.

    Attributes:
        resource: whose rate it is, for instance "tariffs/grid".
        valid_from: the first day.
        terms: what it costs.
    """

    resource: str
    valid_from: date
    terms: RateTerms


@dataclass(frozen=True, slots=True, kw_only=True)
class RateCard:
    """Every rate in force on one date.

    Attributes:
        as_of: the date.
        currency: the workshop's currency, in which unit rates are given.
        rates: by resource.
    """

    as_of: date
    currency: str
    rates: Mapping[str, DatedRate]

    def replaced(self, terms: Mapping[str, RateTerms]) -> "RateCard":
        """The card as it would be if these terms were in force on its date."""
        what_if = {
            resource: DatedRate(resource=resource, valid_from=self.as_of, terms=each)
            for resource, each in terms.items()
        }
        return RateCard(as_of=self.as_of, currency=self.currency, rates={**self.rates, **what_if})


@exactly
def unit_rates(
    card: RateCard, resources: Iterable[str], pools: Mapping[str, Overhead], convert: Convert
) -> dict[str, Decimal]:
    """What one unit of every part of some resources costs, in the card's currency.

    Args:
        card: the rates in force; a resource without one is left out.
        resources: those that are needed, so that no other is converted.
        pools: the overhead pools by resource; a pool on a value has a share instead of an amount.
        convert: an amount in the card's currency.
    """
    return sums_of(components_of(card, resources, pools, convert))


def sums_of(components: Mapping[str, Components]) -> dict[str, Decimal]:
    """The unit rate of every part of some resources, from what it is put together from."""
    return {
        part_of(resource, part): sum(amounts.values(), ZERO)
        for resource, parts in components.items()
        for part, amounts in parts.items()
    }


def components_of(
    card: RateCard, resources: Iterable[str], pools: Mapping[str, Overhead], convert: Convert
) -> dict[str, Components]:
    """What each unit rate is put together from, by resource; the arguments are those of unit_rates."""
    found: dict[str, Components] = {}
    for resource in resources:
        rate = card.rates.get(resource)
        if rate is not None:
            found[resource] = unit_components(rate, pools.get(resource), convert)
    return found


def unit_components(rate: DatedRate, registered: Registered | None, convert: Convert) -> Components:
    """What the unit rates of one dated rate are put together from; nothing for what a sale rests on.

    Args:
        rate: the terms in force.
        registered: what they are of; of a pool of overhead at least.
        convert: an amount in the currency of the unit rates.
    """
    terms = rate.terms
    if isinstance(terms, OverheadRate) and isinstance(registered, Overhead) and registered.base.is_value:
        return {WHOLE: {"share": terms.share()}}
    return terms.components(convert) if isinstance(terms, ResourceTerms) else {}


def rate_problems(terms: RateTerms, registered: Any) -> list[InvalidValueError]:
    """What is wrong with terms for the thing they are registered under."""
    problems_with = getattr(terms, "problems_with", None)
    return list(problems_with(registered)) if problems_with else []
