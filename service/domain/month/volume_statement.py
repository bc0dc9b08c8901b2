"""Volumes to be sold, and the profit at certain volumes of the mix, as shown."""

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated

from service.domain.month.break_even import Volume
from service.domain.month.rounded_month import RoundedMonth
from service.domain.values.exact import ZERO, apportioned, half_up, share_of
from service.domain.values.money import Money
from service.domain.values.shown import Figure, SumOf, shown


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeStatement:
    """How much of one product has to be sold to reach a profit.

    Attributes:
        pieces: exactly that many, as far as six decimals show it.
        whole_pieces: the first whole number of pieces that reaches it; of a unit that is divided, to three decimals.
        sales: what the exact pieces sell for, without tax.
        is_beyond_capacity: whether the whole pieces need more time than is available.
    """

    pieces: Figure
    whole_pieces: Figure
    sales: Money
    is_beyond_capacity: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MixVolumeStatement:
    """How much of the plan's mix has to be sold to reach a profit.

    Attributes:
        pieces: of all products, exactly that many, as far as six decimals show it; null if they are counted in
            different units.
        whole_pieces: the first whole number of pieces that reaches it, in the proportion of the mix; of a unit that is
            divided to three decimals, and null as pieces are.
        sales: what the exact pieces sell for, without tax.
        is_beyond_capacity: whether the whole pieces, or the exact ones if they do not add up, need more time than is
            available.
        plan_share: of the volume that is planned; null where nothing is planned.
        composite_units: sets of the mix, each with the pieces_per_composite_unit of every line.
        whole_composite_units: the first whole number of sets that reaches it.
        pieces_of_each: of each line's product, exactly.
        sales_of_each: what those sell for.
    """

    pieces: Figure | None
    whole_pieces: Figure | None
    sales: Money
    is_beyond_capacity: bool
    plan_share: Figure | None
    composite_units: Figure
    whole_composite_units: Decimal
    pieces_of_each: tuple[Figure, ...]
    sales_of_each: tuple[Money, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginOfSafety:
    """How far the plan is above its break-even; negative where it is below.

    Attributes:
        pieces: planned less exact break-even pieces; null if products are counted in different units.
        whole_pieces: planned less the first whole pieces that break even; null as pieces are.
        sales: planned less break-even sales.
        share: of the planned sales; null where nothing is sold.
    """

    pieces: Figure | None
    whole_pieces: Figure | None
    sales: Money
    share: Figure | None


class Milestone(StrEnum):
    """The meaning of a volume of the plan's mix."""

    NOTHING = "nothing"
    BREAK_EVEN = "break_even"
    TARGET = "target"
    PLAN = "plan"
    FULL_CAPACITY = "full_capacity"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfitAtVolume:
    """The profit at a volume of the plan's mix.

    Attributes:
        milestone: the meaning of the volume.
        pieces: of all products; null if they are counted in different units.
        plan_share: of the volume that is planned; null where nothing is planned.
        sales: without tax.
        proceeds: after fees, conversion and shipping.
        cost: fixed and variable.
        profit: proceeds less cost.
        bottleneck_share: of the bottleneck's time; null where there is none.
    """

    milestone: Milestone
    pieces: Figure | None
    plan_share: Figure | None
    sales: Money
    proceeds: Money
    cost: Annotated[Money, SumOf(("proceeds",), ("profit",))]
    profit: Money
    bottleneck_share: Figure | None


def mix_volume_statement(month: RoundedMonth, volume: Volume | None) -> MixVolumeStatement | None:
    """A volume of the mix as shown; None if there is none."""
    if volume is None:
        return None
    prices = [product.sale.net_price for product in month.month.products]
    sales = [price * pieces for price, pieces in zip(prices, volume.pieces_of_each, strict=True)]
    sales_of_each = apportioned(sales, month.decimals, half_up(volume.sales, month.decimals))
    return shown(
        MixVolumeStatement,
        month.currency,
        volume,
        plan_share=share_of(volume.composite_units, month.mix.planned),
        sales_of_each=sales_of_each,
    )


def margin_of_safety(month: RoundedMonth, break_even: Volume | None) -> MarginOfSafety | None:
    """How far the plan is above its break-even; None if no volume breaks even."""
    if break_even is None:
        return None
    planned, reached, whole = sum(month.planned, ZERO), break_even.pieces, break_even.whole_pieces
    exact_sales = sum((product.sale.net_price * product.sale.pieces for product in month.month.products), ZERO)
    return shown(
        MarginOfSafety,
        month.currency,
        pieces=None if reached is None else planned - reached,
        whole_pieces=None if whole is None else planned - whole,
        sales=month.sold - half_up(break_even.sales, month.decimals),
        share=share_of(exact_sales - break_even.sales, exact_sales),
    )


def profit_by_volume(month: RoundedMonth, break_even: Volume | None, target: Volume | None) -> Iterator[ProfitAtVolume]:
    """The profit at each milestone, by rising volume."""
    units = {Milestone.NOTHING: ZERO, Milestone.PLAN: month.mix.planned}
    units |= {Milestone.BREAK_EVEN: break_even.composite_units} if break_even else {}
    units |= {Milestone.TARGET: target.composite_units} if target else {}
    units |= {} if month.mix.capacity is None else {Milestone.FULL_CAPACITY: month.mix.capacity}
    order = list(Milestone)
    for milestone, many in sorted(units.items(), key=lambda each: (each[1], order.index(each[0]))):
        yield _profit_at(month, milestone, many)


def _profit_at(month: RoundedMonth, milestone: Milestone, units: Decimal) -> ProfitAtVolume:
    mix, plan_share = month.mix, share_of(units, month.mix.planned)
    sales = [product.sale for product in month.month.products]
    of_unit = sum((sale.proceeds * each for sale, each in zip(sales, mix.per_unit, strict=True)), ZERO)
    profit = half_up(mix.contribution * units, month.decimals) - month.fixed_cost
    share, bottleneck = None, month.bottleneck
    if bottleneck is not None and bottleneck.minutes_available:
        share = bottleneck.minutes_needed * units / mix.planned / bottleneck.minutes_available
    return shown(
        ProfitAtVolume,
        month.currency,
        milestone=milestone,
        pieces=None if mix.pieces is None else units * mix.pieces,
        plan_share=plan_share,
        sales=mix.net_price * units,
        proceeds=of_unit * units,
        profit=profit,
        bottleneck_share=share,
    )
