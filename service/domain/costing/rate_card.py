"""The rates in force on a date, and the unit rates computed from their terms."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from service.domain.costing.rates import Components, Convert, LabourRate, OverheadRate, RateTerms, ResourceTerms
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.overheads import Overhead
from service.domain.values.errors import InvalidValueError, UnknownCurrencyError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.money import currency_problems_on
from service.domain.values.references import WHOLE, Registered, part_of, whole_of


@dataclass(frozen=True, slots=True, kw_only=True)
class DatedRate:
    """The terms of a resource, for instance "tariffs/grid", in force from a day on."""

    resource: str
    valid_from: date
    terms: RateTerms


class Replaced(Mapping[str, DatedRate]):
    """Rates, with others in place of some; nothing is read of the rates that are not asked for."""

    def __init__(self, rates: Mapping[str, DatedRate], others: Mapping[str, DatedRate]) -> None:
        self._rates, self._others = rates, others

    def __getitem__(self, resource: str) -> DatedRate:
        return self._others.get(resource) or self._rates[resource]

    def __contains__(self, resource: object) -> bool:
        return resource in self._others or resource in self._rates

    def __iter__(self) -> Iterator[str]:
        return iter({**dict.fromkeys(self._rates), **dict.fromkeys(self._others)})

    def __len__(self) -> int:
        return len(self._rates.keys() | self._others.keys())


@dataclass(frozen=True, slots=True, kw_only=True)
class RateCard:
    """Every rate in force on a date, by resource; unit rates are in the currency, which is the workshop's."""

    as_of: date
    currency: str
    rates: Mapping[str, DatedRate]

    def is_fixed(self, resource: str) -> bool:
        """Whether its terms make a resource's cost fixed that would vary by its kind: labour paid by the month."""
        rate = self.rates.get(whole_of(resource))
        return rate is not None and isinstance(rate.terms, LabourRate) and rate.terms.is_paid_by_the_month

    def hours_to_work(self, resource: str, hours: Decimal | None) -> Decimal | None:
        """What is there to work of the hours a week of a machine or a labour grade; None if they are not known.

        Of a grade, what its rate says of its paid hours; all of them if it has no rate.
        """
        rate = self.rates.get(resource)
        if rate is None or not isinstance(rate.terms, LabourRate):
            return hours
        return rate.terms.hours_to_work(hours)

    def replaced(self, terms: Mapping[str, RateTerms]) -> "RateCard":
        """The card with what-if terms in force on its date."""
        what_if = {
            resource: DatedRate(resource=resource, valid_from=self.as_of, terms=each)
            for resource, each in terms.items()
        }
        return RateCard(as_of=self.as_of, currency=self.currency, rates=Replaced(self.rates, what_if))


@exactly
def unit_rates(
    card: RateCard, resources: Iterable[str], pools: Mapping[str, Overhead], convert: Convert
) -> dict[str, Decimal]:
    """The cost of one unit of every part of some resources, in the card's currency.

    Args:
        card: the rates in force; a resource without one is left out.
        resources: the resources needed; no other rate is converted.
        pools: the overhead pools by resource; a pool on a value has a share instead of an amount.
        convert: converts into the card's currency.
    """
    return sums_of(components_of(card, resources, pools, convert))


def sums_of(components: Mapping[str, Components]) -> dict[str, Decimal]:
    """The unit rate of every part, as the sum of its components."""
    return {
        part_of(resource, part): sum(amounts.values(), ZERO)
        for resource, parts in components.items()
        for part, amounts in parts.items()
    }


def components_of(
    card: RateCard, resources: Iterable[str], pools: Mapping[str, Overhead], convert: Convert
) -> dict[str, Components]:
    """The components of each unit rate, by resource; the arguments are those of `unit_rates`."""
    found: dict[str, Components] = {}
    for resource in resources:
        rate = card.rates.get(resource)
        if rate is not None:
            found[resource] = unit_components(rate, pools.get(resource), convert)
    return found


def unit_components(rate: DatedRate, registered: Registered | None, convert: Convert) -> Components:
    """The components of the unit rates of one dated rate; empty for taxes, channels and shipping services.

    `registered` is needed only for overhead pools.

    Raises:
        UnknownCurrencyError: the rate, which it names, is in a currency that has ended before the day.
        MissingExchangeRateError: the rate, which it names, cannot be converted.
    """
    terms = rate.terms
    if isinstance(terms, OverheadRate) and isinstance(registered, Overhead) and registered.base.is_value:
        return {WHOLE: {"share": terms.share()}}
    named = f"the rate of {rate.resource} from {rate.valid_from}"
    try:
        return terms.components(convert) if isinstance(terms, ResourceTerms) else {}
    except MissingExchangeRateError as error:
        error.needed_by = named
        raise
    except UnknownCurrencyError as error:
        raise UnknownCurrencyError(error.code, error.ended_on, error.successor, named) from None


def rate_problems(terms: RateTerms, registered: Any, valid_from: date) -> list[InvalidValueError]:
    """What is wrong with terms for the thing that they belong to, and for the day that they begin on."""
    problems_with = getattr(terms, "problems_with", None)
    of_thing = problems_with(registered) if problems_with else ()
    return [*of_thing, *currency_problems_on(terms, valid_from)]
