"""The fixed costs of a month, and what pieces absorb of them."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

from service.domain.costing.cost_sheet import CostSheet
from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import Convert, LabourRate, MachineRate, OverheadRate, TariffRate
from service.domain.making.cost_classes import CostClass
from service.domain.making.overheads import Overhead
from service.domain.values.exact import MONTHS_PER_YEAR, ZERO, exactly
from service.domain.values.references import Registered, whole_of


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Absorbed:
    """The fixed cost of a resource that a piece bears by its cost sheet, unrounded, in the workshop's currency."""

    resource: str
    name: str
    amount: Decimal


@exactly
def absorbed_by_a_piece(sheet: CostSheet) -> tuple[Absorbed, ...]:
    """The fixed lines of a cost sheet, for a piece, without the tools: a month counts these in its contribution."""
    fixed = (line for line in sheet.lines if not line.variable and line.cost_class is not CostClass.TOOLING)
    return tuple(
        Absorbed(resource=whole_of(line.resource), name=line.name, amount=line.amount / sheet.quantity)
        for line in fixed
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Absorption:
    """What a month bears of a resource, and what its planned pieces absorb; `AbsorptionStatement` shows it."""

    resource: str
    name: str
    incurred: Decimal
    absorbed: Decimal
    is_left_out: bool = False


def absorptions(
    costs: Iterable[FixedCost], planned: Iterable[tuple[Decimal, Iterable[Absorbed]]]
) -> tuple[Absorption, ...]:
    """First the resources whose fixed cost the month bears, then those that it leaves out and pieces absorb anyway.

    Args:
        planned: pieces, and what each of them absorbs.
    """
    absorbed: dict[str, Decimal] = {}
    names: dict[str, str] = {}
    for pieces, parts in planned:
        for part in parts:
            absorbed[part.resource] = absorbed.get(part.resource, ZERO) + part.amount * pieces
            names.setdefault(part.resource, part.name)
    borne = tuple(
        Absorption(
            resource=cost.resource, name=cost.name, incurred=cost.amount, absorbed=absorbed.pop(cost.resource, ZERO)
        )
        for cost in costs
        if cost.resource is not None
    )
    left_out = (
        Absorption(resource=resource, name=names[resource], incurred=ZERO, absorbed=amount, is_left_out=True)
        for resource, amount in absorbed.items()
        if amount
    )
    return (*borne, *left_out)
