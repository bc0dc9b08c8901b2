"""The basis of a quotation: everything outside its request that its figures depend on; and the remarks beside them."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import date
from decimal import Decimal

from service.domain.costing.rate_card import RateCard
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.plausibility import cautions_of
from service.domain.making.products import inconsistencies
from service.domain.quoting.basis import EDITION, QuotationBasis, QuotedShipment, pools_of_orders
from service.domain.quoting.batch_costs import (
    asked_price,
    batch_costs,
    bill_of_order,
    needed_of,
    not_borne,
    once_warnings,
    paid_by_others,
    payers_of,
    warnings_of_order,
)
from service.domain.quoting.quantity_breaks import quantity_breaks
from service.domain.quoting.quotation import Remarks
from service.domain.quoting.request import MAX_BREAKS, QuotationLineRequest, QuotationRequest, ShippingRequest
from service.domain.register import CONDITIONS
from service.domain.selling.sale import Sale
from service.domain.values.errors import InvalidValueError, InvalidValuesError, Path
from service.domain.values.exact import ZERO, plain
from service.domain.values.message import PlausibilityWarning
from service.domain.values.units import Unit
from service.workflows.costing.cost_sheets import Batch, Batches, condition_warnings, costed, sheet_warnings
from service.workflows.costing.costing import Costing, pools_of, prepare, with_pools
from service.workflows.costing.rate_checks import share_of
from service.workflows.quoting.readiness import dearer, late, ready_by
from service.workflows.shipping import ShippedFrom, shipped
from service.workflows.workspace import Workspace


def quotation_basis(workspace: Workspace, request: QuotationRequest, quoted_on: date) -> tuple[QuotationBasis, Remarks]:
    """The basis of a quotation, and the remarks made beside its figures; raises as `quote` does."""
    return _Quoting(workspace, request, quoted_on).basis()


class _Quoting:
    """Costs every batch that the request asks for."""

    def __init__(self, workspace: Workspace, request: QuotationRequest, quoted_on: date) -> None:
        self.workspace, self.request, self.lines = workspace, request, request.lines
        self.currency = request.currency or workspace.workshop.currency
        self.codes = [line.code_of_bill(place) for place, line in enumerate(self.lines)]
        self.costing = self._with_work(prepare(workspace, request.named(), quoted_on))
        self._check_units()
        self.batches = Batches(self.costing)
        self.pools = pools_of(self.costing.surroundings)
        self.payers: Mapping[str, int] = {}

    def _with_work(self, costing: Costing) -> Costing:
        """With the lines that are work, each as a product of its own; and with all pools, which products bring."""
        if all(line.product is None for line in self.lines):
            costing = with_pools(self.workspace, costing)
        problems, work = [], {}
        for place, line in enumerate(self.lines):
            code, product = self.codes[place], None if line.item is None else line.item.product()
            if code is not None and product is not None:
                work[code] = product
                for each in inconsistencies(product, costing.surroundings.catalogue):
                    _, _, *member = each.path  # of its only operation
                    problems.append(InvalidValueError(("lines", place, "item", "work", *member), each.reason))
        if problems:
            raise InvalidValuesError(problems)
        return costing.with_products(work) if work else costing

    def _check_units(self) -> None:
        """Raises InvalidValuesError if a quantity is none of its product's unit."""
        products, problems = self.costing.surroundings.catalogue.products, list[InvalidValueError]()
        for place, line in enumerate(self.lines):
            if line.product is not None:
                found = line.unit_problems(products[line.product].unit)
                problems += (InvalidValueError(("lines", place, *each.path), each.reason) for each in found)
        if problems:
            raise InvalidValuesError(problems)

    def basis(self) -> tuple[QuotationBasis, Remarks]:
        """The basis, and the remarks made beside the figures."""
        costing, home = self.costing, self.workspace.workshop.currency
        others = self._conditions
        self._convert()
        self._check_supplied(line.quantities for line in self.lines)
        self._costed((line.quantities for line in self.lines), others)
        self.payers = payers_of(self._bills_by_line(), pools_of_orders(self.pools))
        breaks = [(*line.quantity_breaks, *self._found_breaks(place, line)) for place, line in enumerate(self.lines)]
        bills = self._costed((line.quantity, *more) for line, more in zip(self.lines, breaks, strict=True))
        of_order = self._of_order()
        used = dict.fromkeys([*(each for bill in (*bills, of_order) for each in bill.resources), *others])
        basis = QuotationBasis(
            as_of=costing.card.as_of,
            currency=self.currency,
            card=RateCard(
                as_of=costing.card.as_of,
                currency=home,
                # What the customer brings may have no rate.
                rates={resource: costing.card.rates[resource] for resource in used if resource in costing.card.rates},
            ),
            exchange=costing.exchange.used,
            pools=self.pools,
            taxes={code: costing.surroundings.facts["taxes"][code] for code in self.request.taxes()},
            bills=bills,
            breaks=tuple(breaks),
            shipment=None if self.request.shipping is None else self._shipment(self.request.shipping),
            edition=EDITION,
        )
        # Shipping and pools of the order may have used further exchange rates.
        costing.sheet(of_order)
        return replace(basis, exchange=costing.exchange.used), self._remarks()

    def _convert(self) -> None:
        """Finds the exchange rates of the quotation and of purchases, so that they are stored with it.

        Raises:
            MissingExchangeRateError: one is missing; names the member that needs it.
        """
        home = self.workspace.workshop.currency
        self._find_rate(("currency",), home, self.currency)
        for place, line in enumerate(self.lines):
            if line.item is not None and (bought := line.item.purchase) is not None:
                path = ("lines", place, "item", "purchase")
                self._find_rate((*path, "price"), bought.price.currency, home)
                if bought.delivery_cost is not None:
                    self._find_rate((*path, "delivery_cost"), bought.delivery_cost.currency, home)

    def _find_rate(self, path: Path, one: str, other: str) -> None:
        try:
            self.costing.exchange.conversion(one, other)
        except MissingExchangeRateError as error:
            error.path = path
            raise

    def _batch(self, place: int, quantity: Decimal | None = None) -> Batch:
        line, code = self.lines[place], self.codes[place]
        assert code is not None  # an item that is not work has no batch
        batch = Batch(code, quantity or line.quantity, line.tooling.tooling)
        paid, rated = paid_by_others(self.payers, place), self.costing.card.rates
        parts = not_borne(self.batches.bill(batch), line.supplies, paid, rated)
        return batch._replace(not_borne=frozenset(parts.items()))

    @property
    def _conditions(self) -> list[str]:
        """The taxes, and the shipping service if there is one."""
        return list(dict.fromkeys(str(thing) for _, thing in self.request.named() if thing.collection in CONDITIONS))

    @property
    def _places(self) -> list[int]:
        """The lines that are products or work."""
        return [place for place, code in enumerate(self.codes) if code is not None]

    def _bills_by_line(self) -> list[BillOfResources | None]:
        """The bill of the quoted batch of each line; None of an item that is not work."""
        bills = dict(zip(self._places, self._bills(), strict=True))
        return [bills.get(place) for place in range(len(self.lines))]

    def _bills(self) -> list[BillOfResources]:
        """The bill of the quoted batch of each line that has one."""
        return [self.batches.bill(self._batch(place)) for place in self._places]

    def _costed(self, lines: Iterable[Iterable[Decimal]], others: Iterable[str] = ()) -> tuple[BillOfResources, ...]:
        """The bill of each batch of each line, without repetition."""
        made = dict(enumerate(map(tuple, lines)))
        batches = (self._batch(place, quantity) for place in self._places for quantity in made[place])
        found = costed(self.workspace, self.costing, batches, others, self.batches)
        return tuple({(bill.product, bill.quantity, bill.tooling): bill for bill, _ in found}.values())

    def _check_supplied(self, lines: Iterable[Iterable[Decimal]]) -> None:
        """Raises InvalidValuesError if the customer would supply what a batch does not take, or not as much of."""
        problems = []
        for place, quantities in enumerate(lines):
            line, code = self.lines[place], self.codes[place]
            for material, supplied in line.supplies.items():
                assert code is not None  # only products take materials
                for quantity in quantities:
                    bill = self.batches.bill(Batch(code, quantity, line.tooling.tooling))
                    if reason := self._supply_problem(bill, material, supplied, line.quantity):
                        problems.append(InvalidValueError(("lines", place, *_member(line, material)), reason))
                        break
        if problems:
            raise InvalidValuesError(problems)

    def _supply_problem(self, bill: BillOfResources, material: str, supplied: Decimal | None, quantity: Decimal) -> str:
        needed = needed_of(bill, material)
        if needed is None:
            return f"the product takes no material '{material}'"
        if supplied is None or supplied <= needed:
            return ""
        of_material = self.costing.surroundings.catalogue.materials[material].unit
        taken = f"{plain(of_material.last_within(needed)):f} {of_material.several}"
        batch, remedy = f"{bill.quantity:f} {bill.unit.several}", "if the customer supplies all of it"
        if bill.quantity == quantity:
            return f"is more than the {taken} that {batch} take; name it in supplied_materials {remedy}"
        remedy = f"leave that break out, or name it in supplied_materials {remedy}"
        return f"is more than the {taken} that the quantity break of {batch} takes; {remedy}"

    def _found_breaks(self, place: int, line: QuotationLineRequest) -> tuple[Decimal, ...]:
        """Quantity breaks found automatically, besides those in the request."""
        if line.automatic_breaks is None:
            return ()
        convert = self.costing.exchange.conversion(self.workspace.workshop.currency, self.currency)
        sale = Sale(display=self.request.display, tax_share=share_of(self.costing.card.rates[f"taxes/{line.tax}"]))

        def price_of(quantity: Decimal) -> Decimal:
            _, sheet = self.batches.costed(self._batch(place, quantity))
            return asked_price(line, batch_costs(sheet, line.tooling, convert).piece, self.currency, sale)

        unit = self.batches.bill(self._batch(place)).unit
        found = quantity_breaks(price_of, line.quantity, line.automatic_breaks, unit, at_most=MAX_BREAKS)
        return tuple(quantity for quantity in found if quantity not in line.quantity_breaks)

    def _shipment(self, shipping: ShippingRequest) -> QuotedShipment:
        pieces: dict[str, Decimal] = {}
        places: dict[str, Path] = {}
        products = self.costing.surroundings.catalogue.products
        for index, line in enumerate(self.lines):
            if line.product is not None and products[line.product].unit is not Unit.HOUR:
                pieces[line.product] = pieces.get(line.product, ZERO) + line.quantity
                places.setdefault(line.product, ("lines", index, "product"))
        if not pieces:
            raise InvalidValuesError(
                [InvalidValueError(("shipping",), "needs a product: items and hours are not shipped")]
            )
        asked_by = ShippedFrom(places=places, whole=("shipping",), zone=("shipping", "zone"))
        estimate, shipment = shipped(self.costing, shipping.service, shipping.zone, pieces, asked_by)
        for currency in (self.workspace.workshop.currency, self.currency):
            self.costing.exchange.converted(estimate.price, currency)
        return QuotedShipment(shipment=shipment, estimate=estimate)

    def _remarks(self) -> Remarks:
        shown, product = self._bills(), self.lines[0].product
        ready = ready_by(self.workspace, self.costing, shown, is_rush=self.request.rush_charge is not None)
        made = [(batch, self.batches.costed(batch)[1]) for batch in map(self._batch, self._places)]
        found = [
            *late(ready, self.request.needed_by, product),
            *dearer(self.workspace, ready, made, self._then, product),
            *once_warnings(self._bills_by_line(), pools_of_orders(self.pools)),
            *(() if shown else warnings_of_order(self._of_order(), self.costing.card.rates)),
            *(
                each
                for bill, (_, sheet) in zip(shown, made, strict=True)
                for each in sheet_warnings(self.workspace, self.costing, bill, sheet)
            ),
            *condition_warnings(self.workspace, self.costing, self._conditions),
        ]
        return Remarks(
            warnings=tuple(dict.fromkeys(map(self._of_product, found))),
            cautions=cautions_of(shown, self.costing.surroundings.catalogue),
            exchange_rates=self.costing.exchange.used.stated(),
            lead_time=ready,
        )

    def _of_order(self) -> BillOfResources:
        return bill_of_order(self.pools, pools_of_orders(self.pools))

    def _of_product(self, warning: PlausibilityWarning) -> PlausibilityWarning:
        """The warning; about no product where it is about work, which has no code of its own."""
        products = {line.product for line in self.lines}
        is_of_work = warning.product in self.codes and warning.product not in products
        return replace(warning, product=None) if is_of_work else warning

    def _then(self, day: date) -> Costing:
        """The costing of the same things at the rates of a later day, converted as they are quoted."""
        return self._with_work(prepare(self.workspace, self.request.named(), day, converted_on=self.costing.card.as_of))


def _member(line: QuotationLineRequest, material: str) -> Path:
    """The member of a line that says that the customer supplies a material."""
    if material in line.supplied_quantities:
        return "supplied_quantities", material
    return "supplied_materials", line.supplied_materials.index(material)
