"""The lines of a quotation, priced from the bills and rates stored with it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.rate_card import unit_rates
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.products import Tooling
from service.domain.quoting.adjustments import LineAdjustment, QuotationAdjustment
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.batch_costs import (
    BatchCosts,
    LineCost,
    asked_price,
    batch_costs,
    item_costs,
    kept,
    paid_by_others,
    payers_of_tools,
    supplied_resources,
)
from service.domain.quoting.document_totals import AppliedTax, DocumentLine, contained_tax, line_gross, line_net
from service.domain.quoting.quotation import (
    AdjustmentKind,
    Kept,
    QuotedAdjustment,
    QuotedLine,
    QuotedQuantity,
    QuotedTax,
    SuppliedMaterial,
)
from service.domain.quoting.request import QuotationLineRequest
from service.domain.selling.channels import Display
from service.domain.selling.sale import Sale
from service.domain.selling.taxes import TaxRate
from service.domain.values.exact import ZERO, share_of
from service.domain.values.money import Money, in_currency, rounded
from service.domain.values.references import WHOLE, part_of
from service.domain.values.shown import shown

BatchKey = tuple[str, Decimal | int, Tooling | None]
"""A product, a quantity, and how its tools are charged."""


class QuotedLines:
    """Prices the lines of a request from the basis of its quotation; each line by its place."""

    def __init__(
        self, lines: Sequence[QuotationLineRequest], basis: QuotationBasis, display: Display = Display.TAX_EXCLUSIVE
    ) -> None:
        self.lines, self.basis, self.currency, self.display = lines, basis, basis.currency, display
        self._bills: dict[BatchKey, BillOfResources] = {
            (bill.product, bill.quantity, bill.tooling): bill for bill in basis.bills
        }
        self._sheets: dict[tuple[BatchKey, frozenset[str]], CostSheet] = {}
        self._left_out = [supplied_resources(line) for line in lines]
        if basis.pays_tools_once:
            payers = payers_of_tools([self._bill(place) if each.product else None for place, each in enumerate(lines)])
            self._left_out = [each | paid_by_others(payers, place) for place, each in enumerate(self._left_out)]

    def _bill(self, place: int, quantity: Decimal | None = None) -> BillOfResources:
        line = self.lines[place]
        assert line.product is not None  # an item has no bill
        return self._bills[line.product, quantity or line.quantity, line.tooling.tooling]

    def home(self, money: Money) -> Decimal:
        """Converts into the workshop's currency, unrounded."""
        return self.basis.exchange.converted(money, self.basis.card.currency)

    def abroad(self, amount: Decimal) -> Decimal:
        """Converts from the workshop's currency to the quotation's, unrounded."""
        return self.basis.exchange.converted(in_currency(amount, self.basis.card.currency), self.currency)

    def tax(self, code: str) -> QuotedTax:
        """A tax as the quotation shows it."""
        registered, terms = self.basis.taxes[code], self.basis.card.rates[f"taxes/{code}"].terms
        assert isinstance(terms, TaxRate)  # the card holds tax terms under taxes/
        return shown(QuotedTax, "", registered, terms, code=code, category=registered.category.value)

    def applied(self, code: str) -> AppliedTax:
        """A tax as the totals use it."""
        return AppliedTax(category=self.basis.taxes[code].category, rate_share=self.tax(code).rate_share)

    def sale(self, tax: str) -> Sale:
        """How something is sold under a tax."""
        return Sale(display=self.display, tax_share=self.applied(tax).rate_share)

    def costs(self, place: int, quantity: Decimal) -> BatchCosts:
        """What a quantity of a line costs, without what costs this line nothing."""
        line = self.lines[place]
        if line.item is not None:
            return item_costs(line.item, quantity, self.basis.card.currency, self.abroad)
        return batch_costs(self._sheet(place, quantity), line.tooling, self.abroad)

    def kept(self, net: Decimal, costs: Iterable[LineCost], shipping: Decimal | None = None) -> Kept:
        """What the workshop keeps of a net amount."""
        is_home = self.currency == self.basis.card.currency
        return kept(net, costs, self.currency, self.abroad, shipping, is_home=is_home)

    def _sheet(self, place: int, quantity: Decimal) -> CostSheet:
        """The cost sheet of a batch in the workshop's currency, without what costs this line nothing."""
        bill, left_out = self._bill(place, quantity), self._left_out[place]
        key = (bill.product, bill.quantity, bill.tooling), left_out
        found = self._sheets.get(key)
        if found is None:
            bill = bill.without(left_out)
            rates = unit_rates(self.basis.card, bill.resources, self.basis.pools, self.home)
            found = cost_sheet(bill, rates, self.basis.card)
            self._sheets[key] = found
        return found

    def floor(self, place: int, quantity: Decimal) -> Decimal | None:
        """The least displayed price of the base quantity by a line's policy, unrounded; None if it names no floor."""
        line = self.lines[place]
        basis, amount = line.policy.never_below_cost, line.policy.never_below_amount
        if basis is None:
            return amount
        cost = self.costs(place, quantity).piece.on(basis)
        return max(cost * line.base_quantity * self.sale(line.tax).displayed, amount or ZERO)

    def line(self, place: int, breaks: Iterable[Decimal]) -> tuple[QuotedLine, DocumentLine]:
        """A line with its quantity breaks, and its line in the totals."""
        line = self.lines[place]
        bill = None if line.item is not None else self._bill(place)
        name = line.item.name if line.item is not None else self._bill(place).name
        quoted, counted = self._quantity(place, line.quantity)
        quoted_line = QuotedLine(
            product=line.product,
            description=line.description or name,
            tax=self.tax(line.tax),
            quoted=quoted,
            quantity_breaks=tuple(self._compared(self._quantity(place, each)[0], quoted) for each in breaks),
            supplied=() if bill is None else tuple(_supplied(bill, line.supplied_materials)),
            unit=line.unit,
        )
        return quoted_line, counted

    def _quantity(self, place: int, quantity: Decimal) -> tuple[QuotedQuantity, DocumentLine]:
        line, costs = self.lines[place], self.costs(place, quantity)
        sale = self.sale(line.tax)
        asked = asked_price(line, costs.piece, self.currency, sale)
        bare = DocumentLine(
            quantity=quantity, net_price=asked, base_quantity=Decimal(line.base_quantity), tax=self.applied(line.tax)
        )
        base = line_gross(bare, self.currency)
        allowances = tuple(adjusted(each, base, self.currency) for each in line.allowances)
        charges = (*(adjusted(each, base, self.currency) for each in line.charges), *self._tools(costs, sale))
        counted = replace(
            bare,
            allowances=tuple(each.amount.amount for each in allowances),
            charges=tuple(each.amount.amount for each in charges),
        )
        amount = net = line_net(counted, self.currency)
        if self.display is Display.TAX_INCLUSIVE:
            net -= contained_tax(amount, sale.tax_share, self.currency)
        quoted = shown(
            QuotedQuantity,
            self.currency,
            quantity=quantity,
            base_quantity=line.base_quantity,
            unit_price=asked,
            unit_full_cost=costs.piece.full,
            allowances=allowances,
            charges=charges,
            net_amount=net,
            amount_with_tax=amount if self.display is Display.TAX_INCLUSIVE else None,
            kept=self.kept(net, [costs.line]),
        )
        return quoted, counted

    def _tools(self, costs: BatchCosts, sale: Sale) -> Iterator[QuotedAdjustment]:
        """The tools charged once, each at its cost, with the tax if prices contain it."""
        for tool in costs.tools:
            amount = rounded(self.abroad(tool.amount) * sale.displayed, self.currency)
            yield QuotedAdjustment(reason=tool.name, amount=amount, kind=AdjustmentKind.TOOLING)

    def _compared(self, other: QuotedQuantity, quoted: QuotedQuantity) -> QuotedQuantity:
        """Another quantity with the saving for a piece."""
        price = quoted.unit_price.amount
        saving = price - other.unit_price.amount
        share = share_of(saving, price)
        return shown(QuotedQuantity, self.currency, other, saving_per_piece=saving, saving_share=share)


def adjusted(
    each: LineAdjustment | QuotationAdjustment,
    base: Decimal,
    currency: str,
    kind: AdjustmentKind = AdjustmentKind.REQUESTED,
) -> QuotedAdjustment:
    """An allowance or a charge as an amount, or as a share of the base."""
    amount = each.amount if each.share is None else base * each.share
    return QuotedAdjustment(reason=each.reason, amount=rounded(amount or ZERO, currency), kind=kind)


def _supplied(bill: BillOfResources, materials: Iterable[str]) -> Iterator[SuppliedMaterial]:
    """The materials that the customer supplies for a batch: the full quantities of the bill."""
    drawn = {line.resource: line for line in bill.lines}
    for code in materials:
        yield shown(SuppliedMaterial, "", drawn[part_of(f"materials/{code}", WHOLE)], material=code)
