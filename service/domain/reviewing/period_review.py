"""The variances of many batches, and those of fixed cost, as shown."""

from calendar import monthrange
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Annotated, NamedTuple

from service.domain.reviewing.earned import EarnedStatement, earned_statement
from service.domain.reviewing.period import FixedVariances, LeftOut, SummedBatches, summed, summed_together
from service.domain.reviewing.statement import StatedVariance, stated
from service.domain.reviewing.variances import BatchVariances
from service.domain.values.exact import ZERO, exactly
from service.domain.values.message import Fact, Message
from service.domain.values.money import Money, rounded
from service.domain.values.shown import Quantity, SumOf, shown
from service.domain.values.units import several_of

_MOST_NAMED = 5
"""Codes in a sentence."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SummedStatement:
    """Several batches, from what their good units should have cost to what they cost.

    Attributes:
        product: its code; empty for all products together.
        name: what the workshop calls it; empty for all products together.
        batches: how many.
        first_day: on which one of them was made; null if there is none.
        last_day: likewise.
        good_units: of all batches; null for several products.
        standard_cost: of the good units.
        variance: the sum of all variances.
        actual_cost: what the batches cost.
        variances: the largest first.
        earned: by those made for quotations; null if there are none.
        left_out: batches that cannot be compared, and are in no figure.
        implausible: codes of records that counted less material than good units contain; they are in the figures.
        text: the batches in a sentence.
    """

    product: str
    name: str
    batches: int
    first_day: date | None
    last_day: date | None
    good_units: Quantity | None
    standard_cost: Money
    variance: Money
    actual_cost: Annotated[Money, SumOf(("standard_cost", "variance"))]
    variances: tuple[StatedVariance, ...]
    earned: EarnedStatement | None
    left_out: tuple[LeftOut, ...]
    implausible: tuple[str, ...]
    text: Message


@exactly
def summed_statement(batches: SummedBatches, left_out: Sequence[LeftOut] = ()) -> SummedStatement:
    """The variances of several batches as shown.

    Args:
        left_out: batches that cannot be compared.
    """
    difference, variances = stated(batches)
    unit = None if batches.unit is None else several_of(batches.unit)
    return shown(
        SummedStatement,
        batches.currency,
        batches,
        variance=difference,
        variances=variances,
        earned=None if batches.earned is None else earned_statement(batches.earned, unit),
        left_out=tuple(left_out),
        text=_doubted(batches, left_out, _in_a_sentence(batches, difference, is_any_recorded=bool(left_out))),
    )


def _doubted(batches: SummedBatches, left_out: Sequence[LeftOut], told: Message) -> Message:
    """The sentence with what it does not say: which batches are not in it, and which make it look better."""
    if batches.implausible:
        told = Message(
            "{told}. Less material was counted than good units contain, which is no saving: {codes}",
            told=told,
            codes=_named(batches.implausible),
        )
    if left_out:
        codes = _named([each.code for each in left_out])
        told = Message("{told}. Not counted, because they cannot be compared: {codes}", told=told, codes=codes)
    return told


def _named(codes: Sequence[str]) -> str:
    return ", ".join(codes[:_MOST_NAMED]) + (" …" if len(codes) > _MOST_NAMED else "")


def _in_a_sentence(batches: SummedBatches, difference: Decimal, *, is_any_recorded: bool) -> Message:
    if not batches.batches:
        return Message("No batch can be compared") if is_any_recorded else Message("No batch is recorded")
    what = (
        Message("{batches} batches", batches=Decimal(batches.batches)) if batches.batches > 1 else Message("One batch")
    )
    facts: dict[str, Fact] = {"what": what, "amount": abs(difference), "currency": batches.currency}
    if not difference:
        return Message("{what}: the cost is what the good units should have cost", **facts)
    if difference > 0:
        return Message("{what}: {amount} {currency} more than the good units should have cost", **facts)
    return Message("{what}: {amount} {currency} less than the good units should have cost", **facts)


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedStatement:
    """Why fixed cost was more, or less, than the good units of the batches bear; more than 0 is adverse.

    Attributes:
        resource: a machine, a labour grade paid by the month, a tariff or a fixed pool, for instance "machines/press";
            empty for all together.
        name: what the workshop calls it; empty for all together.
        budget: what the days should cost by its rates.
        incurred: what they cost; as budgeted if nobody says.
        budget_variance: incurred less budget.
        applied: what the good units bear by what they should have taken.
        efficiency: what the batches bear by what they took, less that; it is among their variances already.
        volume_variance: budget less applied.
        capacity: of this, what no recorded batch took up; negative if they took up more than there was.
        text: in a sentence.
    """

    resource: str
    name: str
    budget: Money
    incurred: Money
    budget_variance: Annotated[Money, SumOf(("incurred",), ("budget",))]
    applied: Money
    efficiency: Money
    volume_variance: Annotated[Money, SumOf(("budget",), ("applied",))]
    capacity: Annotated[Money, SumOf(("volume_variance",), ("efficiency",))]
    text: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class PeriodReview:
    """The batches recorded in a period, of all products, and the fixed cost of its days.

    Attributes:
        first_day: of the period.
        last_day: of the period.
        currency: of every amount.
        together: all batches as one.
        products: the batches of each product, the largest difference first.
        fixed: each resource with a fixed cost.
        fixed_total: all of them together.
    """

    first_day: date
    last_day: date
    currency: str
    together: SummedStatement
    products: tuple[SummedStatement, ...]
    fixed: tuple[FixedStatement, ...]
    fixed_total: FixedStatement


class Days(NamedTuple):
    """The first and the last day of a period."""

    first: date
    last: date

    @property
    def share_of_month(self) -> Decimal:
        """Of days that are all in one month of the calendar: days ÷ days of the month."""
        _, all_days = monthrange(self.first.year, self.first.month)
        return Decimal((self.last - self.first).days + 1) / all_days


@exactly
def period_review(
    days: Days,
    currency: str,
    batches: Sequence[BatchVariances],
    left_out: Sequence[LeftOut],
    fixed: Iterable[FixedVariances],
) -> PeriodReview:
    """The batches of a period and its fixed cost as shown; totals of fixed cost are sums of what is shown.

    Raises:
        CurrencyMismatchError: the batches are in several currencies.
    """
    rows = tuple(_fixed(each.resource, each.name, currency, each) for each in fixed)
    total = _Fixed(*(sum((getattr(row, name).amount for row in rows), ZERO) for name in _Fixed._fields))
    return PeriodReview(
        first_day=days.first,
        last_day=days.last,
        currency=currency,
        together=summed_statement(replace(summed_together(batches), currency=currency), left_out),
        products=tuple(
            summed_statement(each, [other for other in left_out if other.product == each.product])
            for each in summed(batches)
        ),
        fixed=rows,
        fixed_total=_fixed("", "", currency, total),
    )


class _Fixed(NamedTuple):
    """What the other figures of fixed cost follow from."""

    budget: Decimal
    incurred: Decimal
    applied: Decimal
    efficiency: Decimal


def _fixed(resource: str, name: str, currency: str, each: FixedVariances | _Fixed) -> FixedStatement:
    figures = _Fixed(*(rounded(getattr(each, field), currency).amount for field in _Fixed._fields))
    text = _of_fixed_cost(name, currency, figures)
    return shown(FixedStatement, currency, figures, resource=resource, name=name, text=text)


def _of_fixed_cost(name: str, currency: str, figures: _Fixed) -> Message:
    taken = figures.applied + figures.efficiency
    idle = figures.budget - taken
    facts: dict[str, Fact] = {"currency": currency, "budget": figures.budget, "taken": taken, "idle": abs(idle)}
    facts["what"] = name or Message("These days, however much is made")
    if idle >= 0:
        told = Message(
            "{what}: {budget} {currency} by the rates. The batches counted here took up {taken}, and {idle} none of "
            "them",
            **facts,
        )
    else:
        told = Message(
            "{what}: {budget} {currency} by the rates. The batches counted here took up {taken}, {idle} more than that",
            **facts,
        )
    if figures.incurred == figures.budget:
        return told
    return Message("{told}. Spent were {spent} {currency}", told=told, spent=figures.incurred, currency=currency)
