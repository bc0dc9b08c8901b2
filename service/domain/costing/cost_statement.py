"""A cost sheet as it is shown: rounded, and still adding up."""

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from service.domain.costing.cost_sheet import CONVERSION, PRIME, CostSheet
from service.domain.currency.exchange_rates import UsedRates
from service.domain.making.plausibility import Implausibility
from service.domain.making.resources import CostClass
from service.domain.safety.cautions import Caution
from service.domain.values.exact import SHARE_DECIMALS, ZERO, exactly, half_up, plain
from service.domain.values.money import UNIT_COST_DECIMALS, Money, in_currency, minor_unit_decimals

_ALL = frozenset(CostClass)


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedLine:
    """One resource on a cost sheet.

    Attributes:
        resource: its reference, for instance "tariffs/grid#day".
        name: what the workshop calls it.
        cost_class: the heading it stands under.
        variable: whether it rises and falls with the volume.
        quantity: for the whole batch; for a share of a subtotal, that subtotal.
        unit: the unit of the quantity; the currency for a share of a subtotal.
        rate: what one unit costs, in the sheet's currency; for a share of a subtotal, the share.
        amount: for the whole batch, so rounded that the lines add up to the full cost.
        amount_per_piece: for a good piece, with four digits more.
        share_of_full_cost: of the whole, 0.25 for a quarter.
        one_percent_adds_per_piece: what one percent on the rate adds to a piece, overhead on it included.
    """

    resource: str
    name: str
    cost_class: CostClass
    variable: bool
    quantity: Decimal
    unit: str
    rate: Decimal
    amount: Money
    amount_per_piece: Money
    share_of_full_cost: Decimal
    one_percent_adds_per_piece: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Subtotal:
    """The sum of some lines.

    Attributes:
        per_batch: for the whole batch.
        per_piece: for a good piece.
    """

    per_batch: Money
    per_piece: Money


@dataclass(frozen=True, slots=True, kw_only=True)
class Subtotals:
    """The sums that the trade looks at.

    Attributes:
        prime_cost: direct material, packaging and direct labour.
        conversion_cost: everything but direct material and packaging.
        variable_cost: every line that rises and falls with the volume.
        fixed_cost: every other line.
        full_cost: everything.
    """

    prime_cost: Subtotal
    conversion_cost: Subtotal
    variable_cost: Subtotal
    fixed_cost: Subtotal
    full_cost: Subtotal


@dataclass(frozen=True, slots=True, kw_only=True)
class CostStatement:
    """What a batch costs.

    Attributes:
        product: code of the product.
        name: its name.
        quantity: good pieces in the batch.
        as_of: the date whose rates are used.
        currency: of every amount.
        lines: one for each resource that costs something.
        cost_classes: the sum under each heading that has lines.
        subtotals: prime, conversion, variable, fixed and full cost.
        rates_valid_from: since when each rate used has been in force; for a what-if rate, the sheet's date.
        exchange_rates: what amounts were converted with.
        warnings: what looks implausible; never a refusal.
        cautions: where the work or the product can hurt someone.
    """

    product: str
    name: str
    quantity: int
    as_of: date
    currency: str
    lines: tuple[StatedLine, ...]
    cost_classes: Mapping[str, Subtotal]
    subtotals: Subtotals
    rates_valid_from: Mapping[str, date]
    exchange_rates: tuple[UsedRates, ...]
    warnings: tuple[Implausibility, ...]
    cautions: tuple[Caution, ...]


@exactly
def cost_statement(
    sheet: CostSheet,
    *,
    rates_valid_from: Mapping[str, date],
    exchange_rates: tuple[UsedRates, ...] = (),
    warnings: tuple[Implausibility, ...] = (),
    cautions: tuple[Caution, ...] = (),
) -> CostStatement:
    """The sheet with its lines rounded so that they add up to the rounded full cost (largest remainder).

    Every subtotal is the sum of the lines shown, so a reader's own addition gives the same figure.
    """
    lines = tuple(_stated_lines(sheet))
    sums = _Sums(lines, sheet.currency)
    return CostStatement(
        product=sheet.product,
        name=sheet.name,
        quantity=sheet.quantity,
        as_of=sheet.as_of,
        currency=sheet.currency,
        lines=lines,
        cost_classes={each.value: sums.under({each}) for each in CostClass if sums.has(each)},
        subtotals=Subtotals(
            prime_cost=sums.under(PRIME),
            conversion_cost=sums.under(CONVERSION),
            variable_cost=sums.under(_ALL, behaviour=(True,)),
            fixed_cost=sums.under(_ALL, behaviour=(False,)),
            full_cost=sums.under(_ALL),
        ),
        rates_valid_from=rates_valid_from,
        exchange_rates=exchange_rates,
        warnings=warnings,
        cautions=cautions,
    )


def _stated_lines(sheet: CostSheet) -> Iterator[StatedLine]:
    """Each line at the batch and for a piece, so rounded that they add up."""
    currency, pieces, full_cost = sheet.currency, Decimal(sheet.quantity), sheet.full_cost
    decimals = minor_unit_decimals(currency) + UNIT_COST_DECIMALS
    shown = zip(sheet.lines, sheet.shown_per_batch(), sheet.shown_per_piece(), strict=True)
    for line, batch_amount, piece_amount in shown:
        yield StatedLine(
            resource=line.resource,
            name=line.name,
            cost_class=line.cost_class,
            variable=line.variable,
            quantity=plain(line.quantity),
            unit=line.unit,
            rate=half_up(line.rate, decimals),
            amount=in_currency(batch_amount, currency),
            amount_per_piece=in_currency(piece_amount, currency),
            share_of_full_cost=half_up(line.amount / full_cost if full_cost else ZERO, SHARE_DECIMALS),
            one_percent_adds_per_piece=in_currency(half_up(line.effect_of_one_percent / pieces, decimals), currency),
        )


class _Sums:
    """Sums of the shown lines by heading and behaviour, from which every subtotal is put together."""

    def __init__(self, lines: Iterable[StatedLine], currency: str) -> None:
        self.currency = currency
        minor = minor_unit_decimals(currency)
        self.zeros = half_up(ZERO, minor), half_up(ZERO, minor + UNIT_COST_DECIMALS)
        self.sums: dict[tuple[CostClass, bool], tuple[Decimal, Decimal]] = {}
        for line in lines:
            key = line.cost_class, line.variable
            batch_sum, piece_sum = self.sums.get(key, self.zeros)
            self.sums[key] = batch_sum + line.amount.amount, piece_sum + line.amount_per_piece.amount

    def has(self, cost_class: CostClass) -> bool:
        """Whether any line stands under the heading."""
        return (cost_class, True) in self.sums or (cost_class, False) in self.sums

    def under(self, classes: Collection[CostClass], behaviour: tuple[bool, ...] = (True, False)) -> Subtotal:
        """The sum of the lines under these headings that behave so."""
        per_batch, per_piece = self.zeros
        for (cost_class, variable), (batch, piece) in self.sums.items():
            if cost_class in classes and variable in behaviour:
                per_batch += batch
                per_piece += piece
        return Subtotal(
            per_batch=in_currency(per_batch, self.currency), per_piece=in_currency(per_piece, self.currency)
        )
