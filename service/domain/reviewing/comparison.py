"""Compares what a batch cost with what its good units should have cost."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import NamedTuple

from service.domain.costing.cost_sheet import CostLine
from service.domain.costing.rate_card import RateCard
from service.domain.costing.rates import Convert
from service.domain.making.cost_classes import CostClass
from service.domain.making.resources import DISPOSED, RECLAIMED, STANDING
from service.domain.records.batch_record import BatchRecord
from service.domain.records.record_basis import RecordBasis
from service.domain.reviewing.paid import Lines, idle_hours, lines_of, paid_for_overheads, paid_rates
from service.domain.reviewing.uncounted import lost_by_shares
from service.domain.reviewing.variance_kinds import VarianceKind
from service.domain.reviewing.variances import AbsorbedCost, BatchVariances, Variance
from service.domain.reviewing.what_happened import Figures, of_scrap, of_the_mix, what_happened
from service.domain.values.exact import ZERO, exactly, half_up
from service.domain.values.message import Message
from service.domain.values.references import Thing, part_in, whole_of

_DECIMALS = 15
"""Of the amounts that are compared: equal ones then differ by nothing, and differences add up without rounding."""
_PER_CENT = 100
_USAGE = {
    "materials": VarianceKind.MATERIAL_USAGE,
    "labour-grades": VarianceKind.LABOUR_EFFICIENCY,
    "machines": VarianceKind.MACHINE_TIME,
    "tariffs": VarianceKind.ENERGY_USAGE,
}
_PRICE = {
    "materials": VarianceKind.MATERIAL_PRICE,
    "labour-grades": VarianceKind.LABOUR_RATE,
    "tariffs": VarianceKind.ENERGY_PRICE,
}
_OF_PARTS = {
    RECLAIMED: VarianceKind.MATERIAL_RECLAIMED,
    DISPOSED: VarianceKind.MATERIAL_DISPOSED,
    STANDING: VarianceKind.FIXED_OVERHEAD_EFFICIENCY,
}


@exactly
def batch_variances(
    record: BatchRecord, basis: RecordBasis, rates: Mapping[str, Decimal], card: RateCard, convert: Convert
) -> BatchVariances:
    """The variances of a batch; they add up to actual less standard cost, without rounding.

    Four sheets follow each other, and every variance is the difference of two of them: the bill of the good units, of
    the units begun (yield), of what was taken (usage, efficiency, time), each at the rates of the day, and what was
    taken at what was paid (price, rate); last what was spent of variable pools (spending). A pool on a value follows
    that value, price included.

    Source: flexible budget and standard cost variances. Managerial Accounting, Saylor Academy, 2012, sections 10.2 to
        10.5. The yield is told apart from usage and efficiency here; where no scrap is counted, these are the book's.

    Args:
        basis: of the record.
        rates: of each part of the resources on the day it was made.
        card: of that day.
        convert: converts what was paid into the workshop's currency.

    Raises:
        MissingRatesError: resources other than pools have no rate.
        FigureTooLargeError: an amount has more than 13 digits before the point.
    """
    begun, taken = lines_of(basis.begun, rates, card), lines_of(basis.taken, rates, card)
    return _Comparison(
        record=record,
        basis=basis,
        currency=card.currency,
        standard=lines_of(basis.standard, rates, card),
        begun=begun,
        taken=taken,
        paid=lines_of(basis.taken, {**rates, **paid_rates(record, taken, convert)}, card),
        spent={resource: _compared(each) for resource, each in paid_for_overheads(record, convert).items()},
        by_shares=lost_by_shares(record, basis),
    ).batch()


def _compared(amount: Decimal) -> Decimal:
    return half_up(amount, _DECIMALS)


def _amount(lines: Lines, resource: str) -> Decimal:
    line = lines.get(resource)
    return ZERO if line is None else _compared(line.amount)


def _quantity(lines: Lines, resource: str) -> Decimal:
    line = lines.get(resource)
    return ZERO if line is None else line.quantity


def _rate(lines: Lines, resource: str) -> Decimal:
    line = lines.get(resource)
    return ZERO if line is None else line.rate


@dataclass(frozen=True, slots=True, kw_only=True)
class _Comparison:
    """The sheets that follow each other from standard to actual cost."""

    record: BatchRecord
    basis: RecordBasis
    currency: str
    standard: Lines
    begun: Lines
    taken: Lines
    paid: Lines
    spent: Mapping[str, Decimal]
    by_shares: frozenset[str]

    def batch(self) -> BatchVariances:
        """All of it: from the standard to the actual cost, by causes."""
        variances = sorted(self.variances(), key=lambda each: (-abs(each.amount), each.kind, each.resource))
        actual = {**{part: _amount(self.paid, part) for part in self.paid}, **self.spent}
        return BatchVariances(
            product=self.record.product,
            name=self.basis.taken.name,
            made_on=self.record.made_on,
            good_units=self.record.good_units,
            currency=self.currency,
            standard_cost=sum((_amount(self.standard, each) for each in self.standard), ZERO),
            actual_cost=sum(actual.values(), ZERO),
            variances=tuple(variances),
            absorbed=tuple(self.absorbed()),
            unit=self.basis.taken.unit,
        )

    def variances(self) -> Iterator[Variance]:
        yield from self._of_yield()
        for line in {**self.paid, **self.taken, **self.begun}.values():  # with the rates of the day
            if line.cost_class is CostClass.OVERHEAD:
                yield from self._of_overhead(line)
            else:
                yield from self._of_usage(line)
                yield from self._of_price(line)
        yield from self._of_spending()

    def absorbed(self) -> Iterator[AbsorbedCost]:
        """Fixed cost by resource, as the good units bear it and as it was taken."""
        found: dict[str, AbsorbedCost] = {}
        for part, line in {**self.standard, **self.paid}.items():
            if not line.variable:
                resource = whole_of(part)
                before = found.get(resource)
                found[resource] = AbsorbedCost(
                    resource=resource,
                    name=line.name,
                    standard=_amount(self.standard, part) + (before.standard if before else ZERO),
                    actual=self._taken_up(line) + (before.actual if before else ZERO),
                )
        yield from found.values()

    def _taken_up(self, line: CostLine) -> Decimal:
        """What a batch bears of a fixed cost: of labour its hours and its idle ones, whatever was paid for them."""
        if line.cost_class is not CostClass.DIRECT_LABOUR:
            return _amount(self.paid, line.resource)
        idle, rate = idle_hours(self.record).get(line.resource, ZERO), _rate(self.taken, line.resource)
        return _amount(self.taken, line.resource) + _compared(idle * rate)

    def _of_yield(self) -> Iterator[Variance]:
        """What the units begun should have cost beyond the good ones; all of it if none is good."""
        amount = variable = ZERO
        for part, line in {**self.standard, **self.begun}.items():
            more = _amount(self.begun, part) - _amount(self.standard, part)
            amount += more
            variable += more if line.variable else ZERO
        if self.basis.standard is None:
            what = Message("Nothing good came out: what the units begun should have cost is lost")
        else:
            what = of_scrap(self.basis.begun, self.basis.standard, self.currency)
        if amount:
            yield Variance(
                kind=VarianceKind.YIELD,
                resource=f"products/{self.record.product}",
                name=self.basis.taken.name,
                amount=amount,
                variable=variable,
                standard_cost=sum((_amount(self.standard, part) for part in self.standard), ZERO),
                what=what,
            )

    def _of_usage(self, line: CostLine) -> Iterator[Variance]:
        """What was taken beyond what the units begun should have taken, at the rate of the day."""
        part = line.resource
        amount = _amount(self.taken, part) - _amount(self.begun, part)
        kind = _OF_PARTS.get(part_in(part)) or _USAGE.get(Thing.of(part).collection)
        if mix := self._mix(line):
            yield from self._variance(
                VarianceKind.MATERIAL_MIX, line, mix.amount, mix.share_taken * _PER_CENT, mix.share_begun * _PER_CENT
            )
            what = of_the_mix(line.name, line.unit, Figures(mix.taken, mix.begun))
            yield from self._told(VarianceKind.MATERIAL_USAGE, line, amount - mix.amount, what)
        elif kind is not None:  # shots of a tool follow from the units begun
            figures = Figures(_quantity(self.taken, part), _quantity(self.begun, part))
            is_by_shares = part in self.by_shares
            what = what_happened(kind, line.name, line.unit, figures, self.currency, is_by_shares=is_by_shares)
            yield from self._told(kind, line, amount, what)

    def _mix(self, line: CostLine) -> "_Mix | None":
        """What the share of a material in the mix does to the cost; None if it is alone, or the mix is not known.

        The mix are all direct materials of a unit that the product itself takes; it is known if each was counted.
        (quantity − its standard share of the total quantity) × rate; the usage that is left is what textbooks call the
        yield of the mix.  Source: as in `VarianceKind`.
        """
        counted = {f"materials/{each.material}" for each in self.record.materials if each.issued is not None}
        own = {each.item for each in self.basis.begun.issues if each.product == self.record.product}
        mixed = [
            each
            for each in own
            if (other := self.begun.get(each)) and (other.cost_class, other.unit) == (line.cost_class, line.unit)
        ]
        if (
            line.cost_class is not CostClass.DIRECT_MATERIAL
            or line.resource not in mixed
            or not counted.issuperset(mixed)
        ):
            return None
        taken, begun = (sum((_quantity(lines, each) for each in mixed), ZERO) for lines in (self.taken, self.begun))
        if len(mixed) == 1 or not taken or not begun:
            return None
        shares = _quantity(self.taken, line.resource) / taken, _quantity(self.begun, line.resource) / begun
        return _Mix(_compared((shares[0] - shares[1]) * taken * line.rate), *shares, taken, begun)

    def _of_price(self, line: CostLine) -> Iterator[Variance]:
        """What was paid beyond the rate of the day, and what was paid for hours without work."""
        part = line.resource
        amount = _amount(self.paid, part) - _amount(self.taken, part)
        idle = idle_hours(self.record).get(part, ZERO)
        of_idle, worked = _compared(idle * line.rate), _quantity(self.taken, part)
        yield from self._variance(VarianceKind.LABOUR_IDLE_TIME, line, of_idle, idle, ZERO)
        if kind := _PRICE.get(Thing.of(part).collection):
            paid = _rate(self.paid, part) * worked / (worked + idle) if worked else ZERO
            yield from self._variance(kind, line, amount - of_idle, paid, line.rate)

    def _of_overhead(self, line: CostLine) -> Iterator[Variance]:
        """What a pool bears on beyond what the units begun should have given it to bear on."""
        variable, fixed = VarianceKind.VARIABLE_OVERHEAD_EFFICIENCY, VarianceKind.FIXED_OVERHEAD_EFFICIENCY
        amount = _amount(self.paid, line.resource) - _amount(self.begun, line.resource)
        quantities = (_quantity(lines, line.resource) for lines in (self.paid, self.begun))
        yield from self._variance(variable if line.variable else fixed, line, amount, *quantities)

    def _of_spending(self) -> Iterator[Variance]:
        taken = self.basis.taken
        pools = {line.resource: line.name for line in taken.lines}
        pools |= {pool.resource: pool.name for pool in taken.value_pools}
        for resource, spent in self.spent.items():
            borne = _amount(self.paid, resource)
            if spent != borne:
                what = self._said(VarianceKind.VARIABLE_OVERHEAD_SPENDING, pools[resource], "", spent, borne)
                yield Variance(
                    kind=VarianceKind.VARIABLE_OVERHEAD_SPENDING,
                    resource=resource,
                    name=pools[resource],
                    amount=spent - borne,
                    variable=spent - borne,
                    standard_cost=_amount(self.standard, resource),
                    what=what,
                )

    def _variance(
        self, kind: VarianceKind, line: CostLine, amount: Decimal, actual: Decimal, standard: Decimal
    ) -> Iterator[Variance]:
        yield from self._told(kind, line, amount, self._said(kind, line.name, line.unit, actual, standard))

    def _told(self, kind: VarianceKind, line: CostLine, amount: Decimal, what: Message) -> Iterator[Variance]:
        if amount:
            is_money = line.variable or kind is VarianceKind.LABOUR_RATE  # what was paid beyond the rate was spent
            yield Variance(
                kind=kind,
                resource=line.resource,
                name=line.name,
                amount=amount,
                variable=amount if is_money else ZERO,
                standard_cost=_amount(self.standard, line.resource),
                what=what,
            )

    def _said(self, kind: VarianceKind, name: str, unit: str, actual: Decimal, standard: Decimal) -> Message:
        return what_happened(kind, name, unit, Figures(actual, standard), self.currency)


class _Mix(NamedTuple):
    """The mix variance of a material; its share of all that are mixed, taken and begun; and how much these are."""

    amount: Decimal
    share_taken: Decimal
    share_begun: Decimal
    taken: Decimal
    begun: Decimal
