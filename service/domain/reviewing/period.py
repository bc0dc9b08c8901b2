"""The variances of many batches, summed; and what fixed cost cost beyond what their good units bear."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.reviewing.earned import Earned, earned_together
from service.domain.reviewing.variance_kinds import VarianceKind
from service.domain.reviewing.variances import BatchVariances, Variance
from service.domain.values.errors import CurrencyMismatchError
from service.domain.values.exact import ZERO, exactly
from service.domain.values.message import Message
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class SummedVariance(Variance):
    """What one cause did to the cost of all batches.

    Attributes:
        batches: that have it; the standard cost is theirs.
    """

    batches: int


@dataclass(frozen=True, slots=True, kw_only=True)
class SummedBatches:
    """Batches of a product, or of all:  standard_cost + Σ variances = actual_cost, exactly.

    Attributes:
        product: its code; empty for all together.
        name: what the workshop calls it; empty for all together.
        currency: of every amount; empty if there is no batch.
        batches: how many.
        first_day: on which one of them was made; None if there is none.
        last_day: likewise.
        good_units: of all batches; None for several products or units, which do not add up.
        unit: of these; None for several products.
        variances: the largest first.
        earned: by those made for quotations; None if there are none.
        implausible: codes of the records that counted what cannot be.
    """

    product: str
    name: str
    currency: str
    batches: int
    first_day: date | None
    last_day: date | None
    good_units: Decimal | None
    unit: Unit | None
    standard_cost: Decimal
    actual_cost: Decimal
    variances: tuple[SummedVariance, ...]
    earned: Earned | None
    implausible: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A batch that cannot be compared, so that it is in no sum.

    Attributes:
        code: of its record.
        product: its code.
        reason: why not, and what to do.
    """

    code: str
    product: str
    reason: str


@exactly
def summed(batches: Iterable[BatchVariances]) -> tuple[SummedBatches, ...]:
    """The batches of each product, the one with the largest difference first.

    Raises:
        CurrencyMismatchError: they are in several currencies.
    """
    by_product: dict[str, list[BatchVariances]] = {}
    for each in batches:
        by_product.setdefault(each.product, []).append(each)
    sums = [_summed(code, each) for code, each in by_product.items()]
    return tuple(sorted(sums, key=lambda each: (-abs(each.actual_cost - each.standard_cost), each.product)))


@exactly
def summed_together(batches: Iterable[BatchVariances]) -> SummedBatches:
    """All batches as one; raises as `summed` does."""
    return _summed("", list(batches))


def _summed(product: str, batches: list[BatchVariances]) -> SummedBatches:
    if len(currencies := sorted({each.currency for each in batches})) > 1:
        raise CurrencyMismatchError(*currencies[:2])
    causes: dict[tuple[VarianceKind, str], list[Variance]] = {}
    for each in (variance for batch in batches for variance in batch.variances):
        causes.setdefault((each.kind, each.resource), []).append(each)
    variances = (_cause(each) for each in causes.values())
    products = {batch.product: batch for batch in batches}
    is_of_one_unit = len(products) <= 1 and len({batch.unit for batch in batches}) <= 1
    alone = next(iter(products.values())) if len(products) == 1 else None
    return SummedBatches(
        product=product,
        name=alone.name if alone and product else "",
        currency=currencies[0] if currencies else "",
        batches=len(batches),
        first_day=min((batch.made_on for batch in batches), default=None),
        last_day=max((batch.made_on for batch in batches), default=None),
        good_units=sum((batch.good_units for batch in batches), ZERO) if is_of_one_unit else None,
        unit=alone.unit if alone and is_of_one_unit else None,
        standard_cost=sum((batch.standard_cost for batch in batches), ZERO),
        actual_cost=sum((batch.actual_cost for batch in batches), ZERO),
        variances=tuple(sorted(variances, key=lambda each: (-abs(each.amount), each.kind, each.resource))),
        earned=earned_together(batch.earned for batch in batches if batch.earned is not None),
        implausible=tuple(sorted(batch.implausible for batch in batches if batch.implausible)),
    )


def _cause(variances: list[Variance]) -> SummedVariance:
    kind, name = variances[0].kind, min(each.name for each in variances)
    return SummedVariance(
        kind=kind,
        resource=variances[0].resource,
        name=name,
        amount=sum((each.amount for each in variances), ZERO),
        variable=sum((each.variable for each in variances), ZERO),
        standard_cost=sum((each.standard_cost for each in variances), ZERO),
        batches=len(variances),
        what=_what(kind, name, len(variances)),
    )


def _what(kind: VarianceKind, name: str, batches: int) -> Message:
    label = Message(kind.traits.label)
    if batches == 1:
        return Message("{name}, {label}, in one batch", name=name, label=label)
    return Message("{name}, {label}, in {batches} batches", name=name, label=label, batches=Decimal(batches))


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedBudget:
    """What a fixed resource was to cost in a period, and what it cost.

    Attributes:
        resource: its reference, for instance "machines/press" or "overheads/rent".
        name: what the workshop calls it.
        budget: by its rate: for a pool its amounts of the months, for a machine their part of its year.
        incurred: what it really cost; as budgeted if nobody says.
    """

    resource: str
    name: str
    budget: Decimal
    incurred: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedVariances:
    """Why a fixed resource cost more than the good units of the period's batches bear.

    incurred − applied = budget_variance + volume_variance;  volume_variance = capacity + efficiency. More than 0 is
    adverse. The efficiency is among the variances of the batches already (yield, time), the rest is of no batch.

    Source: fixed overhead budget and production volume variance. Managerial Accounting, Saylor Academy, 2012, section
        10.5. Capacity and efficiency: the usual split of the volume variance; common to textbooks.

    Attributes:
        budget: what it was to cost.
        applied: by the standard of the good units of all batches.
        budget_variance: incurred less budget.
        capacity: budget less what the batches bear by what they really took: what stood idle.
        efficiency: what they bear by what they took, less what their good units should have taken.
        volume_variance: budget less applied.
    """

    resource: str
    name: str
    budget: Decimal
    incurred: Decimal
    applied: Decimal
    budget_variance: Decimal
    capacity: Decimal
    efficiency: Decimal
    volume_variance: Decimal


@exactly
def fixed_variances(budgets: Iterable[FixedBudget], batches: Iterable[BatchVariances]) -> tuple[FixedVariances, ...]:
    """The variances of each fixed resource of a period; true of it as a whole only if all its batches are there."""
    standard: dict[str, Decimal] = {}
    actual: dict[str, Decimal] = {}
    for each in (absorbed for batch in batches for absorbed in batch.absorbed):
        standard[each.resource] = standard.get(each.resource, ZERO) + each.standard
        actual[each.resource] = actual.get(each.resource, ZERO) + each.actual
    found = []
    for budget in budgets:
        incurred = budget.budget if budget.incurred is None else budget.incurred
        applied, taken = standard.get(budget.resource, ZERO), actual.get(budget.resource, ZERO)
        found.append(
            FixedVariances(
                resource=budget.resource,
                name=budget.name,
                budget=budget.budget,
                incurred=incurred,
                applied=applied,
                budget_variance=incurred - budget.budget,
                capacity=budget.budget - taken,
                efficiency=taken - applied,
                volume_variance=budget.budget - applied,
            )
        )
    return tuple(found)
