"""The fixed costs of a month."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import Convert, LabourRate, MachineRate, OverheadRate, TariffRate
from service.domain.making.overheads import Overhead
from service.domain.values.exact import MONTHS_PER_YEAR, ZERO, exactly
from service.domain.values.references import Registered


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedCost:
    """One fixed cost of a month, unrounded, in the workshop's currency; without a resource if it has no rate."""

    resource: str | None
    name: str
    components: Mapping[str, Decimal]

    @property
    def amount(self) -> Decimal:
        return sum(self.components.values(), ZERO)


@exactly
def fixed_costs(rates: Iterable[tuple[DatedRate, Registered]], convert: Convert) -> list[FixedCost]:
    """The fixed cost a month of every machine, labour grade paid by the month, tariff and fixed overhead pool.

    A machine costs a twelfth of its cost a year, however much it runs; a grade its whole pay, worked or not; a tariff
    its standing and demand charges; a pool its monthly amount. Fixed is what does not change with the volume within the
    month: common practice, no source.
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
        case TariffRate() | LabourRate():
            amounts = rate.terms.per_month(convert)
        case OverheadRate() if isinstance(facts, Overhead) and not facts.variable:
            amounts = {"overhead": convert(rate.terms.amount_per_month)}
    return ((name, amount) for name, amount in amounts.items() if amount)
