"""The figures of a quotation, computed from its request and its basis only."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property

from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.document_totals import (
    AppliedTax,
    DocumentAdjustment,
    DocumentLine,
    DocumentTotals,
    document_totals,
    line_net,
)
from service.domain.quoting.lines import QuotedLines, adjusted, currency_problems
from service.domain.quoting.quotation import (
    AdjustmentKind,
    QuotationFigures,
    QuotedAdjustment,
    QuotedLine,
    QuotedQuantity,
    QuotedTax,
    QuotedTaxSubtotal,
    QuotedTotals,
)
from service.domain.quoting.request import QuotationRequest
from service.domain.selling.channels import Display
from service.domain.shipping.shipping_statement import ShippingStatement, shipping_statement
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ONE, UNITS, ZERO, exactly, share_of, snapped, whole_up
from service.domain.values.message import Message, PlausibilityWarning
from service.domain.values.money import Money, cash_rounded, in_currency, minor_unit_decimals, rounded
from service.domain.values.shown import shown
from service.domain.values.units import Unit

_FLOOR = "the pricing policy of the line"
_KEPT = "what the workshop keeps of the whole"


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnTheWhole:
    """An allowance or a charge on the whole quotation, with its tax."""

    tax: AppliedTax
    quoted: QuotedAdjustment
    is_charge: bool

    @property
    def counted(self) -> DocumentAdjustment:
        return DocumentAdjustment(amount=self.quoted.amount.amount, tax=self.tax)


class _Quoting:
    """Computes a request with its basis."""

    def __init__(self, request: QuotationRequest, basis: QuotationBasis) -> None:
        self.request, self.basis, self.currency = request, basis, basis.currency
        self.priced = QuotedLines(request.lines, basis, request.display)
        self.under_tax: dict[AppliedTax, Decimal] = {}

    def figures(self) -> QuotationFigures:
        breaks = self.basis.breaks or [line.quantity_breaks for line in self.request.lines]
        places = range(len(self.request.lines))
        made = [self.priced.line(place, others) for place, others in zip(places, breaks, strict=True)]
        lines, counted = tuple(line for line, _ in made), [each for _, each in made]
        adjustments = list(self._adjustments(counted))
        allowances = [each for each in adjustments if not each.is_charge]
        charges = [each for each in adjustments if each.is_charge]
        totals = document_totals(
            counted,
            currency=self.currency,
            allowances=[each.counted for each in allowances],
            charges=[each.counted for each in charges],
            contains_tax=self.request.display is Display.TAX_INCLUSIVE,
        )
        self._check_not_negative(lines, totals)
        lines = tuple(self._held_against_floor(place, line) for place, line in enumerate(lines))
        costs = [self.priced.costs(place, line.quantity).line for place, line in enumerate(self.request.lines)]
        return QuotationFigures(
            currency=self.currency,
            lines=lines,
            allowances=tuple(each.quoted for each in allowances),
            charges=tuple(each.quoted for each in charges),
            totals=self._totals(totals),
            kept=self.priced.kept(totals.tax_exclusive, costs, self._carriage),
            shipping=self._shipping(),
            display=self.request.display,
        )

    def _adjustments(self, lines: Iterable[DocumentLine]) -> Iterator[_OnTheWhole]:
        """All allowances and charges on the whole: those requested, then minimum order and shipping."""
        request, under_tax = self.request, self.under_tax
        for line in lines:
            under_tax[line.tax] = under_tax.get(line.tax, ZERO) + line_net(line, self.currency)
        goods = sum(under_tax.values(), ZERO)
        for wanted, is_charge, kind in (
            (request.allowances, False, AdjustmentKind.REQUESTED),
            (request.charges, True, AdjustmentKind.REQUESTED),
            ((request.rush_charge,) if request.rush_charge else (), True, AdjustmentKind.RUSH),
        ):
            for each in wanted:
                tax = self.priced.applied(each.tax)
                found = adjusted(each, under_tax.get(tax, ZERO), self.currency, kind)
                quoted = replace(found, tax=self.priced.tax(each.tax))
                goods -= ZERO if is_charge else quoted.amount.amount
                yield _OnTheWhole(tax=tax, quoted=quoted, is_charge=is_charge)
        least, shipping = request.minimum_order, request.shipping
        if least is not None and least.amount > goods:
            # Allowances above the goods are refused elsewhere; the minimum charge does not make up for them.
            yield self._charge(least.tax, least.amount - max(goods, ZERO), AdjustmentKind.MINIMUM_ORDER, least.reason)
        if self._carriage is not None and shipping is not None and shipping.is_charged:
            amount = self._carriage * (ONE + shipping.markup_share) * self.priced.sale(shipping.tax).displayed
            yield self._charge(shipping.tax, amount, AdjustmentKind.SHIPPING)

    def _held_against_floor(self, place: int, line: QuotedLine) -> QuotedLine:
        """The line, each of its batches with what it lacks to the floor of the line's policy."""
        quoted, *breaks = (self._short_of_floor(place, each, line.quoted) for each in line.quantities)
        return replace(line, quoted=quoted, quantity_breaks=tuple(breaks))

    def _short_of_floor(self, place: int, batch: QuotedQuantity, counted: QuotedQuantity) -> QuotedQuantity:
        """A batch with what its quantity lacks to the floor, with the other lines at the sizes that are counted.

        They bring in quantity × price − the line's allowances − its part of the allowances on the whole, which the
        lines under a tax bear in proportion to their amounts. All of it is with tax if prices contain it.
        """
        floor = self.priced.floor(place, batch.quantity)
        if floor is None:
            return batch
        tax, amount = self.priced.applied(self.request.lines[place].tax), batch.amount.amount
        goods = self.under_tax[tax] - counted.amount.amount + amount
        taken_off = self._taken_off(tax, goods) * (share_of(amount, goods) or ZERO)
        taken_off += sum((each.amount.amount for each in batch.allowances), ZERO)
        short = (floor - batch.unit_price.amount) * batch.quantity / batch.base_quantity + taken_off
        unit = UNITS[minor_unit_decimals(self.currency)]
        if snapped(short) <= 0:
            return batch
        return replace(batch, below_floor=in_currency(whole_up(short / unit) * unit, self.currency))

    def _taken_off(self, tax: AppliedTax, goods: Decimal) -> Decimal:
        """The allowances on the whole under a tax, where its lines come to this much."""
        under = (each for each in self.request.allowances if self.priced.applied(each.tax) == tax)
        return sum((adjusted(each, goods, self.currency).amount.amount for each in under), ZERO)

    def _charge(self, tax: str, amount: Decimal, kind: AdjustmentKind, reason: str = "") -> _OnTheWhole:
        quoted = QuotedAdjustment(
            reason=reason, amount=rounded(amount, self.currency), kind=kind, tax=self.priced.tax(tax)
        )
        return _OnTheWhole(tax=self.priced.applied(tax), quoted=quoted, is_charge=True)

    @cached_property
    def _carriage(self) -> Decimal | None:
        """The price of shipping in the quotation's currency, unrounded; None if nothing is shipped."""
        shipment = self.basis.shipment
        return None if shipment is None else self.basis.exchange.converted(shipment.estimate.price, self.currency)

    def _shipping(self) -> ShippingStatement | None:
        if (found := self.basis.shipment) is None:
            return None
        home = self.basis.card.currency
        return shipping_statement(found.estimate, found.shipment, currency=home, convert=self.priced.home)

    def _check_not_negative(self, lines: Iterable[QuotedLine], totals: DocumentTotals) -> None:
        """Raises InvalidValuesError if allowances exceed their base: a quotation is not a credit note."""
        problems = [
            InvalidValueError(("lines", index, "allowances"), "take off more than the line comes to")
            for index, line in enumerate(lines)
            if any(each.net_amount.amount < 0 for each in line.quantities)
        ]
        if not problems and any(subtotal.taxable_amount < 0 for subtotal in totals.tax_subtotals):
            problems.append(InvalidValueError(("allowances",), "take off more than the lines under their tax come to"))
        if problems:
            raise InvalidValuesError(problems)

    def _totals(self, totals: DocumentTotals) -> QuotedTotals:
        taxes: dict[AppliedTax, QuotedTax] = {}
        for code in self.request.taxes():
            taxes.setdefault(self.priced.applied(code), self.priced.tax(code))
        subtotals = [shown(QuotedTaxSubtotal, self.currency, each, taxes[each.tax]) for each in totals.tax_subtotals]
        cash = cash_rounded(totals.payable, self.currency) if self.request.cash else None
        rounding = None if cash is None else (cash.amount - totals.payable or None)
        payable = totals.payable + (rounding or ZERO)
        return shown(QuotedTotals, self.currency, totals, tax_subtotals=subtotals, rounding=rounding, payable=payable)


@exactly
def quotation_figures(request: QuotationRequest, basis: QuotationBasis) -> QuotationFigures:
    """The figures of a quotation; a pure function of request and basis, so that stored quotations can be checked.

    Raises:
        InvalidValuesError: an amount or price step is finer than the minor unit, or allowances exceed their base.
        MissingRatesError: a resource of a bill has no rate in the basis.
    """
    if problems := list(currency_problems(request, basis.currency)):
        raise InvalidValuesError(problems)
    return _Quoting(request, basis).figures()


def chosen_figures(
    request: QuotationRequest, basis: QuotationBasis, quantities: tuple[Decimal, ...]
) -> QuotationFigures:
    """The figures for one batch size of each line only; raises as `quotation_figures` does."""
    return quotation_figures(request.choosing(quantities), replace(basis, breaks=((),) * len(quantities)))


def floor_warnings(figures: QuotationFigures) -> Iterator[PlausibilityWarning]:
    """A warning for each batch that is below the floor of its line's policy after all allowances."""
    for number, line in enumerate(figures.lines, start=1):
        for batch in line.quantities:
            if batch.below_floor is not None:
                yield _below_floor("after all allowances", number, line, batch.quantity, batch.below_floor)


def least_choice_warnings(
    request: QuotationRequest, basis: QuotationBasis, figures: QuotationFigures
) -> Iterator[PlausibilityWarning]:
    """A warning for each line that only falls below its floor if the customer takes the least of every line.

    Then lines bear the greatest part of an amount that is taken off the whole. What cannot be accepted so is not told.
    """
    if all(each.amount is None for each in request.allowances):
        return
    least = [min(line.quantities, key=lambda each: each.net_amount.amount) for line in figures.lines]
    try:
        chosen = chosen_figures(request, basis, tuple(each.quantity for each in least))
    except InvalidValuesError:  # more is taken off than the least of every line comes to
        return
    for number, (alone, line) in enumerate(zip(least, chosen.lines, strict=True), start=1):
        if alone.below_floor is None and line.quoted.below_floor is not None:
            condition = "if the customer takes the least of every line"
            yield _below_floor(condition, number, line, alone.quantity, line.quoted.below_floor)


def _below_floor(condition: str, number: int, line: QuotedLine, quantity: Decimal, short: Money) -> PlausibilityWarning:
    """The warning that a quantity of a line misses its floor, on a condition."""
    is_counted = line.unit is Unit.PIECE
    counted, unit = ("{pieces}", {}) if is_counted else ("{pieces} {unit}", {"unit": line.unit.several})
    text = Message(
        f"Line {{line}}: {condition}, a quantity of {counted} brings in {{short}} {{currency}} less than the floor of "
        f"its policy allows.",
        line=Decimal(number),
        pieces=quantity,
        short=short.amount,
        currency=short.currency,
        **unit,
    )
    return PlausibilityWarning(code="below-floor", product=line.product, text=text, source=_FLOOR)


def loss_warnings(figures: QuotationFigures) -> Iterator[PlausibilityWarning]:
    """A warning if what is counted in the totals brings in less than it costs, whether its policies have floors or not.

    It also tells of shipping that the customer is not charged for, which no line's floor holds.
    """
    kept = figures.kept
    if kept.profit.amount >= 0:
        return
    loss, currency = -kept.profit.amount, figures.currency
    if kept.contribution.amount < 0:
        template = "All in all the quotation loses {loss} {currency}: it does not even bring in its variable cost."
    else:
        template = "All in all the quotation loses {loss} {currency} at full cost."
    text = Message(template, loss=loss, currency=currency)
    yield PlausibilityWarning(code="loss", product=None, text=text, source=_KEPT)
