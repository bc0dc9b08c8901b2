"""Quoting: a draft, stored with everything it was computed from."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from datetime import date, timedelta
from decimal import Decimal
from uuid import UUID

from service import clock
from service.domain.costing.free_of_charge import zero_price
from service.domain.costing.rate_card import RateCard
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.plausibility import cautions_of
from service.domain.quoting.basis import EDITION, QuotationBasis, QuotedShipment
from service.domain.quoting.batch_costs import (
    asked_price,
    batch_costs,
    paid_by_others,
    payers_of_tools,
    supplied_resources,
    tool_warnings,
)
from service.domain.quoting.figures import floor_warnings, least_choice_warnings, loss_warnings, quotation_figures
from service.domain.quoting.letterhead import Letterhead
from service.domain.quoting.quantity_breaks import quantity_breaks
from service.domain.quoting.quotation import QuotationFigures, Remarks
from service.domain.quoting.request import MAX_BREAKS, QuotationLineRequest, QuotationRequest, ShippingRequest
from service.domain.scheduling.lead_time import LeadTime, lead_time
from service.domain.selling.sale import Sale
from service.domain.values.errors import InvalidValueError, InvalidValuesError, Path
from service.domain.values.exact import ZERO
from service.domain.values.message import Message, PlausibilityWarning
from service.domain.values.money import currency_problems_on
from service.store.engine.database import Connection
from service.store.quoting import life
from service.store.quoting.quotations import Quotation
from service.store.workshop.workshops import lock_workshop
from service.workflows.costing.cost_sheets import Batch, Batches, costed, sheet_warnings, tax_warnings
from service.workflows.costing.costing import pools_of, prepare
from service.workflows.costing.rate_checks import share_of
from service.workflows.lead_times import working_resources
from service.workflows.shipping import ShippedFrom, shipped
from service.workflows.workshop.letterhead import present_letterhead
from service.workflows.workspace import Workspace

VALIDITY = timedelta(days=30)


@dataclass(frozen=True, slots=True, kw_only=True)
class QuotationPreview:
    """What a quotation would say; nothing is stored.

    Attributes:
        quoted_on: the day of its rates.
        valid_until: the last day its prices would hold.
        letterhead: who quotes.
        request: what was asked for.
        figures: all figures; `kept` and `unit_full_cost` are not for the customer.
        remarks: warnings for the workshop, and cautions for the customer too.
    """

    quoted_on: date
    valid_until: date
    letterhead: Letterhead
    request: QuotationRequest
    figures: QuotationFigures
    remarks: Remarks


def quote(
    workspace: Workspace,
    request: QuotationRequest,
    revises: Quotation | None = None,
    check: Callable[[Connection], object] = lambda _connection: None,
) -> Quotation:
    """Price the request and store a draft with everything it was computed from.

    Args:
        request: the lines, the customer and the terms.
        revises: the quotation that it revises.
        check: runs under the workshop's lock; raises if the draft must not be stored.

    Raises:
        InvalidValuesError: something named is not registered, or an amount is too fine for the currency.
        MissingRatesError: naming every resource without a rate on the day.
        MissingExchangeRateError: an amount cannot be converted on the day.
        UnreachableTargetError: no price meets the policy of a line.
        UnknownZoneError, MissingMeasuresError, DoesNotFitError: it cannot be shipped as asked.
        TooComplexError: it exceeds the limit of one request.
    """
    while True:
        shown, basis = _previewed(workspace, request)
        with workspace.writing() as connection:
            if lock_workshop(connection, workspace.workshop_id) == workspace.workshop.revision:
                check(connection)
                quotation = _draft(life.next_quotation_id(connection, workspace.workshop_id), shown, revises)
                life.add_quotation(connection, workspace.workshop_id, quotation, basis, workspace.actor.name)
                return quotation
        # Something has changed meanwhile: computed again, so that a quotation never mixes two states.
        workspace = workspace.now()


def _draft(its_id: UUID, shown: QuotationPreview, revises: Quotation | None) -> Quotation:
    return Quotation(
        id=its_id,
        revision=1 if revises is None else revises.revision + 1,
        revises_id=None if revises is None else revises.id,
        revises_number=None if revises is None else revises.number,
        created_at=clock.now(),
        **{each.name: getattr(shown, each.name) for each in fields(shown)},
    )


def preview(workspace: Workspace, request: QuotationRequest) -> QuotationPreview:
    """Price the request as `quote` does, and raise as it does, but store nothing."""
    while True:
        shown, _ = _previewed(workspace, request)
        now = workspace.now()
        if now.workshop.revision == workspace.workshop.revision:
            return shown
        workspace = now  # as in `quote`


def _previewed(workspace: Workspace, request: QuotationRequest) -> tuple[QuotationPreview, QuotationBasis]:
    quoted_on = request.quoted_on or workspace.workshop.today()
    valid_until = request.valid_until or quoted_on + VALIDITY
    if valid_until < quoted_on:
        raise InvalidValuesError([InvalidValueError(("valid_until",), f"must not be before {quoted_on}")])
    if problems := list(currency_problems_on(request, quoted_on)):
        raise InvalidValuesError(problems)
    basis, remarks = _Quoting(workspace, request, quoted_on).basis()
    figures = quotation_figures(request, basis)
    with workspace.reading() as connection:
        letterhead = present_letterhead(connection, workspace, request.locale)
    free = (each for line in figures.lines for each in zero_price(line.product, line.quoted.unit_price.amount))
    below = (*floor_warnings(figures), *least_choice_warnings(request, basis, figures))
    found = (*below, *loss_warnings(figures), *remarks.warnings, *free)
    shown = QuotationPreview(
        quoted_on=quoted_on,
        valid_until=valid_until,
        letterhead=letterhead,
        request=request,
        figures=figures,
        remarks=replace(remarks, warnings=tuple(dict.fromkeys(found))),
    )
    return shown, basis


class _Quoting:
    """Finds the basis of a quotation: everything outside its request that its figures depend on."""

    def __init__(self, workspace: Workspace, request: QuotationRequest, quoted_on: date) -> None:
        self.workspace, self.request = workspace, request
        self.currency = request.currency or workspace.workshop.currency
        self.costing = prepare(workspace, request.named(), quoted_on)
        self.batches = Batches(self.costing)
        self.payers: Mapping[str, int] = {}

    def basis(self) -> tuple[QuotationBasis, Remarks]:
        """The basis, and the remarks made beside the figures."""
        costing, home = self.costing, self.workspace.workshop.currency
        others = [f"taxes/{code}" for code in self.request.taxes()]
        if self.request.shipping is not None:
            others.append(f"shipping-services/{self.request.shipping.service}")
        costing.exchange.conversion(home, self.currency)  # so that the rates are stored with the quotation
        self._costed((line.quantities for line in self.request.lines), others)
        self._check_supplied()
        self.payers = payers_of_tools(self._bills_by_line())
        breaks = [
            (*line.quantity_breaks, *self._found_breaks(place, line)) for place, line in enumerate(self.request.lines)
        ]
        bills = self._costed((line.quantity, *more) for line, more in zip(self.request.lines, breaks, strict=True))
        used = dict.fromkeys([*(resource for bill in bills for resource in bill.resources), *others])
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
            pools=pools_of(costing.surroundings),
            taxes={code: costing.surroundings.facts["taxes"][code] for code in self.request.taxes()},
            bills=bills,
            breaks=tuple(breaks),
            shipment=None if self.request.shipping is None else self._shipment(self.request.shipping),
            edition=EDITION,
        )
        # Shipping may have used further exchange rates.
        return replace(basis, exchange=costing.exchange.used), self._remarks()

    def _batch(self, place: int, quantity: Decimal | None = None) -> Batch:
        line = self.request.lines[place]
        assert line.product is not None  # an item has no batch
        left_out = supplied_resources(line) | paid_by_others(self.payers, place)
        return Batch(line.product, quantity or line.quantity, line.tooling.tooling, left_out)

    @property
    def _places(self) -> list[int]:
        """The lines that are products."""
        return [place for place, line in enumerate(self.request.lines) if line.product is not None]

    def _bills_by_line(self) -> list[BillOfResources | None]:
        """The bill of the quoted batch of each line; None for an item."""
        bills = dict(zip(self._places, self._bills(), strict=True))
        return [bills.get(place) for place in range(len(self.request.lines))]

    def _bills(self) -> list[BillOfResources]:
        """The bill of the quoted batch of each line that is a product."""
        return [self.batches.costed(self._batch(place))[0] for place in self._places]

    def _costed(self, lines: Iterable[Iterable[Decimal]], others: Iterable[str] = ()) -> tuple[BillOfResources, ...]:
        """The bill of each batch of each line, without repetition."""
        made = dict(enumerate(map(tuple, lines)))
        batches = [self._batch(place, quantity) for place in self._places for quantity in made[place]]
        found = costed(self.workspace, self.costing, batches, others, self.batches)
        return tuple({(bill.product, bill.quantity, bill.tooling): bill for bill, _ in found}.values())

    def _check_supplied(self) -> None:
        problems = []
        for index in self._places:
            bill, _ = self.batches.costed(self._batch(index))
            drawn = {each.resource for each in bill.lines}
            for place, code in enumerate(self.request.lines[index].supplied_materials):
                if f"materials/{code}" not in drawn:
                    path = ("lines", index, "supplied_materials", place)
                    problems.append(InvalidValueError(path, f"the product takes no material '{code}'"))
        if problems:
            raise InvalidValuesError(problems)

    def _found_breaks(self, place: int, line: QuotationLineRequest) -> tuple[Decimal, ...]:
        """Quantity breaks found automatically, besides those in the request."""
        if line.automatic_breaks is None:
            return ()
        convert = self.costing.exchange.conversion(self.workspace.workshop.currency, self.currency)
        sale = Sale(display=self.request.display, tax_share=share_of(self.costing.card.rates[f"taxes/{line.tax}"]))

        def price_of(quantity: int) -> Decimal:
            _, sheet = self.batches.costed(self._batch(place, Decimal(quantity)))
            return asked_price(line, batch_costs(sheet, line.tooling, convert).piece, self.currency, sale)

        found = quantity_breaks(price_of, int(line.quantity), line.automatic_breaks, at_most=MAX_BREAKS)
        return tuple(Decimal(quantity) for quantity in found if quantity not in line.quantity_breaks)

    def _shipment(self, shipping: ShippingRequest) -> QuotedShipment:
        pieces: dict[str, Decimal] = {}
        places: dict[str, Path] = {}
        for index, line in enumerate(self.request.lines):
            if line.product is not None:
                pieces[line.product] = pieces.get(line.product, ZERO) + line.quantity
                places.setdefault(line.product, ("lines", index, "product"))
        if not pieces:
            raise InvalidValuesError([InvalidValueError(("shipping",), "needs a product: items are not shipped")])
        asked_by = ShippedFrom(places=places, whole=("shipping",), zone=("shipping", "zone"))
        estimate, shipment = shipped(self.costing, shipping.service, shipping.zone, pieces, asked_by)
        for currency in (self.workspace.workshop.currency, self.currency):
            self.costing.exchange.converted(estimate.price, currency)
        return QuotedShipment(shipment=shipment, estimate=estimate)

    def _remarks(self) -> Remarks:
        catalogue, shown = self.costing.surroundings.catalogue, self._bills()
        ready = self._lead_time(shown)
        sheets = [self.batches.costed(self._batch(place))[1] for place in self._places]
        made = zip(shown, sheets, strict=True)
        found = [
            *self._lateness(ready),
            *tool_warnings(self._bills_by_line()),
            *(each for of in made for each in sheet_warnings(self.workspace, self.costing, *of)),
            *tax_warnings(self.workspace, self.costing, self.request.taxes()),
        ]
        return Remarks(
            warnings=tuple(dict.fromkeys(found)),
            cautions=cautions_of(shown, catalogue),
            exchange_rates=self.costing.exchange.used.stated(),
            lead_time=ready,
        )

    def _lead_time(self, bills: Sequence[BillOfResources]) -> LeadTime | None:
        """When all lines can be ready; None if no known resource takes time."""
        if not bills:
            return None
        catalogue = self.costing.surroundings.catalogue
        card, is_rush = self.costing.card, self.request.rush_charge is not None
        resources = working_resources(self.workspace, catalogue.machines, catalogue.labour_grades, card)
        found = lead_time(bills, resources, card.as_of, is_rush=is_rush)
        return None if found.bottleneck is None else found

    def _lateness(self, ready: LeadTime | None) -> Iterator[PlausibilityWarning]:
        """A warning if the order cannot be ready when the customer needs it."""
        needed_by = self.request.needed_by
        if ready is None or needed_by is None or (ready.ready_on is not None and ready.ready_on <= needed_by):
            return
        told = f"could be ready on {ready.ready_on}" if ready.ready_on else f"could not be ready: {ready.reason}"
        yield PlausibilityWarning(
            code="late",
            product=self.request.lines[0].product,
            text=Message(f"The order is wanted by {needed_by} and {told}. The bottleneck is {ready.bottleneck_name}."),
            source="the workshop's hours a week, closures and accepted orders",
        )
