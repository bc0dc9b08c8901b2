"""What batches cost, compared with what their good units should have cost."""

from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import NamedTuple

from service.domain.costing.errors import MissingRatesError
from service.domain.costing.rate_card import DatedRate, RateCard, unit_rates
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.records.batch_record import BatchRecord
from service.domain.records.plausibility import record_warnings
from service.domain.records.record_basis import RecordBasis, record_basis
from service.domain.reviewing.comparison import batch_variances
from service.domain.reviewing.day_facts import DayFacts
from service.domain.reviewing.earned import earned_by_batch
from service.domain.reviewing.paid import cost_as_paid
from service.domain.reviewing.period import LeftOut
from service.domain.reviewing.statement import VarianceStatement, variance_statement
from service.domain.reviewing.variances import BatchVariances
from service.domain.values.errors import FigureTooLargeError, TooComplexError, UnknownCurrencyError
from service.domain.values.exact import ONE
from service.domain.values.message import PlausibilityWarning
from service.domain.values.references import Thing
from service.domain.values.units import Unit
from service.store.engine.database import Connection
from service.store.records import batch_records
from service.store.records.batch_records import ChosenRecords, StoredRecord
from service.store.records.record_facts import get_facts
from service.store.registering.rates import find_rate_before
from service.time_limit import next_step
from service.workflows.costing.costing import with_first_days
from service.workflows.currency.exchange import Exchange
from service.workflows.records.facts_then import A_DAY
from service.workflows.records.recording import get_record
from service.workflows.reviewing.orders import Order, Orders
from service.workflows.workspace import Workspace

_NOT_COMPARED = (MissingRatesError, MissingExchangeRateError, UnknownCurrencyError, FigureTooLargeError)
MAX_COMPARED = 2_000
"""Most records that are compared for one answer, which takes some seconds."""


class Compared(NamedTuple):
    """A record, the bills that it is compared by, its variances, and what looks implausible about its counts."""

    stored: StoredRecord
    basis: RecordBasis
    variances: BatchVariances
    warnings: tuple[PlausibilityWarning, ...]


class ReviewedBatch(NamedTuple):
    """The variances of a batch, and what its product is counted in."""

    statement: VarianceStatement
    unit: Unit


def variances_of_record(workspace: Workspace, code: str) -> ReviewedBatch:
    """Why a batch cost more or less than its good units should have.

    Raises:
        NotRegisteredError: there is no such record.
        MissingRatesError: something has no rate on the day of the batch, neither then nor since.
    """
    with workspace.snapshot() as frozen, frozen.reading() as connection:
        found = _Comparing(connection, frozen).compared(get_record(connection, frozen, code))
    statement = variance_statement(found.stored.record, found.basis, found.variances, found.warnings)
    return ReviewedBatch(statement, found.variances.unit)


class Reviewed(NamedTuple):
    """The batches of a choice, and those of them that cannot be compared."""

    batches: list[BatchVariances]
    left_out: list[LeftOut]


def review(connection: Connection, workspace: Workspace, chosen: ChosenRecords) -> Reviewed:
    """The batches of a choice compared, newest day first.

    One that cannot be compared, for want of a rate for instance, does not keep the others from it.

    Raises:
        TooComplexError: there are too many batches.
    """
    limit = MAX_COMPARED + 1
    stored = batch_records.page_of_records(connection, workspace.workshop_id, chosen, before=None, limit=limit)
    if len(stored) > MAX_COMPARED:
        raise TooComplexError("batch records in one answer", MAX_COMPARED, remedy="ask for a shorter period")
    comparing, found = _Comparing(connection, workspace), Reviewed([], [])
    for each in stored:
        next_step()
        try:
            found.batches.append(comparing.compared(each).variances)
        except _NOT_COMPARED as error:
            found.left_out.append(LeftOut(code=each.code, product=each.record.product, reason=str(error)))
    return found


@dataclass(slots=True)
class _Comparing:
    """Compares records, and reads facts that many of them share once."""

    connection: Connection
    workspace: Workspace
    _facts: dict[str, DayFacts] = field(default_factory=dict)
    _exchange: dict[date, Exchange] = field(default_factory=dict)
    _orders: Orders = field(init=False)

    def __post_init__(self) -> None:
        self._orders = Orders(self.connection, self.workspace)

    def compared(self, stored: StoredRecord) -> Compared:
        """A record compared; raises as `variances_of_record` does."""
        facts, record, order = self._facts_of(stored), stored.record, self._orders.order_of(stored)
        basis = record_basis(record, facts.catalogue, orders=ONE if order is None else order.part_of_order)
        sold = {} if order is None else _taken_for(order, record, facts)
        exchange = self._exchange.setdefault(record.made_on, Exchange(self.workspace, record.made_on))
        bills = [each for each in (basis.standard, basis.begun, basis.taken, *sold.values()) if each is not None]
        resources = tuple(dict.fromkeys(resource for bill in bills for resource in bill.resources))
        card = self._card(facts, record.made_on, resources)
        rates = unit_rates(card, resources, facts.pools, exchange)
        try:
            variances = batch_variances(record, basis, rates, card, exchange)
        except MissingRatesError as error:
            raise with_first_days(self.workspace, error) from None
        if order is not None:
            of_product = order.of_product(record.product)
            cost_of = partial(cost_as_paid, record, basis.taken, rates=rates, card=card, convert=exchange)
            cost = order.borne(stored, sold, cost_of)
            earned = earned_by_batch(of_product, record.good_units, cost, card.currency)
            variances = replace(variances, earned=earned)
        supplied = () if order is None else order.quotation.request.supplied_for(record.product)
        warnings = record_warnings(record, basis, facts.catalogue, supplied)
        variances = replace(variances, implausible=stored.code if warnings else "")
        return Compared(stored, basis, variances, warnings)

    def _facts_of(self, stored: StoredRecord) -> DayFacts:
        if stored.facts not in self._facts:
            self._facts[stored.facts] = get_facts(self.connection, self.workspace.workshop_id, stored.facts)
        return self._facts[stored.facts]

    def _card(self, facts: DayFacts, day: date, resources: tuple[str, ...]) -> RateCard:
        """The rates of the day; what had none when the batch was recorded may have got one since."""
        card = facts.card(day, self.workspace.workshop.currency)
        found: dict[str, DatedRate] = dict(card.rates)
        for resource in resources:
            if resource not in found:
                rate = find_rate_before(self.connection, self.workspace.workshop_id, Thing.of(resource), day + A_DAY)
                found |= {} if rate is None else {resource: rate}
        return replace(card, rates=found)


def _taken_for(order: Order, record: BatchRecord, facts: DayFacts) -> dict[int, BillOfResources]:
    """What a batch took, for each line of its product on the order in that line's way to charge tools."""
    ways = order.ways_to_charge(record.product)
    taken = {way: record_basis(record, facts.catalogue, way).taken for way in {*ways.values()}}
    return {place: taken[way] for place, way in ways.items()}
