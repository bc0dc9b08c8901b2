"""The figures of a quotation, computed from its request and its basis only."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from functools import cached_property

from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.batch_costs import kept
from service.domain.quoting.document_totals import (
    AppliedTax,
    DocumentAdjustment,
    DocumentLine,
    DocumentTotals,
    document_totals,
    line_net,
)
from service.domain.quoting.lines import QuotedLines, adjusted
from service.domain.quoting.quotation import (
    AdjustmentKind,
    QuotationFigures,
    QuotedAdjustment,
    QuotedLine,
    QuotedTax,
    QuotedTaxSubtotal,
    QuotedTotals,
)
from service.domain.quoting.request import QuotationRequest, currency_problems
from service.domain.shipping.shipping_statement import ShippingStatement, shipping_statement
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ONE, ZERO, exactly
from service.domain.values.money import rounded
from service.domain.values.shown import shown


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
        self.priced = QuotedLines(request.lines, basis)

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
        )
        self._check_not_negative(lines, totals)
        sheets = [self.priced.sheet(place) for place in places]
        return QuotationFigures(
            currency=self.currency,
            lines=lines,
            allowances=tuple(each.quoted for each in allowances),
            charges=tuple(each.quoted for each in charges),
            totals=self._totals(totals),
            kept=kept(totals.tax_exclusive, sheets, self.currency, self.priced.abroad, self._carriage),
            shipping=self._shipping(),
        )

    def _adjustments(self, lines: Iterable[DocumentLine]) -> Iterator[_OnTheWhole]:
        """All allowances and charges on the whole: those requested, then minimum order and shipping."""
        request = self.request
        under_tax: dict[AppliedTax, Decimal] = {}
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
            amount = self._carriage * (ONE + shipping.markup_share)
            yield self._charge(shipping.tax, amount, AdjustmentKind.SHIPPING)

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
            if any(each.net_amount.amount < 0 for each in (line.quoted, *line.quantity_breaks))
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
        return shown(QuotedTotals, self.currency, totals, tax_subtotals=subtotals)


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


def chosen_figures(request: QuotationRequest, basis: QuotationBasis, quantities: tuple[int, ...]) -> QuotationFigures:
    """The figures for one batch size of each line only; raises as `quotation_figures` does."""
    return quotation_figures(request.choosing(quantities), replace(basis, breaks=((),) * len(quantities)))
