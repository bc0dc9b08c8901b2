"""A month as it is shown: every figure at the minor unit, or with four digits more for a piece, and adding up."""

from collections.abc import Iterator, Sequence
from decimal import Decimal
from fractions import Fraction

from service.domain.currency.exchange_rates import UsedRates
from service.domain.month.break_even import Mix, Volume, alone
from service.domain.month.fixed_costs import FixedCost
from service.domain.month.month import Month, PlannedProduct, contribution_per_hour, programme, ranks
from service.domain.month.statement import (
    BestMixLine,
    BestMixStatement,
    FixedCostStatement,
    LoadStatement,
    MarginOfSafety,
    Milestone,
    MixOutcome,
    MixVolumeStatement,
    MonthLineStatement,
    MonthStatement,
    ProfitAtVolume,
    TimeValue,
    VolumeStatement,
)
from service.domain.safety.cautions import Caution
from service.domain.solving.best_mix import BestMix, Propose, best_mix, short_of, unlimited
from service.domain.values.exact import MINUTES_PER_HOUR, ZERO, apportioned, exactly, half_up, known
from service.domain.values.money import Money, in_currency, minor_unit_decimals, rounded, unit_cost

_DECIMALS = 6


@exactly
def month_statement(
    month: Month, propose: Propose | None, exchange_rates: Sequence[UsedRates], cautions: Sequence[Caution]
) -> MonthStatement:
    """Everything that is asked about a month.

    Args:
        month: the plan.
        propose: asks a solver for the best mix; None where that is not asked for.
        exchange_rates: that amounts were converted with.
        cautions: of the products.

    Raises:
        InvalidValuesError: no whole number of batches is within the demand for a product.
        FigureTooLargeError: a figure has more digits than are known of it.
    """
    return _Stating(month).statement(propose, tuple(exchange_rates), tuple(cautions))


class _Stating:
    """One month; what is shown twice is made once."""

    def __init__(self, month: Month) -> None:
        self.month, self.mix, self.currency = month, month.mix, month.currency
        self.decimals = minor_unit_decimals(month.currency)
        self.planned = [product.sale.pieces for product in month.products]
        sales = [product.sale for product in month.products]
        self.sales = apportioned((sale.net_price * sale.pieces for sale in sales), self.decimals)
        self.contributions = apportioned((sale.contribution * sale.pieces for sale in sales), self.decimals)
        self.contribution, self.sold = sum(self.contributions, ZERO), sum(self.sales, ZERO)
        self.fixed_cost = half_up(month.fixed_cost, self.decimals)
        self.profit = self.contribution - self.fixed_cost
        self.target = None if month.target_profit is None else half_up(month.target_profit, self.decimals)
        self.narrowest = month.bottleneck

    def money(self, amount: Decimal) -> Money:
        """An amount at the minor unit."""
        return rounded(amount, self.currency)

    def per_piece(self, amount: Decimal) -> Money:
        """An amount for a piece."""
        return unit_cost(amount, self.currency)

    def statement(
        self, propose: Propose | None, exchange_rates: tuple[UsedRates, ...], cautions: tuple[Caution, ...]
    ) -> MonthStatement:
        """All of it."""
        month = self.month
        break_even = self.mix.volume(month.fixed_cost)
        target = None if month.target_profit is None else self.mix.volume(month.fixed_cost + month.target_profit)
        pieces = self.mix.pieces
        return MonthStatement(
            as_of=month.as_of,
            currency=self.currency,
            weeks=known(month.weeks, _DECIMALS),
            lines=tuple(self._lines()),
            fixed_costs=tuple(self._fixed_costs()),
            fixed_cost=self.money(self.fixed_cost),
            sales=self.money(self.sold),
            contribution=self.money(self.contribution),
            contribution_margin_share=_share(self.mix.contribution, self.mix.net_price),
            profit=self.money(self.profit),
            operating_leverage=_share(self.contribution, self.profit) if self.profit > 0 else None,
            contribution_per_piece=self.per_piece(self.mix.contribution / pieces) if pieces else None,
            contribution_per_composite_unit=self.per_piece(self.mix.contribution),
            break_even=self._mix_volume(break_even),
            target_profit=None if self.target is None else self.money(self.target),
            target=self._mix_volume(target),
            margin_of_safety=self._margin_of_safety(break_even),
            loads=tuple(self._loads()),
            bottleneck=self.narrowest.resource if self.narrowest else None,
            profit_by_volume=tuple(self._profit_by_volume(break_even, target)),
            best_mix=None if propose is None else self._best_mix(propose),
            exchange_rates=exchange_rates,
            cautions=cautions,
        )

    def _lines(self) -> Iterator[MonthLineStatement]:
        for line, (product, rank) in enumerate(zip(self.month.products, ranks(self.month), strict=True)):
            yield self._line(line, product, rank)

    def _line(self, line: int, product: PlannedProduct, rank: int | None) -> MonthLineStatement:
        sale, per_hour = product.sale, contribution_per_hour(self.month, line)
        proceeds, tooling = self.per_piece(sale.proceeds), self.per_piece(sale.tooling)
        variable = self.per_piece(product.shown_variable_cost)
        contribution = proceeds.amount - variable.amount - tooling.amount
        return MonthLineStatement(
            product=product.product,
            listing=product.listing,
            name=product.name,
            standard_batch=product.standard_batch,
            pieces=sale.pieces,
            batches=known(Decimal(sale.pieces) / product.standard_batch, _DECIMALS),
            pieces_per_composite_unit=self.mix.per_unit[line],
            price=product.price,
            net_price=self.per_piece(sale.net_price),
            proceeds=proceeds,
            variable_cost=variable,
            tooling=tooling,
            contribution=in_currency(contribution, self.currency),
            contribution_margin_share=_share(sale.contribution, sale.net_price),
            sales=self.money(self.sales[line]),
            month_contribution=self.money(self.contributions[line]),
            alone_break_even=self._volume(alone(sale), ZERO),
            alone_target=self._volume(alone(sale), self.month.target_profit),
            contribution_per_hour=None if per_hour is None else self.per_piece(per_hour),
            rank=rank,
        )

    def _volume(self, product: Mix, profit: Decimal | None) -> VolumeStatement | None:
        volume = None if profit is None else product.volume(self.month.fixed_cost + profit)
        if volume is None:
            return None
        return VolumeStatement(
            pieces=known(volume.pieces, _DECIMALS), whole_pieces=volume.whole_pieces, sales=self.money(volume.sales)
        )

    def _mix_volume(self, volume: Volume | None) -> MixVolumeStatement | None:
        if volume is None:
            return None
        prices = [product.sale.net_price for product in self.month.products]
        sales = [price * pieces for price, pieces in zip(prices, volume.pieces_of_each, strict=True)]
        return MixVolumeStatement(
            pieces=known(volume.pieces, _DECIMALS),
            whole_pieces=volume.whole_pieces,
            sales=self.money(volume.sales),
            composite_units=known(volume.units, _DECIMALS),
            whole_composite_units=volume.whole_units,
            pieces_of_each=tuple(known(each, _DECIMALS) for each in volume.pieces_of_each),
            sales_of_each=tuple(
                self.money(each) for each in apportioned(sales, self.decimals, half_up(volume.sales, self.decimals))
            ),
        )

    def _fixed_costs(self) -> Iterator[FixedCostStatement]:
        costs = self.month.fixed_costs
        shown = apportioned((each.amount for each in costs), self.decimals) if costs else ()
        for each, amount in zip(costs, shown, strict=True):
            yield self._fixed_cost(each, amount)

    def _fixed_cost(self, cost: FixedCost, amount: Decimal) -> FixedCostStatement:
        parts = apportioned(cost.components.values(), self.decimals, amount)
        return FixedCostStatement(
            resource=cost.resource,
            name=cost.name,
            amount=self.money(amount),
            components={name: self.money(part) for name, part in zip(cost.components, parts, strict=True)},
        )

    def _margin_of_safety(self, break_even: Volume | None) -> MarginOfSafety | None:
        if break_even is None:
            return None
        planned = Decimal(sum(self.planned))
        exact_sales = sum((product.sale.net_price * product.sale.pieces for product in self.month.products), ZERO)
        return MarginOfSafety(
            pieces=known(planned - break_even.pieces, _DECIMALS),
            whole_pieces=planned - break_even.whole_pieces,
            sales=self.money(self.sold - half_up(break_even.sales, self.decimals)),
            share=_share(exact_sales - break_even.sales, exact_sales),
        )

    def _loads(self) -> Iterator[LoadStatement]:
        for load in self.month.loads:
            yield LoadStatement(
                resource=load.resource,
                name=load.name,
                minutes_needed=known(load.minutes_needed, _DECIMALS),
                minutes_available=None if load.minutes_available is None else known(load.minutes_available, _DECIMALS),
                load_share=None if load.share is None else known(load.share, _DECIMALS),
                is_over_full=load.is_over_full,
                is_bottleneck=load is self.narrowest,
            )

    def _profit_by_volume(self, break_even: Volume | None, target: Volume | None) -> Iterator[ProfitAtVolume]:
        planned = next(
            (pieces // each for pieces, each in zip(self.planned, self.mix.per_unit, strict=True) if each), 0
        )
        units = {Milestone.NOTHING: ZERO, Milestone.PLAN: Decimal(planned)}
        units |= {Milestone.BREAK_EVEN: break_even.units} if break_even else {}
        units |= {Milestone.TARGET: target.units} if target else {}
        if self.narrowest is not None and self.narrowest.minutes_available is not None:
            room = self.narrowest.minutes_available / self.narrowest.minutes_needed
            units[Milestone.FULL_CAPACITY] = planned * room
        order = list(Milestone)
        for milestone, many in sorted(units.items(), key=lambda each: (each[1], order.index(each[0]))):
            yield self._profit_at(milestone, many, planned)

    def _profit_at(self, milestone: Milestone, units: Decimal, planned: int) -> ProfitAtVolume:
        sales = [product.sale for product in self.month.products]
        of_unit = sum((sale.proceeds * each for sale, each in zip(sales, self.mix.per_unit, strict=True)), ZERO)
        proceeds = half_up(of_unit * units, self.decimals)
        profit = half_up(self.mix.contribution * units, self.decimals) - self.fixed_cost
        share = None
        if self.narrowest is not None and self.narrowest.minutes_available:
            share = known(self.narrowest.minutes_needed * units / planned / self.narrowest.minutes_available, _DECIMALS)
        return ProfitAtVolume(
            milestone=milestone,
            pieces=known(units * self.mix.pieces, _DECIMALS),
            sales=self.money(self.mix.net_price * units),
            proceeds=self.money(proceeds),
            cost=self.money(proceeds - profit),
            profit=self.money(profit),
            bottleneck_share=share,
        )

    def _best_mix(self, propose: Propose) -> BestMixStatement:
        wanted, limits, products = programme(self.month), self.month.limits, self.month.products
        if short := short_of(wanted):
            return _none_found(MixOutcome.TOO_LITTLE_TIME, [limits[place].resource for place in short])
        if free := unlimited(wanted):
            return _none_found(MixOutcome.UNLIMITED, [products[line].product for line in free])
        found = best_mix(wanted, propose)
        profit, at_most = (
            half_up(_decimal(each), self.decimals) - self.fixed_cost for each in (found.contribution, found.at_most)
        )
        return BestMixStatement(
            outcome=MixOutcome.FOUND,
            lines=tuple(map(_best_line, products, found.units)),
            profit=self.money(profit),
            gain=self.money(profit - self.profit),
            profit_at_most=self.money(at_most),
            is_proven=found.is_proven,
            time_values=tuple(self._time_values(found)),
        )

    def _time_values(self, found: BestMix) -> Iterator[TimeValue]:
        for load, value in zip(self.month.limits, found.minute_values, strict=True):
            if value:
                another_hour = self.per_piece(_decimal(value) * MINUTES_PER_HOUR)
                yield TimeValue(resource=load.resource, name=load.name, value_of_another_hour=another_hour)


def _best_line(product: PlannedProduct, units: int) -> BestMixLine:
    pieces = units * product.unit
    return BestMixLine(
        product=product.product, listing=product.listing, pieces=pieces, change=pieces - product.sale.pieces
    )


def _none_found(outcome: MixOutcome, limited_by: Sequence[str]) -> BestMixStatement:
    return BestMixStatement(outcome=outcome, limited_by=tuple(limited_by))


def _share(part: Decimal, whole: Decimal) -> Decimal | None:
    return known(part / whole, _DECIMALS) if whole else None


def _decimal(figure: Fraction) -> Decimal:
    return Decimal(figure.numerator) / Decimal(figure.denominator)
