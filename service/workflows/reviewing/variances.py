"""What batches cost, compared with what their good units should have cost."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from typing import NamedTuple

from service.domain.costing.errors import MissingRatesError
from service.domain.costing.rate_card import DatedRate, RateCard, unit_rates
from service.domain.records.record_basis import RecordBasis, record_basis
from service.domain.reviewing.comparison import batch_variances
from service.domain.reviewing.day_facts import DayFacts
from service.domain.reviewing.earned import earned_by_batch
from service.domain.reviewing.paid import cost_as_paid
from service.domain.reviewing.statement import VarianceStatement, variance_statement
from service.domain.reviewing.variances import BatchVariances
from service.domain.values.errors import TooComplexError
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
from service.workflows.reviewing.orders import Orders
from service.workflows.workspace import Workspace

MAX_COMPARED = 2_000
"""Most records that are compared for one answer, which takes some seconds."""


class Compared(NamedTuple):
    """A record, the bills that it is compared by, and its variances."""

    stored: StoredRecord
    basis: RecordBasis
    variances: BatchVariances


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
    return ReviewedBatch(variance_statement(found.stored.record, found.basis, found.variances), found.variances.unit)


def compare(connection: Connection, workspace: Workspace, chosen: ChosenRecords) -> Iterator[Compared]:
    """The records of a choice compared, newest day first; raises as `variances_of_record` does.

    Raises:
        TooComplexError: there are too many batches.
    """
    limit = MAX_COMPARED + 1
    found = batch_records.page_of_records(connection, workspace.workshop_id, chosen, before=None, limit=limit)
    if len(found) > MAX_COMPARED:
        raise TooComplexError("batch records in one answer", MAX_COMPARED, remedy="ask for a shorter period")
    comparing = _Comparing(connection, workspace)
    for each in found:
        next_step()
        yield comparing.compared(each)


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
        if stored.facts not in self._facts:
            self._facts[stored.facts] = get_facts(self.connection, self.workspace.workshop_id, stored.facts)
        facts, record = self._facts[stored.facts], stored.record
        basis = record_basis(record, facts.catalogue)
        exchange = self._exchange.setdefault(record.made_on, Exchange(self.workspace, record.made_on))
        order, sold = self._orders.order_of(stored), basis.taken
        if order is not None and order.tooling is not None:
            sold = record_basis(record, facts.catalogue, order.tooling).taken
        bills = [each for each in (basis.standard, basis.begun, basis.taken, sold) if each is not None]
        resources = tuple(dict.fromkeys(resource for bill in bills for resource in bill.resources))
        card = self._card(facts, record.made_on, resources)
        rates = unit_rates(card, resources, facts.pools, exchange)
        try:
            variances = batch_variances(record, basis, rates, card, exchange)
            if order is not None:
                borne = order.borne(stored, sold)
                earned = earned_by_batch(
                    order.of_product,
                    record.good_units,
                    cost_as_paid(record, sold, borne, rates, card, exchange),
                    card.currency,
                    is_borne_otherwise=borne.lines != basis.taken.lines,
                )
                variances = replace(variances, earned=earned)
            return Compared(stored, basis, variances)
        except MissingRatesError as error:
            raise with_first_days(self.workspace, error) from None

    def _card(self, facts: DayFacts, day: date, resources: tuple[str, ...]) -> RateCard:
        """The rates of the day; what had none when the batch was recorded may have got one since."""
        card = facts.card(day, self.workspace.workshop.currency)
        found: dict[str, DatedRate] = dict(card.rates)
        for resource in resources:
            if resource not in found:
                rate = find_rate_before(self.connection, self.workspace.workshop_id, Thing.of(resource), day + A_DAY)
                found |= {} if rate is None else {resource: rate}
        return replace(card, rates=found)
