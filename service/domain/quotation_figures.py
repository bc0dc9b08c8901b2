"""Every figure of a quotation, from its request and its basis alone."""

from collections.abc import Iterable, Mapping
from decimal import Decimal

from service.domain.aim import Aim
from service.domain.cost_sheet import CostSheet, cost_sheet
from service.domain.errors import InvalidValueError, InvalidValuesError
from service.domain.exact import ZERO, exactly, half_up
from service.domain.money import Money, rounded, unit_cost
from service.domain.pricing import Pricing
from service.domain.quotation import (
    Kept,
    QuotationBasis,
    QuotationFigures,
    QuotedAdjustment,
    QuotedLine,
    QuotedQuantity,
    QuotedTax,
    QuotedTaxSubtotal,
    QuotedTotals,
)
from service.domain.quotation_request import (
    LineAdjustment,
    QuotationAdjustment,
    QuotationLineRequest,
    QuotationRequest,
    currency_problems,
)
from service.domain.rates import TaxRate, unit_rates
from service.domain.sale import Sale
from service.domain.totals import (
    AppliedTax,
    DocumentAdjustment,
    DocumentLine,
    DocumentTotals,
    document_totals,
    line_gross,
    line_net,
)
from service.domain.unit_costs import unit_costs

_SHARE_DECIMALS = 6


def _kept(net: Decimal, sheets: Iterable[CostSheet], currency: str) -> Kept:
    """What is kept of a net amount, the costs being what the cost sheets show."""
    counted = list(sheets)
    shown = [sheet.shown_per_batch() for sheet in counted]
    full = sum((sheet.full_cost for sheet in counted), ZERO)
    full_cost = rounded(sum((sum(amounts, ZERO) for amounts in shown), ZERO), currency)
    variable = (sheet.variable_share_of(amounts) for sheet, amounts in zip(counted, shown, strict=True))
    variable_cost = rounded(sum(variable, ZERO), currency)
    return Kept(
        full_cost=full_cost,
        variable_cost=variable_cost,
        profit=rounded(net - full_cost.amount, currency),
        contribution=rounded(net - variable_cost.amount, currency),
        margin_share=half_up((net - full) / net, _SHARE_DECIMALS) if net else None,
    )


class _Quoting:
    """One pass over a request with its basis."""

    def __init__(self, request: QuotationRequest, basis: QuotationBasis) -> None:
        self.request, self.basis, self.currency = request, basis, basis.currency
        self.sheets: dict[tuple[str, int], CostSheet] = {
            (bill.product, bill.quantity): cost_sheet(
                bill,
                unit_rates(basis.card, bill.resources, basis.pools, self._converted),
                as_of=basis.as_of,
                currency=basis.currency,
            )
            for bill in basis.bills
        }
        self.names = {bill.product: bill.name for bill in basis.bills}

    def _converted(self, money: Money) -> Decimal:
        return self.basis.exchange.converted(money, self.currency)

    def tax(self, code: str) -> QuotedTax:
        registered, terms = self.basis.taxes[code], self.basis.card.rates[f"taxes/{code}"].terms
        assert isinstance(terms, TaxRate)  # the card holds tax terms under taxes/
        return QuotedTax(
            code=code,
            name=registered.name,
            category=registered.category.value,
            rate_share=terms.rate_share,
            exemption_reason=registered.exemption_reason,
        )

    def applied(self, code: str) -> AppliedTax:
        return AppliedTax(category=self.basis.taxes[code].category, rate_share=self.tax(code).rate_share)

    def adjusted(
        self, adjustments: Iterable[LineAdjustment | QuotationAdjustment], base: Mapping[str, Decimal], key: str = ""
    ) -> tuple[QuotedAdjustment, ...]:
        found = []
        for each in adjustments:
            of = base[each.tax if isinstance(each, QuotationAdjustment) else key]
            amount = each.amount if each.share is None else of * each.share
            found.append(QuotedAdjustment(reason=each.reason, amount=rounded(amount or ZERO, self.currency)))
        return tuple(found)

    def document_line(self, line: QuotationLineRequest, quantity: int) -> tuple[QuotedQuantity, DocumentLine]:
        sheet = self.sheets[line.product, quantity]
        costs = unit_costs(sheet)
        asked = Pricing(Aim(line.policy, Sale(), self.currency), costs).asked().asked
        bare = DocumentLine(quantity=Decimal(quantity), net_price=asked, tax=self.applied(line.tax))
        base = {"": line_gross(bare, self.currency)}
        allowances, charges = self.adjusted(line.allowances, base), self.adjusted(line.charges, base)
        full = DocumentLine(
            quantity=bare.quantity,
            net_price=asked,
            allowances=tuple(each.amount.amount for each in allowances),
            charges=tuple(each.amount.amount for each in charges),
            tax=bare.tax,
        )
        net = line_net(full, self.currency)
        quoted = QuotedQuantity(
            quantity=quantity,
            unit_price=rounded(asked, self.currency),
            unit_full_cost=unit_cost(costs.full, self.currency),
            allowances=allowances,
            charges=charges,
            net_amount=rounded(net, self.currency),
            kept=_kept(net, [sheet], self.currency),
        )
        return quoted, full

    def figures(self) -> QuotationFigures:
        lines, document_lines = [], []
        for line in self.request.lines:
            (quoted, document_line), *breaks = (self.document_line(line, each) for each in line.quantities)
            document_lines.append(document_line)
            lines.append(
                QuotedLine(
                    product=line.product,
                    description=line.description or self.names[line.product],
                    tax=self.tax(line.tax),
                    quoted=quoted,
                    quantity_breaks=tuple(each for each, _ in breaks),
                )
            )
        under_tax: dict[AppliedTax, Decimal] = {}
        for document_line in document_lines:
            under_tax[document_line.tax] = under_tax.get(document_line.tax, ZERO) + line_net(
                document_line, self.currency
            )
        base = {code: under_tax.get(self.applied(code), ZERO) for code in self.basis.taxes}
        allowances = self.adjusted(self.request.allowances, base)
        charges = self.adjusted(self.request.charges, base)
        totals = document_totals(
            document_lines,
            currency=self.currency,
            allowances=self._document_adjustments(self.request.allowances, allowances),
            charges=self._document_adjustments(self.request.charges, charges),
        )
        self._check_not_negative(lines, totals)
        counted = [self.sheets[line.product, line.quantity] for line in self.request.lines]
        return QuotationFigures(
            currency=self.currency,
            lines=tuple(lines),
            allowances=allowances,
            charges=charges,
            totals=self._stated(totals),
            kept=_kept(totals.tax_exclusive, counted, self.currency),
        )

    def _check_not_negative(self, lines: Iterable[QuotedLine], totals: DocumentTotals) -> None:
        """Refuse allowances that take off more than there is: a quotation is not a credit note."""
        problems = [
            InvalidValueError(("lines", index, "allowances"), "take off more than the line comes to")
            for index, line in enumerate(lines)
            if any(each.net_amount.amount < 0 for each in (line.quoted, *line.quantity_breaks))
        ]
        if not problems and any(subtotal.taxable_amount < 0 for subtotal in totals.tax_subtotals):
            problems.append(InvalidValueError(("allowances",), "take off more than the lines under their tax come to"))
        if problems:
            raise InvalidValuesError(problems)

    def _document_adjustments(
        self, wanted: Iterable[QuotationAdjustment], found: Iterable[QuotedAdjustment]
    ) -> list[DocumentAdjustment]:
        return [
            DocumentAdjustment(amount=each.amount.amount, tax=self.applied(request.tax))
            for request, each in zip(wanted, found, strict=True)
        ]

    def _stated(self, totals: DocumentTotals) -> QuotedTotals:
        def money(amount: Decimal) -> Money:
            return rounded(amount, self.currency)

        taxes: dict[AppliedTax, QuotedTax] = {}
        for _, code in self.request.taxes_named():
            taxes.setdefault(self.applied(code), self.tax(code))
        return QuotedTotals(
            line_total=money(totals.line_total),
            allowance_total=money(totals.allowance_total),
            charge_total=money(totals.charge_total),
            tax_exclusive=money(totals.tax_exclusive),
            tax_subtotals=tuple(
                QuotedTaxSubtotal(
                    category=subtotal.tax.category.value,
                    rate_share=subtotal.tax.rate_share,
                    name=taxes[subtotal.tax].name,
                    exemption_reason=taxes[subtotal.tax].exemption_reason,
                    taxable_amount=money(subtotal.taxable_amount),
                    tax_amount=money(subtotal.tax_amount),
                )
                for subtotal in totals.tax_subtotals
            ),
            tax_total=money(totals.tax_total),
            tax_inclusive=money(totals.tax_inclusive),
            payable=money(totals.payable),
        )


@exactly
def quotation_figures(request: QuotationRequest, basis: QuotationBasis) -> QuotationFigures:
    """Every figure of the quotation, from the request and the basis alone.

    The same request and basis give the same figures in years to come: that is how a stored quotation is
    checked.

    Raises:
        InvalidValuesError: an amount or a price step is finer than the currency's minor unit, or allowances
            take off more than there is.
        MissingRatesError: a resource of a bill has no rate in the basis.
    """
    if problems := list(currency_problems(request, basis.currency)):
        raise InvalidValuesError(problems)
    return _Quoting(request, basis).figures()
