"""What quotations bring for the batches that were made for them, and what the batches cost them."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.products import Tooling
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.batch_costs import not_borne, paid_once
from service.domain.quoting.lines import QuotedLines
from service.domain.quoting.quotation import Acceptance, AdjustmentKind, Kept, QuotedQuantity
from service.domain.reviewing.earned import BorneCost, ProductOfOrder
from service.domain.values.exact import ONE, ZERO, exactly
from service.domain.values.money import in_currency
from service.store.engine.database import Connection
from service.store.quoting import quotations
from service.store.quoting.quotations import Quotation
from service.store.records.batch_records import StoredRecord, records_of_order
from service.workflows.quoting.quotations import get_quotation
from service.workflows.workspace import Workspace

CostOf = Callable[[BillOfResources], Decimal]
"""The cost of a part of what a batch took, at what was paid."""


@dataclass(slots=True)
class Orders:
    """The orders that batches were made for, each read once."""

    connection: Connection
    workspace: Workspace
    _found: dict[int, "Order"] = field(default_factory=dict)

    def order_of(self, stored: StoredRecord) -> "Order | None":
        """The order that a batch was made for; None if there is none, or if that is not for such a product."""
        if (number := stored.quotation) is None:
            return None
        if number not in self._found:
            workshop_id = self.workspace.workshop_id
            quotation = get_quotation(self.connection, self.workspace, number)
            self._found[number] = Order(
                quotation=quotation,
                batches=records_of_order(self.connection, workshop_id, number),
                basis=quotations.get_basis(self.connection, workshop_id, quotation.id),
            )
        found = self._found[number]
        return found if found.places_of(stored.record.product) else None


@dataclass(kw_only=True)
class Order:
    """An order, and all batches that were made for it."""

    quotation: Quotation
    batches: list[StoredRecord]
    basis: QuotationBasis
    _products: dict[str, ProductOfOrder] = field(default_factory=dict)

    @cached_property
    def _accepted(self) -> Acceptance:
        found = self.quotation.acceptance
        assert found is not None  # only orders that are completed have batches
        return found

    @cached_property
    def _priced(self) -> QuotedLines:
        request = self.quotation.request.choosing(self._accepted.quantities)
        return QuotedLines(request.lines, self.basis, request.display)

    @cached_property
    def _quoted(self) -> list[QuotedQuantity]:
        """The quantity of each line that was accepted."""
        return [
            next(each for each in line.quantities if each.quantity == quantity)
            for line, quantity in zip(self.quotation.figures.lines, self._accepted.quantities, strict=True)
        ]

    @property
    def _kept(self) -> list[Kept]:
        return [each.kept for each in self._quoted]

    def places_of(self, product: str) -> list[int]:
        """The lines of a product."""
        return [place for place, line in enumerate(self._priced.lines) if line.product == product]

    def ways_to_charge(self, product: str) -> Mapping[int, Tooling | None]:
        """For each line of a product how it charges tools."""
        return {place: self._priced.lines[place].tooling.tooling for place in self.places_of(product)}

    @property
    def part_of_order(self) -> Decimal:
        """What a batch is of the order, for pools that are spread over orders."""
        return ONE / len(self.batches)

    def of_product(self, product: str) -> ProductOfOrder:
        """What it brings for a product and costs as quoted, converted at the rates of the quotation."""
        if product not in self._products:
            self._products[product] = self._of_product(product)
        return self._products[product]

    @exactly
    def _of_product(self, product: str) -> ProductOfOrder:
        places, batches = self.places_of(product), [each for each in self.batches if each.record.product == product]
        return ProductOfOrder(
            quotation=self.quotation.number or "",
            ordered=sum((self._accepted.quantities[place] for place in places), ZERO),
            made=sum((each.record.good_units for each in batches), ZERO),
            batches=len(batches),
            net_amount=self._home(sum((self._brought_by_lines[place] for place in places), ZERO)),
            net_once=self._home(sum((self._brought_once(place) for place in places), ZERO)),
            quoted_cost=self._home(sum((self._kept[place].full_cost.amount for place in places), ZERO)),
        )

    @cached_property
    def _brought_by_lines(self) -> list[Decimal]:
        """What each line brings, with its part of what is taken off or added on the whole, and of the carriage.

        Lines under a tax share what that tax is on, in proportion to their amounts; all lines share what is under a tax
        without lines, and the carriage, in proportion to what they bring so far. Lines that bring nothing share in
        proportion to their cost.
        """
        subtotals = self._accepted.totals.tax_subtotals
        shares = [ZERO] * len(self._kept)
        for each in subtotals:
            places = [place for place in range(len(shares)) if self._tax_of(place) == (each.category, each.rate_share)]
            nets = [self._kept[place].asked.amount for place in places]
            for place, part in zip(places, self._shared(each.taxable_amount.amount, nets, places), strict=True):
                shares[place] = part
        rest = self._shared(self._accepted.kept.asked.amount - sum(shares, ZERO), shares, range(len(shares)))
        return [share + part for share, part in zip(shares, rest, strict=True)]

    def _shared(self, amount: Decimal, weights: Sequence[Decimal], places: Sequence[int]) -> list[Decimal]:
        """An amount in proportion to weights; if these are nothing, to the costs of the lines at the places."""
        by = next(filter(any, (weights, [self._kept[each].full_cost.amount for each in places])), [ONE] * len(places))
        total = sum(by, ZERO)
        return [amount * each / total for each in by]

    def _brought_once(self, place: int) -> Decimal:
        """Of what a line brings, the charges for tools."""
        line = self._quoted[place]
        tools = sum((each.amount.amount for each in line.charges if each.kind is AdjustmentKind.TOOLING), ZERO)
        return self._brought_by_lines[place] * tools / line.amount.amount if tools else ZERO

    def _tax_of(self, place: int) -> tuple[str, Decimal]:
        tax = self.quotation.figures.lines[place].tax
        return tax.category, tax.rate_share

    def _home(self, amount: Decimal) -> Decimal:
        return self._priced.home(in_currency(amount, self._priced.currency))

    @exactly
    def borne(self, batch: StoredRecord, taken: Mapping[int, BillOfResources], cost_of: CostOf) -> BorneCost:
        """What a batch costs the order: not what the customer supplies, nor what another line pays for.

        If several lines are of its product, each has its part of the batch, in proportion to its quantity.

        Args:
            taken: what the batch took, for each line of its product in that line's way to charge tools.
        """
        of_product = self.of_product(batch.record.product)
        share = of_product.share_of(batch.record.good_units)
        parts = [self._borne_by(place, bill, share, cost_of) for place, bill in taken.items()]
        weights = [self._accepted.quantities[place] / of_product.ordered for place in taken]
        return BorneCost(
            taken=sum((weight * each.taken for weight, each in zip(weights, parts, strict=True)), ZERO),
            once=sum((each.once for each in parts), ZERO),
            brought=sum((each.brought for each in parts), ZERO),
            is_otherwise=any(each.is_otherwise for each in parts),
            is_estimated=not batch.record.is_counted,
        )

    def _borne_by(self, place: int, bill: BillOfResources, share: Decimal, cost_of: CostOf) -> BorneCost:
        """The same of one line that would bear all of the batch; with its share of what the customer brings for it."""
        line, basis, elsewhere = self._priced.lines[place], self.basis, self._priced.paid_elsewhere(place)
        once = set(paid_once(bill, basis.pools_of_orders)) if basis.pays_tools_once else set()
        supplied = dict.fromkeys(line.supplied_materials)
        quantities = {code: quantity * share for code, quantity in line.supplied_quantities.items()}

        def cost(supplies: Mapping[str, Decimal | None], paid: set[str] | frozenset[str]) -> Decimal:
            leaves_waste = basis.leaves_waste_of_supplied
            parts = not_borne(bill, supplies, paid, basis.card.rates, leaves_waste=leaves_waste)
            return cost_of(bill.less(parts))

        without_once = elsewhere | once
        taken = cost(supplied, without_once)
        tools = {each for each in without_once if each not in basis.pools_of_orders}
        return BorneCost(
            taken=taken,
            once=cost(supplied, elsewhere) - taken if once - elsewhere else ZERO,
            brought=cost({**supplied, **quantities}, without_once) - taken if quantities else ZERO,
            is_otherwise=bool(tools or line.supplies or line.tooling.tooling is not None),
        )
