"""The best mix, as shown."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Context, Decimal
from enum import StrEnum
from fractions import Fraction

from service.domain.month.month import PlannedProduct, programme
from service.domain.month.rounded_month import RoundedMonth
from service.domain.solving.best_mix import BestMix, Programme, Propose, best_mix, gain_of_more, short_of, unlimited
from service.domain.values.exact import MINUTES_PER_HOUR, half_up
from service.domain.values.money import Money
from service.domain.values.shown import Quantity, UnitAmount, shown
from service.domain.values.units import Unit

_OF_A_SOLVER = Context(prec=13)
"""A solver's floats are accurate to 13 digits; rounding to these restores ties."""


class MixOutcome(StrEnum):
    """The outcome of the search for the best mix."""

    FOUND = "found"
    NOT_SOLVED = "not_solved"
    TOO_LITTLE_TIME = "too_little_time"
    UNLIMITED = "unlimited"


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMixLine:
    """How much of a product the best mix has.

    Attributes:
        product: its code.
        listing: code of the listing, if any.
        unit: what its pieces are counted in.
        pieces: in the month; of a unit that is divided, to three decimals.
        change: more or, negative, fewer than planned.
    """

    product: str
    listing: str | None
    unit: Unit
    pieces: Quantity
    change: Quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeValue:
    """The value of more time.

    Attributes:
        resource: the machine or labour grade that is used up.
        name: what the workshop calls it.
        value_of_another_hour: what it would add to the profit where pieces could be divided.
    """

    resource: str
    name: str
    value_of_another_hour: UnitAmount


@dataclass(frozen=True, slots=True, kw_only=True)
class BestMixStatement:
    """The most profitable mix within demand and available time.

    Attributes:
        outcome: found; too_little_time: the least pieces of every product need more time than is available; unlimited:
            a product that contributes is limited neither by demand nor by time; not_solved: the solver found no answer,
            and the rest of the statement holds.
        limited_by: the resources without enough time, or the products without a limit.
        lines: how much of each product, in the order of the plan.
        profit: the profit of this mix.
        gain: its profit less that of the plan; negative if the plan needs more time than is available.
        profit_at_most: an exact upper bound on the profit of any mix of such pieces or batches.
        is_proven: whether the profit reaches that bound, so that no other mix earns more; if not, a better mix may
            exist, but none is known.
        time_values: what another hour of each resource that is used up would add; none of one whose hour adds nothing.
    """

    outcome: MixOutcome
    limited_by: tuple[str, ...] = ()
    lines: tuple[BestMixLine, ...] = ()
    profit: Money | None = None
    gain: Money | None = None
    profit_at_most: Money | None = None
    is_proven: bool | None = None
    time_values: tuple[TimeValue, ...] = ()


def best_mix_statement(month: RoundedMonth, propose: Propose) -> BestMixStatement:
    """The most profitable mix of a month, or why there is none.

    Raises:
        InvalidValuesError: no whole number of batches is within the demand for a product.
    """
    wanted, limits, products = programme(month.month), month.month.limits, month.month.products
    if short := short_of(wanted):
        return _none_found(MixOutcome.TOO_LITTLE_TIME, [limits[place].resource for place in short])
    if free := unlimited(wanted):
        return _none_found(MixOutcome.UNLIMITED, [products[line].product for line in free])
    found = best_mix(wanted, propose)
    if found is None:
        return _none_found(MixOutcome.NOT_SOLVED, [])
    profit, at_most = (
        half_up(_decimal(each), month.decimals) - month.fixed_cost for each in (found.contribution, found.at_most)
    )
    return shown(
        BestMixStatement,
        month.currency,
        outcome=MixOutcome.FOUND,
        lines=tuple(map(_best_line, products, found.units)),
        profit=profit,
        gain=profit - month.profit,
        profit_at_most=at_most,
        is_proven=profit == at_most,
        time_values=tuple(_time_values(month, wanted, found, propose)),
    )


def _time_values(month: RoundedMonth, wanted: Programme, found: BestMix, propose: Propose) -> Iterator[TimeValue]:
    for place, (load, value) in enumerate(zip(month.month.limits, found.minute_values, strict=True)):
        if value and (gain := gain_of_more(wanted, found, place, Fraction(MINUTES_PER_HOUR), propose)):
            another_hour = _OF_A_SOLVER.plus(_decimal(gain))
            yield shown(TimeValue, month.currency, load, value_of_another_hour=another_hour)


def _best_line(product: PlannedProduct, units: int) -> BestMixLine:
    pieces = units * product.step
    return shown(BestMixLine, "", product, pieces=pieces, change=pieces - product.sale.pieces)


def _none_found(outcome: MixOutcome, limited_by: Sequence[str]) -> BestMixStatement:
    return BestMixStatement(outcome=outcome, limited_by=tuple(limited_by))


def _decimal(figure: Fraction) -> Decimal:
    return Decimal(figure.numerator) / Decimal(figure.denominator)
