"""The cost sheet: a bill of resources times the rates of a date."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.costing.rate_card import RateCard
from service.domain.costing.rate_table import PoolShare, charged, is_optional
from service.domain.making.bill_of_resources import BillOfResources, ProductBatch, ResourceLine, ValuePool
from service.domain.making.cost_classes import CostClass
from service.domain.values.exact import ZERO, apportioned, exactly
from service.domain.values.money import minor_unit_decimals
from service.domain.values.references import part_in, whole_of
from service.domain.values.shown import WITH_MORE_DIGITS
from service.domain.values.unit_costs import UnitCosts

_PER_CENT = Decimal("0.01")
PRIME = frozenset({CostClass.DIRECT_MATERIAL, CostClass.PACKAGING, CostClass.DIRECT_LABOUR})
CONVERSION = frozenset(CostClass) - {CostClass.DIRECT_MATERIAL, CostClass.PACKAGING}


@dataclass(frozen=True, slots=True, kw_only=True)
class CostLine(ResourceLine):
    """The cost of one resource, unrounded: quantity × rate; for a pool on a value, that value × the share.

    Attributes:
        overhead_on_value: what pools on the value of its heading add to it.
    """

    rate: Decimal
    amount: Decimal
    overhead_on_value: Decimal = ZERO

    @property
    def effect_of_one_percent(self) -> Decimal:
        """What one percent on the rate adds to the batch, overhead on its value included."""
        return (self.amount + self.overhead_on_value) * _PER_CENT


@dataclass(frozen=True, slots=True, kw_only=True)
class CostedBatch(ProductBatch):
    """A batch that is costed.

    Attributes:
        as_of: the date whose rates are used.
        currency: of every amount.
    """

    as_of: date
    currency: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CostSheet(CostedBatch):
    """The cost of a batch, unrounded, one line for each resource."""

    lines: tuple[CostLine, ...]

    def amount(self, classes: Iterable[CostClass]) -> Decimal:
        """The sum of the lines under these headings."""
        wanted = frozenset(classes)
        return sum((line.amount for line in self.lines if line.cost_class in wanted), ZERO)

    @property
    def full_cost(self) -> Decimal:
        """The sum of all lines."""
        return sum((line.amount for line in self.lines), ZERO)

    @property
    def variable_cost(self) -> Decimal:
        """The sum of the variable lines: what would not be spent without the batch."""
        return sum((line.amount for line in self.lines if line.variable), ZERO)

    def shown_per_batch(self) -> tuple[Decimal, ...]:
        """The lines at the minor unit, adding up to the rounded full cost (largest remainder method)."""
        return apportioned((line.amount for line in self.lines), minor_unit_decimals(self.currency))

    def shown_per_piece(self) -> tuple[Decimal, ...]:
        """The lines for a piece, with four more decimals, adding up to the rounded unit cost."""
        return apportioned(
            (line.amount / self.quantity for line in self.lines), WITH_MORE_DIGITS.decimals_in(self.currency)
        )

    def variable_share_of(self, shown: tuple[Decimal, ...]) -> Decimal:
        """The sum of the shown variable lines, so that every document shows the same figure."""
        return sum((amount for line, amount in zip(self.lines, shown, strict=True) if line.variable), ZERO)

    @property
    def prime_cost(self) -> Decimal:
        """Direct material, packaging and direct labour."""
        return self.amount(PRIME)

    @property
    def conversion_cost(self) -> Decimal:
        """Everything but direct material and packaging."""
        return self.amount(CONVERSION)


def _missing(bill: BillOfResources, rates: Mapping[str, Decimal]) -> list[str]:
    """Resources without a rate; a part that the terms in force leave out costs nothing and is not missing.

    Nor is an overhead pool, which counts from its first rate on.
    """
    unrated = (line for line in bill.lines if line.resource not in rates)
    without = [line.resource for line in unrated if line.cost_class is not CostClass.OVERHEAD]
    if not without:
        return []
    rated = {whole_of(resource) for resource in rates}
    owners = (whole_of(each) for each in without if whole_of(each) not in rated or not is_optional(part_in(each)))
    return list(dict.fromkeys(owners))


@exactly
def cost_sheet(bill: BillOfResources, rates: Mapping[str, Decimal], card: RateCard) -> CostSheet:
    """The bill of resources times the rates of each part of its resources, which are those of the card.

    First every physical quantity is priced; then pools on a value take their share of the direct material or the direct
    labour, reclaimed material deducted. A pool without a rate is left out.

    Raises:
        MissingRatesError: resources other than pools have no rate; all are named.
    """
    if missing := _missing(bill, rates):
        raise MissingRatesError(card.as_of, [MissingRate(resource=each) for each in missing])
    rated_pools = [pool for pool in bill.value_pools if pool.resource in rates]
    shares = charged(
        PoolShare(base=pool.base, variable=pool.variable, share=rates[pool.resource]) for pool in rated_pools
    )
    rated = [line for line in bill.lines if line.resource in rates]
    lines = [_priced(line, rates[line.resource], card, shares.get(line.cost_class)) for line in rated]
    pools = (_priced(line, rates[line.resource], card) for line in _value_lines(rated_pools, lines, card.currency))
    return CostSheet(
        product=bill.product,
        name=bill.name,
        quantity=bill.quantity,
        unit=bill.unit,
        as_of=card.as_of,
        currency=card.currency,
        lines=(*lines, *pools),
    )


def _priced(line: ResourceLine, rate: Decimal, card: RateCard, share: Decimal | None = None) -> CostLine:
    """The line at its rate; fixed, if its terms make it so: the bill knows no rate."""
    amount = line.quantity * rate
    return CostLine(
        resource=line.resource,
        name=line.name,
        unit=line.unit,
        cost_class=line.cost_class,
        variable=line.variable and not card.is_fixed(line.resource),
        quantity=line.quantity,
        rate=rate,
        amount=amount,
        overhead_on_value=ZERO if share is None else amount * share,
    )


def _value_lines(pools: Iterable[ValuePool], priced: Iterable[CostLine], currency: str) -> Iterator[ResourceLine]:
    """The pools on a value as lines whose quantity is that value."""
    for pool in pools:
        base = sum((line.amount for line in priced if line.cost_class is pool.base.traits.charged), ZERO)
        if base:
            yield ResourceLine(
                resource=pool.resource,
                name=pool.name,
                unit=currency,
                cost_class=CostClass.OVERHEAD,
                variable=pool.variable,
                quantity=base,
            )


@exactly
def unit_costs(sheet: CostSheet) -> UnitCosts:
    """The cost of a piece of the batch."""
    return UnitCosts(
        variable=sheet.variable_cost / sheet.quantity,
        full=sheet.full_cost / sheet.quantity,
        shown_variable=sheet.variable_share_of(sheet.shown_per_piece()),
    )
