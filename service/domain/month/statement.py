"""What a month's plan comes to, as it is shown: figures at the minor unit that add up."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from enum import StrEnum

from service.domain.currency.exchange_rates import UsedRates
from service.domain.safety.cautions import Caution
from service.domain.values.money import Money


@dataclass(frozen=True, slots=True, kw_only=True)
class FixedCostStatement:
    """One fixed cost of the month.

    Attributes:
        resource: whose it is, for instance "machines/press"; null for what no rate tells.
        name: what the workshop calls it.
        amount: for the month.
        components: the named amounts that add up to it.
    """

    resource: str | None
    name: str
    amount: Money
    components: Mapping[str, Money]


@dataclass(frozen=True, slots=True, kw_only=True)
class VolumeStatement:
    """How much has to be sold to reach a profit.

    Attributes:
        pieces: exactly that many, as far as six decimals show it.
        whole_pieces: the first whole number of pieces that reaches it.
        sales: what the exact pieces sell for, without tax.
    """

    pieces: Decimal
    whole_pieces: Decimal
    sales: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class MixVolumeStatement:
    """How much of the plan's mix has to be sold to reach a profit.

    Attributes:
        pieces: of all products, exactly that many, as far as six decimals show it.
        whole_pieces: the first whole number of pieces that reaches it, in the proportion of the mix.
        sales: what the exact pieces sell for, without tax.
        composite_units: sets of the mix, each with the pieces that `mix` tells.
        whole_composite_units: the first whole number of sets that reaches it.
        pieces_of_each: of each line's product, exactly.
        sales_of_each: what those sell for.
    """

    pieces: Decimal
    whole_pieces: Decimal
    sales: Money
    composite_units: Decimal
    whole_composite_units: Decimal
    pieces_of_each: tuple[Decimal, ...]
    sales_of_each: tuple[Money, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MarginOfSafety:
    """How far the plan is above its break-even; negative where it is below.

    Attributes:
        pieces: planned less exact break-even pieces.
        whole_pieces: planned less the first whole pieces that break even.
        sales: planned less break-even sales.
        share: of the planned sales; null where nothing is sold.
    """

    pieces: Decimal
    whole_pieces: Decimal
    sales: Money
    share: Decimal | None


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthLineStatement:
    """One product of the plan.

    Attributes:
        product: its code.
        listing: code of the listing it is sold by, if any.
        name: its name.
        standard_batch: good pieces in a batch.
        pieces: planned.
        batches: that is; an average, which need not be whole.
        pieces_per_composite_unit: in a set of the mix.
        price: what is asked for a piece, in the currency of sale.
        net_price: of a piece without tax, in the workshop's currency.
        proceeds: what a piece brings in after fees, conversion and shipping.
        variable_cost: of a piece of its batch.
        tooling: a piece's part of the entire tools that its batch takes.
        contribution: proceeds less variable cost and tooling.
        contribution_margin_share: contribution ÷ net price; null where the price is 0.
        sales: of the planned pieces, without tax.
        month_contribution: of the planned pieces.
        alone_break_even: how much of it would break even if it bore the month alone; null where no volume does.
        alone_target: how much of it would leave the target profit then; null where no volume does, or none is named.
        contribution_per_hour: of the bottleneck; null where it takes none of it, or there is no bottleneck.
        rank: which is made first where the bottleneck has too little time for all; null where there is none.
    """

    product: str
    listing: str | None
    name: str
    standard_batch: int
    pieces: int
    batches: Decimal
    pieces_per_composite_unit: int
    price: Money
    net_price: Money
    proceeds: Money
    variable_cost: Money
    tooling: Money
    contribution: Money
    contribution_margin_share: Decimal | None
    sales: Money
    month_contribution: Money
    alone_break_even: VolumeStatement | None
    alone_target: VolumeStatement | None
    contribution_per_hour: Money | None
    rank: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadStatement:
    """What the plan takes of a machine or a labour grade.

    Attributes:
        resource: its reference, for instance "machines/press".
        name: what the workshop calls it.
        minutes_needed: by the plan.
        minutes_available: in the month; null where its hours a week are not registered, and then it limits nothing.
        load_share: needed ÷ available; null where that is not known, or none is there.
        is_over_full: whether the plan needs more than there is.
        is_bottleneck: whether it is the fullest of all.
    """

    resource: str
    name: str
    minutes_needed: Decimal
    minutes_available: Decimal | None
    load_share: Decimal | None
    is_over_full: bool
    is_bottleneck: bool


class Milestone(StrEnum):
    """What a volume of the plan's mix is."""

    NOTHING = "nothing"
    BREAK_EVEN = "break_even"
    TARGET = "target"
    PLAN = "plan"
    FULL_CAPACITY = "full_capacity"


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfitAtVolume:
    """What a volume of the plan's mix leaves.

    Attributes:
        milestone: what the volume is.
        pieces: of all products.
        sales: without tax.
        proceeds: after fees, conversion and shipping.
        cost: fixed and variable.
        profit: proceeds less cost.
        bottleneck_share: of the bottleneck's time; null where there is none.
    """

    milestone: Milestone
    pieces: Decimal
    sales: Money
    proceeds: Money
    cost: Money
    profit: Money
    bottleneck_share: Decimal | None


class MixOutcome(StrEnum):
    """What became of the search for the best mix."""

    FOUND = "found"
    TOO_LITTLE_TIME = "too_little_time"
    UNLIMITED = "unlimited"


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMixLine:
    """How much of a product the best mix has.

    Attributes:
        product: its code.
        listing: code of the listing, if any.
        pieces: in the month.
        change: more or, negative, fewer than planned.
    """

    product: str
    listing: str | None
    pieces: int
    change: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeValue:
    """What more time would be worth.

    Attributes:
        resource: the machine or labour grade that is used up.
        name: what the workshop calls it.
        value_of_another_hour: what it would add to the profit where pieces could be divided.
    """

    resource: str
    name: str
    value_of_another_hour: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMixStatement:
    """The mix that leaves the most within demand and the time there is.

    Attributes:
        outcome: found; or even the least of everything takes more time than there is; or neither demand nor any
            registered time limits a product that contributes.
        limited_by: the resources without enough time, or the products without a limit.
        lines: how much of each product, in the order of the plan.
        profit: what it leaves.
        gain: more than the plan leaves; negative where the plan is more than there is time for.
        profit_at_most: what no mix exceeds.
        is_proven: whether it is proven that no mix of whole pieces or batches leaves more.
        time_values: what another hour of each resource that is used up would add.
    """

    outcome: MixOutcome
    limited_by: tuple[str, ...] = ()
    lines: tuple[BestMixLine, ...] = ()
    profit: Money | None = None
    gain: Money | None = None
    profit_at_most: Money | None = None
    is_proven: bool | None = None
    time_values: tuple[TimeValue, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthStatement:
    """Whether the month pays.

    Attributes:
        as_of: the date of the rates.
        currency: the workshop's, of every amount that does not say otherwise.
        weeks: working weeks in the month.
        lines: what is made and sold.
        fixed_costs: what the month costs however much is made.
        fixed_cost: all of them.
        sales: of the plan, without tax.
        contribution: of the plan.
        contribution_margin_share: contribution ÷ sales; null where nothing is sold.
        profit: contribution less fixed cost.
        operating_leverage: contribution ÷ profit: by how many per cent the profit rises when the volume rises by one;
            null where there is no profit.
        contribution_per_piece: of the mix, weighted by pieces; null where nothing is planned.
        contribution_per_composite_unit: of a set of the mix.
        break_even: how much of the mix breaks even; null where no volume does.
        target_profit: what the month is to leave, if that is named.
        target: how much of the mix leaves it; null where no volume does.
        margin_of_safety: how far the plan is above its break-even; null where no volume breaks even.
        loads: what the plan takes of each machine and labour grade.
        bottleneck: the one that is fullest; null where no hours a week are registered.
        profit_by_volume: what certain volumes of the mix leave, from nothing upwards.
        best_mix: the mix that leaves the most; null where it is not asked for.
        exchange_rates: the published days that amounts were converted with.
        cautions: where the work or the products can hurt someone.
    """

    as_of: date
    currency: str
    weeks: Decimal
    lines: tuple[MonthLineStatement, ...]
    fixed_costs: tuple[FixedCostStatement, ...]
    fixed_cost: Money
    sales: Money
    contribution: Money
    contribution_margin_share: Decimal | None
    profit: Money
    operating_leverage: Decimal | None
    contribution_per_piece: Money | None
    contribution_per_composite_unit: Money
    break_even: MixVolumeStatement | None
    target_profit: Money | None
    target: MixVolumeStatement | None
    margin_of_safety: MarginOfSafety | None
    loads: tuple[LoadStatement, ...]
    bottleneck: str | None
    profit_by_volume: tuple[ProfitAtVolume, ...]
    best_mix: BestMixStatement | None
    exchange_rates: tuple[UsedRates, ...]
    cautions: tuple[Caution, ...]
