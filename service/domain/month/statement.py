"""The statement of a month: figures at the minor unit that add up."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from service.domain.currency.exchange_rates import UsedRates
from service.domain.month.absorption import (
    AbsorptionStatement,
    ReconciliationStatement,
    absorption_statements,
    more_than_paid,
    paid_idle,
    reconciliation,
)
from service.domain.month.best_mix_statement import BestMixStatement, best_mix_statement
from service.domain.month.line_statement import MonthLineStatement, line_statements
from service.domain.month.month import Month
from service.domain.month.resources_used import ResourcesUsed, resources_used
from service.domain.month.rounded_month import RoundedMonth
from service.domain.month.verdict import Verdict, time_not_known, verdict
from service.domain.month.volume_statement import (
    MarginOfSafety,
    Milestone,
    MixVolumeStatement,
    ProfitAtVolume,
    margin_of_safety,
    mix_volume_statement,
    profit_by_volume,
)
from service.domain.safety.cautions import Caution
from service.domain.scheduling.period import PeriodStatement
from service.domain.solving.best_mix import Propose
from service.domain.values.exact import ZERO, apportioned, exactly, half_up, share_of
from service.domain.values.message import RateWarning
from service.domain.values.money import Money
from service.domain.values.shown import Figure, UnitAmount, shown
from service.domain.values.units import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedCostStatement:
    """One fixed cost of the month.

    Attributes:
        resource: for instance "machines/press"; null for a cost that has no rate.
        name: what the workshop calls it.
        amount: for the month.
        components: the named amounts that add up to it.
    """

    resource: str | None
    name: str
    amount: Money
    components: Mapping[str, Money]


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadStatement:
    """The time that the plan needs on a machine or of a labour grade.

    Attributes:
        resource: its reference, for instance "machines/press".
        name: what the workshop calls it.
        minutes_needed: by the plan.
        minutes_available: in the month; null if its hours a week are not registered, and then it limits nothing.
        load_share: needed ÷ available; null if that is unknown or 0.
        is_over_full: whether the plan needs more time than is available.
        is_bottleneck: whether its load is the highest of all.
    """

    resource: str
    name: str
    minutes_needed: Figure
    minutes_available: Figure | None
    load_share: Figure | None
    is_over_full: bool
    is_bottleneck: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class AfterIncomeTax:
    """What an income tax would leave of the plan's profit.

    An illustration: a real tax is on a year's profit, with allowances, losses and rates of its own; ask an adviser.

    Attributes:
        income_tax_share: as the plan gives it.
        income_tax: profit × share; 0 where there is no profit.
        profit_after_tax: profit less income tax.
    """

    income_tax_share: Decimal
    income_tax: Money
    profit_after_tax: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthStatement:
    """Whether the month pays.

    Attributes:
        as_of: the date of the rates.
        currency: the workshop's, of every amount that does not say otherwise.
        weeks: working weeks in the month; of a month of the calendar, days from Monday to Friday without closures ÷ 5.
        period: the month of the calendar; null for an ordinary one.
        lines: what is made and sold.
        unit: what the pieces of all lines are counted in; null if they differ, and then no pieces are added up.
        fixed_costs: the costs of the month that do not depend on the volume.
        fixed_cost: the sum of the fixed costs.
        absorption: what the planned pieces absorb of the fixed cost of each resource.
        reconciliation: from the profits of the products at full cost to the profit of the month.
        paid_idle: pay by the month for time that the plan does not take; null if the month bears no such pay.
        sales: of the plan, without tax.
        contribution: of the plan.
        contribution_margin_share: contribution ÷ sales; null where nothing is sold.
        profit: contribution less fixed cost.
        after_income_tax: what an income tax would leave of it; null if the plan gives no income_tax_share.
        operating_leverage: contribution ÷ profit: by how many per cent the profit rises when the volume rises by one;
            null where there is no profit.
        contribution_per_piece: of the mix, weighted by pieces; null where nothing is planned or units differ.
        contribution_per_composite_unit: of a set of the mix.
        break_even: the volume of the mix that breaks even; null if no volume does.
        target_profit: the profit to reach, if that is named.
        target: the volume of the mix that reaches it; null if no volume does.
        margin_of_safety: how far the plan is above its break-even; null where no volume breaks even.
        loads: the time that the plan needs of each machine and labour grade.
        resources_used: materials, electricity and work that the plan takes.
        bottleneck: the one with the highest load; null if no hours a week are registered.
        profit_by_volume: the profit at certain volumes of the mix, from nothing upwards.
        best_mix: the most profitable mix; null if it was not asked for.
        exchange_rates: the published days that amounts were converted with.
        converted_on: the day from which their ages are counted: the date of the rates, or today if that is earlier.
        supposed: what has what-if rates or facts, for instance "machines/press"; nothing if all is as registered.
        warnings: rates that look wrong; they never refuse a plan.
        cautions: where the work or the products can hurt someone.
        verdict: whether the plan cannot be made with the hours there are; if it can, whether it loses, breaks even or
            pays.
    """

    as_of: date
    currency: str
    weeks: Figure
    period: PeriodStatement | None
    lines: tuple[MonthLineStatement, ...]
    unit: Unit | None
    fixed_costs: tuple[FixedCostStatement, ...]
    fixed_cost: Money
    absorption: tuple[AbsorptionStatement, ...]
    reconciliation: ReconciliationStatement
    paid_idle: Money | None
    sales: Money
    contribution: Money
    contribution_margin_share: Figure | None
    profit: Money
    after_income_tax: AfterIncomeTax | None
    operating_leverage: Figure | None
    contribution_per_piece: UnitAmount | None
    contribution_per_composite_unit: UnitAmount
    break_even: MixVolumeStatement | None
    target_profit: Money | None
    target: MixVolumeStatement | None
    margin_of_safety: MarginOfSafety | None
    loads: tuple[LoadStatement, ...]
    resources_used: ResourcesUsed
    bottleneck: str | None
    profit_by_volume: tuple[ProfitAtVolume, ...]
    best_mix: BestMixStatement | None
    exchange_rates: tuple[UsedRates, ...]
    converted_on: date
    supposed: tuple[str, ...]
    warnings: tuple[RateWarning, ...]
    cautions: tuple[Caution, ...]
    verdict: Verdict

    @property
    def beyond_capacity(self) -> frozenset[Milestone]:
        """The volumes of the mix that need more time than is available."""
        volumes = ((Milestone.BREAK_EVEN, self.break_even), (Milestone.TARGET, self.target))
        beyond = {milestone for milestone, volume in volumes if volume is not None and volume.is_beyond_capacity}
        return frozenset(beyond | ({Milestone.PLAN} if self.verdict is Verdict.CANNOT_BE_MADE else set()))


@exactly
def month_statement(
    month: Month,
    propose: Propose | None,
    exchange_rates: Sequence[UsedRates],
    warnings: Sequence[RateWarning],
    cautions: Sequence[Caution],
) -> MonthStatement:
    """The whole statement of a month, with its best mix if a solver (`propose`) is given.

    Raises:
        InvalidValuesError: no whole number of batches is within the demand for a product.
        FigureTooLargeError: a figure would need more than 28 digits.
    """
    of, mix = RoundedMonth(month), month.mix
    return shown(
        MonthStatement,
        month.currency,
        of,
        month,
        period=None if month.period is None else shown(PeriodStatement, "", month.period),
        lines=tuple(line_statements(of)),
        fixed_costs=tuple(_fixed_costs(of)),
        **_absorbed(of),
        sales=of.sold,
        contribution_margin_share=share_of(mix.contribution, mix.net_price),
        after_income_tax=_after_income_tax(of),
        operating_leverage=of.contribution / of.profit if of.profit > 0 else None,
        contribution_per_piece=None if mix.pieces is None else share_of(mix.contribution, mix.pieces),
        contribution_per_composite_unit=mix.contribution,
        **_volumes(of),
        loads=[shown(LoadStatement, "", load, is_bottleneck=load is of.bottleneck) for load in month.loads],
        resources_used=resources_used(month.uses, of.contribution, of.profit, month.currency),
        bottleneck=of.bottleneck.resource if of.bottleneck else None,
        best_mix=None if propose is None else best_mix_statement(of, propose),
        exchange_rates=tuple(exchange_rates),
        converted_on=month.converted_on or month.as_of,
        warnings=(*warnings, *more_than_paid(of.absorptions, of.currency), *time_not_known(month.loads)),
        cautions=tuple(cautions),
        verdict=verdict(of),
    )


def _absorbed(of: RoundedMonth) -> dict[str, Any]:
    """What the plan absorbs of the fixed costs, and what it does not."""
    absorbed = tuple(absorption_statements(of))
    return {"absorption": absorbed, "reconciliation": reconciliation(of), "paid_idle": paid_idle(of)}


def _volumes(of: RoundedMonth) -> dict[str, Any]:
    """The volumes of the mix at which something happens, and the unit that they are counted in."""
    month, mix = of.month, of.month.mix
    break_even, target = month.volume(mix, ZERO), month.volume(mix, month.target_profit)
    return {
        "unit": mix.unit,
        "break_even": mix_volume_statement(of, break_even),
        "target": mix_volume_statement(of, target),
        "margin_of_safety": margin_of_safety(of, break_even),
        "profit_by_volume": tuple(profit_by_volume(of, break_even, target)),
    }


def _after_income_tax(of: RoundedMonth) -> AfterIncomeTax | None:
    share = of.month.income_tax_share
    if share is None:
        return None
    tax = half_up(max(of.profit, ZERO) * share, of.decimals)
    left = of.profit - tax
    return shown(AfterIncomeTax, of.currency, income_tax_share=share, income_tax=tax, profit_after_tax=left)


def _fixed_costs(of: RoundedMonth) -> Iterator[FixedCostStatement]:
    for cost, amount in zip(of.month.fixed_costs, of.fixed_amounts, strict=True):
        parts = apportioned(cost.components.values(), of.decimals, amount)
        components = dict(zip(cost.components, parts, strict=True))
        yield shown(FixedCostStatement, of.currency, cost, amount=amount, components=components)
