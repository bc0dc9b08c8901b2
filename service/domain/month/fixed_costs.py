"""What a month costs however much is made in it."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import Convert, MachineRate, OverheadRate, TariffRate
from service.domain.making.resources import Overhead
from service.domain.values.exact import MONTHS_PER_YEAR, ZERO, exactly
from service.domain.values.references import Registered


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedCost:
    """One fixed cost of a month, unrounded, in the workshop's currency.

    Attributes:
        resource: whose it is, for instance "machines/press"; None for what no rate tells.
        name: what the workshop calls it.
        components: the named amounts that add up to it.
    """

    resource: str | None
    name: str
    components: Mapping[str, Decimal]

    @property
    def amount(self) -> Decimal:
        """What it comes to."""
        return sum(self.components.values(), ZERO)


@exactly
def fixed_costs(rates: Iterable[tuple[DatedRate, Registered]], convert: Convert) -> list[FixedCost]:
    """What every machine, tariff and fixed pool of overhead costs a month.

    A machine costs a twelfth of what keeping it costs a year, whether it runs its planned hours or not; a tariff its
    standing and demand charges; a pool its monthly amount. A variable pool rises with the volume and is none.

    Source: fixed cost as that which does not change with the volume within the month; common practice, no source.
    """
    found = (
        FixedCost(resource=rate.resource, name=facts.name, components=dict(_components(rate, facts, convert)))
        for rate, facts in rates
    )
    return [each for each in found if each.components]


def _components(rate: DatedRate, facts: Registered, convert: Convert) -> Iterator[tuple[str, Decimal]]:
    amounts: Mapping[str, Decimal] = {}
    match rate.terms:
        case MachineRate():
            amounts = {name: each / MONTHS_PER_YEAR for name, each in rate.terms.per_year(convert).items()}
        case TariffRate():
            amounts = rate.terms.per_month(convert)
        case OverheadRate() if isinstance(facts, Overhead) and not facts.variable:
            amounts = {"overhead": convert(rate.terms.amount_per_month)}
    return ((name, amount) for name, amount in amounts.items() if amount)
