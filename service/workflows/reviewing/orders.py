"""What quotations bring for the batches that were made for them."""

from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property

from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.products import Tooling
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.batch_costs import not_borne, paid_once
from service.domain.quoting.lines import QuotedLines
from service.domain.reviewing.earned import ProductOfOrder
from service.domain.values.exact import ONE, ZERO, exactly
from service.domain.values.money import in_currency
from service.store.engine.database import Connection
from service.store.quoting import quotations
from service.store.quoting.quotations import Quotation
from service.store.records.batch_records import StoredRecord, records_of_order
from service.workflows.quoting.quotations import get_quotation
from service.workflows.workspace import Workspace


@dataclass(slots=True)
class Orders:
    """The orders that batches were made for, each read once."""

    connection: Connection
    workspace: Workspace
    _found: dict[tuple[int, str], "Order"] = field(default_factory=dict)

    def order_of(self, stored: StoredRecord) -> "Order | None":
        """The order that a batch was made for; None if there is none."""
        number, product = stored.quotation, stored.record.product
        if number is None:
            return None
        if (number, product) not in self._found:
            quotation = get_quotation(self.connection, self.workspace, number)
            workshop_id = self.workspace.workshop_id
            self._found[number, product] = Order(
                quotation=quotation,
                product=product,
                batches=records_of_order(self.connection, workshop_id, number, product),
                priced=_priced(quotation, quotations.get_basis(self.connection, workshop_id, quotation.id)),
            )
        return self._found[number, product]


@dataclass(kw_only=True)
class Order:
    """An order for a product, and all batches of it that were made for the order, in the order of their days."""

    quotation: Quotation
    product: str
    batches: list[StoredRecord]
    priced: QuotedLines

    @cached_property
    def _places(self) -> list[int]:
        return [place for place, line in enumerate(self.priced.lines) if line.product == self.product]

    @cached_property
    @exactly
    def of_product(self) -> ProductOfOrder:
        """What it brings and costs as quoted, converted at the rates of the quotation."""
        accepted = self.quotation.acceptance
        assert accepted is not None  # only orders that are completed have batches
        kept = [
            next(each.kept for each in line.quantities if each.quantity == quantity)
            for line, quantity in zip(self.quotation.figures.lines, accepted.quantities, strict=True)
        ]
        of_lines = sum((each.asked.amount for each in kept), ZERO)
        on_the_whole = accepted.kept.asked.amount / of_lines if of_lines else ONE
        asked = sum((kept[place].asked.amount for place in self._places), ZERO) * on_the_whole
        cost = sum((kept[place].full_cost.amount for place in self._places), ZERO)
        return ProductOfOrder(
            quotation=self.quotation.number or "",
            ordered=sum((accepted.quantities[place] for place in self._places), ZERO),
            made=self._made,
            net_amount=self._home(asked),
            quoted_cost=self._home(cost),
        )

    def _home(self, amount: Decimal) -> Decimal:
        return self.priced.home(in_currency(amount, self.priced.currency))

    @cached_property
    def _made(self) -> Decimal:
        return sum((each.record.good_units for each in self.batches), ZERO)

    @property
    def tooling(self) -> Tooling | None:
        """How the order charges tools."""
        return self.priced.lines[self._places[0]].tooling.tooling

    @exactly
    def borne(self, batch: StoredRecord, taken: BillOfResources) -> BillOfResources:
        """What the workshop bears of what a batch took: not what the customer supplies, nor what is paid once already.

        What several lines of the product say of that is what the first of them says. A quantity that the customer
        supplies goes into all batches, in proportion to their good units.
        """
        basis, place = self.priced.basis, self._places[0]
        paid = set(self.priced.paid_elsewhere(place))
        if basis.pays_tools_once and batch.code != self.batches[0].code:
            paid.update(paid_once(taken, basis.pools_of_orders))
        share = batch.record.good_units / self._made if self._made else ONE / len(self.batches)
        supplies = {
            material: None if quantity is None else quantity * share
            for material, quantity in self.priced.lines[place].supplies.items()
        }
        parts = not_borne(taken, supplies, paid, basis.card.rates, leaves_waste=basis.leaves_waste_of_supplied)
        return taken.less(parts)


def _priced(quotation: Quotation, basis: QuotationBasis) -> QuotedLines:
    accepted = quotation.acceptance
    assert accepted is not None  # only orders that are completed have batches
    request = quotation.request.choosing(accepted.quantities)
    return QuotedLines(request.lines, basis, request.display)
