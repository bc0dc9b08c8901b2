"""A cost sheet as shown: rounded so that it adds up."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from functools import reduce
from typing import Any

from service.domain.costing.cost_sheet import CONVERSION, PRIME, CostedBatch, CostSheet
from service.domain.currency.exchange_rates import UsedRates
from service.domain.making.cost_classes import CostClass
from service.domain.safety.cautions import Caution
from service.domain.values.exact import ZERO, apportioned, exactly, half_up, readable
from service.domain.values.message import PlausibilityWarning
from service.domain.values.money import Money, in_currency, minor_unit_decimals, readable_decimals, rounded
from service.domain.values.shown import WITH_MORE_DIGITS, Quantity, ShownShare, UnitAmount, UnitRate, shown

_MORE_DECIMALS, _QUANTITY_DECIMALS, _SHARE_DECIMALS = 2, 3, 3
"""Of rates beyond the minor unit, of quantities, and of shares, as people read them."""
_Amounts = tuple[Decimal, Decimal]
"""For the batch, and for a piece."""
_NOTHING: _Amounts = ZERO, ZERO


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedLine:
    """One resource on a cost sheet.

    Attributes:
        resource: its reference, for instance "tariffs/grid#day".
        name: what the workshop calls it.
        cost_class: the heading it stands under.
        variable: whether its cost varies with the volume.
        quantity: for the whole batch; for a share of a subtotal, that subtotal.
        unit: the unit of the quantity; the currency for a share of a subtotal.
        rate: what one unit costs, in the sheet's currency; for a share of a subtotal, the share.
        amount: for the whole batch, rounded so that the lines add up to the full cost.
        amount_per_piece: for a good piece, with four more decimals.
        share_of_full_cost: amount ÷ full cost, 0.25 for a quarter; null where the full cost is not above 0, of which
            nothing is a share.
        one_percent_adds_per_piece: what one percent on the rate adds to the cost of a piece, overhead on it included.
    """

    resource: str
    name: str
    cost_class: CostClass
    variable: bool
    quantity: Quantity
    unit: str
    rate: UnitRate
    amount: Money
    amount_per_piece: UnitAmount
    share_of_full_cost: ShownShare | None
    one_percent_adds_per_piece: UnitAmount


@dataclass(frozen=True, slots=True, kw_only=True)
class Subtotal:
    """The sum of some lines.

    Attributes:
        per_batch: for the whole batch.
        per_piece: for a good piece.
    """

    per_batch: Money
    per_piece: UnitAmount


@dataclass(frozen=True, slots=True, kw_only=True)
class Subtotals:
    """The subtotals of a cost sheet.

    Attributes:
        prime_cost: direct material, packaging and direct labour.
        conversion_cost: everything but direct material and packaging.
        variable_cost: every line that varies with the volume.
        fixed_cost: every other line.
        full_cost: everything.
    """

    prime_cost: Subtotal
    conversion_cost: Subtotal
    variable_cost: Subtotal
    fixed_cost: Subtotal
    full_cost: Subtotal


@dataclass(frozen=True, slots=True, kw_only=True)
class CostStatement(CostedBatch):
    """What a batch costs.

    Attributes:
        lines: one for each resource that costs something.
        cost_classes: the sum under each heading that has lines.
        subtotals: prime, conversion, variable, fixed and full cost.
        rates_valid_from: since when each rate used has been in force; for a what-if rate, the sheet's date.
        exchange_rates: the rates that amounts were converted with.
        warnings: facts that look implausible; they never refuse a request.
        cautions: where the work or the product can hurt someone.
    """

    lines: tuple[StatedLine, ...]
    cost_classes: Mapping[str, Subtotal]
    subtotals: Subtotals
    rates_valid_from: Mapping[str, date]
    exchange_rates: tuple[UsedRates, ...]
    warnings: tuple[PlausibilityWarning, ...]
    cautions: tuple[Caution, ...]


@exactly
def cost_statement(
    sheet: CostSheet,
    *,
    rates_valid_from: Mapping[str, date],
    exchange_rates: tuple[UsedRates, ...] = (),
    warnings: tuple[PlausibilityWarning, ...] = (),
    cautions: tuple[Caution, ...] = (),
) -> CostStatement:
    """The sheet with lines that add up to the rounded full cost; every subtotal is the sum of its lines as shown."""
    lines, currency = tuple(_stated_lines(sheet)), sheet.currency
    return shown(
        CostStatement,
        currency,
        sheet,
        lines=lines,
        **_sums(lines, currency, minor_unit_decimals(currency) + WITH_MORE_DIGITS.decimals),
        rates_valid_from=rates_valid_from,
        exchange_rates=exchange_rates,
        warnings=warnings,
        cautions=cautions,
    )


@exactly
def for_people(statement: CostStatement) -> CostStatement:
    """The sheet in the digits that people read; its lines still add up to its sums.

    Amounts a piece at the minor unit, with up to four more decimals where the full cost has fewer than three digits;
    quantities with three decimals, rates of a unit with two more than the minor unit, shares in tenths of a percent.
    """
    currency, full_cost = statement.currency, statement.subtotals.full_cost.per_piece.amount
    decimals = minor_unit_decimals(currency)
    of_piece = readable_decimals(full_cost, currency)
    exact = [line.amount_per_piece.amount for line in statement.lines]
    per_piece = apportioned(exact, of_piece) if exact else ()
    lines = tuple(
        replace(
            line,
            quantity=readable(line.quantity, _QUANTITY_DECIMALS),
            rate=readable(line.rate, _SHARE_DECIMALS if line.unit == currency else decimals + _MORE_DECIMALS),
            amount_per_piece=in_currency(amount, currency),
            share_of_full_cost=None
            if line.share_of_full_cost is None
            else readable(line.share_of_full_cost, _SHARE_DECIMALS),
        )
        for line, amount in zip(statement.lines, per_piece, strict=True)
    )
    return replace(statement, lines=lines, **_sums(lines, currency, of_piece))


def _sums(lines: Iterable[StatedLine], currency: str, decimals: int) -> dict[str, Any]:
    """The sums of a sheet, of the lines as shown; amounts a piece with so many decimals."""
    headings: dict[CostClass, _Amounts] = {}
    by_volume = {True: _NOTHING, False: _NOTHING}
    for line in lines:
        amounts = line.amount.amount, line.amount_per_piece.amount
        headings[line.cost_class] = _plus(headings.get(line.cost_class, _NOTHING), amounts)
        by_volume[line.variable] = _plus(by_volume[line.variable], amounts)

    def of(*found: _Amounts) -> Subtotal:
        per_batch, per_piece = reduce(_plus, found, _NOTHING)
        a_piece = in_currency(half_up(per_piece, decimals), currency)
        return Subtotal(per_batch=rounded(per_batch, currency), per_piece=a_piece)

    return {
        "cost_classes": {each.value: of(headings[each]) for each in CostClass if each in headings},
        "subtotals": Subtotals(
            prime_cost=of(*(headings[each] for each in headings if each in PRIME)),
            conversion_cost=of(*(headings[each] for each in headings if each in CONVERSION)),
            variable_cost=of(by_volume[True]),
            fixed_cost=of(by_volume[False]),
            full_cost=of(*by_volume.values()),
        ),
    }


def _plus(one: _Amounts, other: _Amounts) -> _Amounts:
    return one[0] + other[0], one[1] + other[1]


def _stated_lines(sheet: CostSheet) -> Iterator[StatedLine]:
    currency, full_cost = sheet.currency, sheet.full_cost
    for line, amount, per_piece in zip(sheet.lines, sheet.shown_per_batch(), sheet.shown_per_piece(), strict=True):
        yield shown(
            StatedLine,
            currency,
            line,
            amount=in_currency(amount, currency),
            amount_per_piece=in_currency(per_piece, currency),
            share_of_full_cost=line.amount / full_cost if full_cost > 0 else None,
            one_percent_adds_per_piece=line.effect_of_one_percent / sheet.quantity,
        )
