"""Variances as shown: rounded so that they lead from the standard to the actual cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Annotated

from service.domain.records.batch_record import BatchRecord
from service.domain.records.record_basis import RecordBasis
from service.domain.reviewing.earned import EarnedStatement, earned_statement
from service.domain.reviewing.period import SummedBatches
from service.domain.reviewing.uncounted import TakenAsEstimated, taken_as_estimated
from service.domain.reviewing.variance_kinds import Effect, VarianceKind
from service.domain.reviewing.variances import BatchVariances, Variance
from service.domain.values.exact import apportioned, exactly, half_up, share_of
from service.domain.values.message import Fact, Message, PlausibilityWarning
from service.domain.values.money import Money, minor_unit_decimals
from service.domain.values.shown import Quantity, ShownShare, SumOf, UnitAmount, shown
from service.domain.values.units import several_of

_ADVERSE = "{what}: {amount} {currency} more, adverse"
_FAVOURABLE = "{what}: {amount} {currency} less, favourable"
_MORE_OF_FIXED = "{what}: {amount} {currency} more, adverse, of what is paid for anyway"
_LESS_OF_FIXED = "{what}: {amount} {currency} less, favourable, of what is paid for anyway"


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedVariance:
    """What one cause did to the cost.

    Attributes:
        kind: the cause.
        resource: what it is about, for instance "materials/hdpe"; the product for the yield.
        name: what the workshop calls it.
        effect: adverse if it cost more, favourable if less.
        amount: actual less standard, rounded so that all of them lead from the standard to the actual cost.
        variable: the part of it that is money spent or saved; the rest is time of what is paid for anyway.
        share_of_standard: of what the good units should have cost of the resource, or should have credited; null if
            that is nothing.
        text: the variance in words.
    """

    kind: VarianceKind
    resource: str
    name: str
    effect: Effect
    amount: Money
    variable: Money
    share_of_standard: ShownShare | None
    text: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class VarianceStatement:
    """A batch, from what its good units should have cost to what it cost.

    Attributes:
        product: its code.
        name: what the workshop calls it.
        made_on: the day whose rates are used.
        good_units: that came out of it.
        currency: of every amount.
        standard_cost: the bill of resources of the good units, at the rates of the day.
        variance: the sum of all variances.
        actual_cost: what the batch cost; as estimated where nobody counted.
        standard_unit_cost: of a good unit; null if there is none.
        actual_unit_cost: of a good unit; null if there is none.
        variances: the largest first.
        taken_as_estimated: what nobody counted; it follows from what was counted.
        earned: what it earned; null if it was made for no quotation.
        text: the batch in a sentence.
        warnings: what looks implausible about what was counted, and so about the variances.
    """

    product: str
    name: str
    made_on: date
    good_units: Quantity
    currency: str
    standard_cost: Money
    variance: Money
    actual_cost: Annotated[Money, SumOf(("standard_cost", "variance"))]
    standard_unit_cost: UnitAmount | None
    actual_unit_cost: UnitAmount | None
    variances: tuple[StatedVariance, ...]
    taken_as_estimated: tuple[TakenAsEstimated, ...]
    earned: EarnedStatement | None
    text: Message
    warnings: tuple[PlausibilityWarning, ...]


@exactly
def variance_statement(
    record: BatchRecord, basis: RecordBasis, batch: BatchVariances, warnings: tuple[PlausibilityWarning, ...] = ()
) -> VarianceStatement:
    """The variances of a batch as shown, with what looks implausible about its record."""
    difference, variances = stated(batch)
    units = batch.good_units
    return shown(
        VarianceStatement,
        batch.currency,
        batch,
        variance=difference,
        standard_unit_cost=share_of(batch.standard_cost, units),
        actual_unit_cost=share_of(batch.actual_cost, units),
        variances=variances,
        taken_as_estimated=tuple(taken_as_estimated(record, basis)),
        earned=None
        if batch.earned is None
        else earned_statement(batch.earned, several_of(batch.unit, batch.good_units)),
        text=_in_a_sentence(record, batch, difference),
        warnings=warnings,
    )


def stated(compared: BatchVariances | SummedBatches) -> tuple[Decimal, tuple[StatedVariance, ...]]:
    """The difference of the rounded costs, and the variances rounded so that they add up to it."""
    decimals = minor_unit_decimals(compared.currency)
    causes: Sequence[Variance] = compared.variances
    difference = half_up(compared.actual_cost, decimals) - half_up(compared.standard_cost, decimals)
    amounts = apportioned((each.amount for each in causes), decimals, difference) if causes else ()
    return difference, tuple(
        _stated_variance(each, amount, compared.currency)
        for each, amount in zip(causes, amounts, strict=True)
        if amount  # what comes to nothing in the smallest coin is no cause to look into
    )


def _stated_variance(each: Variance, amount: Decimal, currency: str) -> StatedVariance:
    template = _ADVERSE if each.effect is Effect.ADVERSE else _FAVOURABLE
    if not each.variable:
        template = _MORE_OF_FIXED if each.effect is Effect.ADVERSE else _LESS_OF_FIXED
    return shown(
        StatedVariance,
        currency,
        each,
        amount=amount,
        variable=amount if each.variable == each.amount else each.variable,
        share_of_standard=share_of(each.amount, abs(each.standard_cost)),
        text=Message(template, what=each.what, amount=abs(amount), currency=currency),
    )


def _in_a_sentence(record: BatchRecord, batch: BatchVariances, difference: Decimal) -> Message:
    amount, good = abs(difference), batch.good_units
    facts: dict[str, Fact] = {"amount": amount, "currency": batch.currency, "good": good}
    facts["unit"] = several_of(batch.unit, good)
    if not good:
        return Message("Nothing good came out: the batch cost {amount} {currency} and brought nothing", **facts)
    if not record.is_counted:
        return Message("Nobody counted more than the {good} {unit} that came out, so the cost is as estimated", **facts)
    if not difference:
        return Message("The batch cost what the {good} {unit} that came out should have cost", **facts)
    if difference > 0:
        return Message(
            "The batch cost {amount} {currency} more than the {good} {unit} that came out should have", **facts
        )
    return Message("The batch cost {amount} {currency} less than the {good} {unit} that came out should have", **facts)
