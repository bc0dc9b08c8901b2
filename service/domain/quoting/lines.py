"""The lines of a quotation, priced from the bills and rates stored with it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from functools import cached_property

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
    bill_of_order,
    item_costs,
    kept,
    needed_of,
    not_borne,
    paid_by_others,
    payers_of,
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
from service.domain.quoting.request import QuotationLineRequest, QuotationRequest
from service.domain.selling.channels import Display
from service.domain.selling.sale import Sale
from service.domain.selling.taxes import TaxRate
from service.domain.values.errors import InvalidValueError
from service.domain.values.exact import ZERO, share_of
from service.domain.values.money import Money, in_currency, is_at_minor_unit, minor_unit_decimals, rounded
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
        self._costs: dict[tuple[int, Decimal], BatchCosts] = {}
        self._sheets: dict[tuple[BatchKey, frozenset[tuple[str, Decimal]]], CostSheet] = {}
        self._rates: dict[tuple[str, ...], dict[str, Decimal]] = {}
        bills = [self._bill(place) for place in range(len(lines))]
        payers = payers_of(bills, basis.pools_of_orders) if basis.pays_tools_once else {}
        self._paid_elsewhere = [paid_by_others(payers, place) for place in range(len(lines))]
        self._have_bills = any(bill is not None for bill in bills)

    def _bill(self, place: int, quantity: Decimal | None = None) -> BillOfResources | None:
        """The bill of a batch of a line; None of an item that is not work."""
        line = self.lines[place]
        code = line.code_of_bill(place)
        return None if code is None else self._bills[code, quantity or line.quantity, line.tooling.tooling]

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
        found = self._costs.get((place, quantity))
        if found is None:
            found = self._costs[place, quantity] = self._costs_of(place, quantity)
        return found

    def _costs_of(self, place: int, quantity: Decimal) -> BatchCosts:
        line, bill = self.lines[place], self._bill(place, quantity)
        if bill is not None:
            return batch_costs(self._sheet(place, bill), line.tooling, self.abroad)
        assert line.item is not None  # a product has a bill
        is_bearing = place == 0 and not self._have_bills
        order = self._order if is_bearing else replace(self._order, lines=())
        return item_costs(line.item, quantity, self.home, self.abroad, order)

    @cached_property
    def _order(self) -> CostSheet:
        """What the order takes once, apart from its lines' bills; the first line bears it where none has a bill."""
        bill = bill_of_order(self.basis.pools, self.basis.pools_of_orders)
        return self._costed(bill)

    def _costed(self, bill: BillOfResources) -> CostSheet:
        resources = bill.resources
        if resources not in self._rates:
            self._rates[resources] = unit_rates(self.basis.card, resources, self.basis.pools, self.home)
        return cost_sheet(bill, self._rates[resources], self.basis.card)

    def kept(self, net: Decimal, costs: Iterable[LineCost], shipping: Decimal | None = None) -> Kept:
        """What the workshop keeps of a net amount."""
        is_home = self.currency == self.basis.card.currency
        return kept(net, costs, self.currency, self.abroad, shipping, is_home=is_home)

    def sheet_of(self, place: int, bill: BillOfResources) -> CostSheet:
        """The cost sheet of any bill of a line's product in the workshop's currency, less what it does not bear.

        Raises:
            MissingRatesError: a resource has no rate in the basis.
        """
        return self._costed(bill.less(self._not_borne(place, bill)))

    def paid_elsewhere(self, place: int) -> frozenset[str]:
        """What costs a line nothing because another line of the order pays for it."""
        return self._paid_elsewhere[place]

    def _not_borne(self, place: int, bill: BillOfResources) -> dict[str, Decimal]:
        basis = self.basis
        return not_borne(
            bill,
            self.lines[place].supplies,
            self._paid_elsewhere[place],
            basis.card.rates,
            leaves_waste=basis.leaves_waste_of_supplied,
        )

    def _sheet(self, place: int, bill: BillOfResources) -> CostSheet:
        """The same of a bill of the basis, found once."""
        parts = self._not_borne(place, bill)
        key = (bill.product, bill.quantity, bill.tooling), frozenset(parts.items())
        found = self._sheets.get(key)
        if found is None:
            found = self._sheets[key] = self._costed(bill.less(parts))
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
        line, bill = self.lines[place], self._bill(place)
        sold = line.item or bill
        assert sold is not None  # a line is either
        quoted, counted = self._quantity(place, line.quantity)
        quoted_line = QuotedLine(
            product=line.product,
            description=line.description or sold.name,
            tax=self.tax(line.tax),
            quoted=quoted,
            quantity_breaks=tuple(self._compared(self._quantity(place, each)[0], quoted) for each in breaks),
            supplied=() if bill is None else tuple(_supplied(bill, line)),
            unit=sold.unit,
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
        """Another quantity with the saving for a piece, or unit."""
        price = quoted.unit_price.amount
        saving = price - other.unit_price.amount
        share = share_of(saving, price)
        return shown(QuotedQuantity, self.currency, other, saving_per_piece=saving, saving_share=share)


def currency_problems(request: QuotationRequest, currency: str) -> Iterator[InvalidValueError]:
    """Problems of amounts and price steps finer than the currency's minor unit."""

    def adjustment_problems(part: QuotationLineRequest | QuotationRequest) -> Iterator[tuple[str | int, ...]]:
        for member in ("allowances", "charges"):
            for place, each in enumerate(getattr(part, member)):
                if each.amount is not None and not is_at_minor_unit(each.amount, currency):
                    yield member, place, "amount"

    paths = list(adjustment_problems(request))
    for member in ("rush_charge", "minimum_order"):
        each = getattr(request, member)
        if each is not None and each.amount is not None and not is_at_minor_unit(each.amount, currency):
            paths.append((member, "amount"))
    for index, line in enumerate(request.lines):
        paths += [("lines", index, *path) for path in adjustment_problems(line)]
        for problem in line.policy.grid_problems(currency):
            yield InvalidValueError(("lines", index, "policy", *problem.path), problem.reason)
    for path in paths:
        yield InvalidValueError(
            path, f"must have at most {minor_unit_decimals(currency)} decimals: {currency} has no smaller unit"
        )


def adjusted(
    each: LineAdjustment | QuotationAdjustment,
    base: Decimal,
    currency: str,
    kind: AdjustmentKind = AdjustmentKind.REQUESTED,
) -> QuotedAdjustment:
    """An allowance or a charge as an amount, or as a share of the base."""
    amount = each.amount if each.share is None else base * each.share
    return QuotedAdjustment(reason=each.reason, amount=rounded(amount or ZERO, currency), kind=kind)


def _supplied(bill: BillOfResources, line: QuotationLineRequest) -> Iterator[SuppliedMaterial]:
    """The materials that the customer supplies for a batch: as much as the request says, or all that the bill takes."""
    drawn = {each.resource: each for each in bill.lines}
    for code, quantity in line.supplies.items():
        needed = needed_of(bill, code)
        yield shown(
            SuppliedMaterial,
            "",
            drawn[f"materials/{code}"],
            material=code,
            quantity=needed if quantity is None else quantity,
            needed=None if quantity is None else needed,
        )
