"""Bills of resources and cost sheets of batches."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from service.domain.costing.cost_sheet import CostSheet
from service.domain.costing.cost_statement import CostStatement, cost_statement
from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.explosion import bill_of_resources
from service.domain.making.plausibility import cautions_of, warnings
from service.domain.making.products import Tooling
from service.domain.safety.cautions import Caution
from service.domain.selling.taxes import Tax, misnamed
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError
from service.domain.values.exact import ONE, exactly
from service.domain.values.message import PlausibilityWarning
from service.domain.values.references import whole_of
from service.domain.values.shown import shown
from service.time_limit import next_step
from service.workflows.costing.costing import Costing, prepare, subject, surroundings_of, with_first_days
from service.workflows.costing.rate_checks import share_of, warnings_on
from service.workflows.costing.supposing import NOTHING_SUPPOSED, Supposed
from service.workflows.workspace import Workspace

MAX_LINES = 50_000
"""Most lines of all bills of one request."""


class Batch(NamedTuple):
    """A batch to be costed.

    Attributes:
        product: its code.
        quantity: good pieces.
        tooling: how every tool is charged; as each operation says if left out.
        not_borne: so much of parts of its resources costs nothing: the customer brings it, or pays for it elsewhere.
        pieces_per_order: what is ordered together; all of it if left out.
    """

    product: str
    quantity: Decimal
    tooling: Tooling | None = None
    not_borne: frozenset[tuple[str, Decimal]] = frozenset()
    pieces_per_order: Decimal | None = None

    @property
    @exactly
    def orders(self) -> Decimal:
        """How many orders it is sold in."""
        return ONE if self.pieces_per_order is None else self.quantity / self.pieces_per_order


class Batches:
    """Costs each batch of a request once, up to the limit of lines for one request."""

    def __init__(self, costing: Costing) -> None:
        self._costing, self._lines = costing, 0
        self._bills: dict[Batch, BillOfResources] = {}
        self._found: dict[Batch, tuple[BillOfResources, CostSheet]] = {}

    def costed(self, batch: Batch) -> tuple[BillOfResources, CostSheet]:
        """The bill of a batch, and the cost sheet without what it does not bear.

        Raises:
            MissingRatesError: naming every resource without a rate.
            TooComplexError: all batches together exceed the limit of one request.
        """
        found = self._found.get(batch)
        if found is None:
            next_step()
            bill = self.bill(batch)
            found = self._found[batch] = bill, self._costing.sheet(bill.less(dict(batch.not_borne)))
        return found

    def bill(self, batch: Batch) -> BillOfResources:
        """The bill of a batch, with what it does not bear."""
        batch = batch._replace(not_borne=frozenset())
        found = self._bills.get(batch)
        if found is None:
            self._check_order(batch)
            found = self._costing.bill(batch.product, batch.quantity, batch.tooling, batch.orders)
            self._bills[batch] = found
            self._lines += len(found.lines) + len(found.issues)
            if self._lines > MAX_LINES:
                raise TooComplexError("lines on all the bills of one request", MAX_LINES)
        return found

    def _check_order(self, batch: Batch) -> None:
        """Raises InvalidValuesError if what is ordered together is none of the product's unit."""
        unit = self._costing.surroundings.catalogue.products[batch.product].unit
        if batch.pieces_per_order is not None and (problem := unit.problem(batch.pieces_per_order)):
            raise InvalidValuesError([InvalidValueError(("pieces_per_order",), problem)])


def costed(
    workspace: Workspace,
    costing: Costing,
    batches: Iterable[Batch],
    also: Iterable[str] = (),
    together: Batches | None = None,
) -> list[tuple[BillOfResources, CostSheet]]:
    """The bill and the cost sheet of each batch.

    Args:
        also: further resources that need a rate, such as taxes.
        together: counts these batches together with those it has costed before.

    Raises:
        MissingRatesError: naming every resource without a rate, and when its first one begins.
        TooComplexError: all batches together exceed the limit of one request.
    """
    counting = together or Batches(costing)
    found: list[tuple[BillOfResources, CostSheet]] = []
    missing = [MissingRate(resource=resource) for resource in also if resource not in costing.card.rates]
    try:
        found.extend(counting.costed(batch) for batch in batches)
    except MissingRatesError as error:
        missing = [*error.missing, *missing]
    if missing:
        raise with_first_days(workspace, MissingRatesError(costing.card.as_of, missing))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedBill:
    """What a batch consumes.

    Attributes:
        bill: the quantities, with at most nine decimals.
        warnings: what looks implausible; never a refusal.
        cautions: where the work or the product can hurt someone.
    """

    bill: BillOfResources
    warnings: tuple[PlausibilityWarning, ...]
    cautions: tuple[Caution, ...]


def bill_of_product(workspace: Workspace, code: str, quantity: Decimal) -> StatedBill:
    """Everything a batch consumes; needs no rates. Raises NotRegisteredError if the product is not registered."""
    around = surroundings_of(workspace, [subject("products", code)], date.min)
    bill = bill_of_resources(code, quantity, around.catalogue)
    quantities = shown(BillOfResources, "", bill)
    told, cautions = warnings(bill, around.catalogue), cautions_of([bill], around.catalogue)
    return StatedBill(bill=quantities, warnings=told, cautions=cautions)


def cost_product(
    workspace: Workspace, batch: Batch, as_of: date, supposed: Supposed = NOTHING_SUPPOSED
) -> CostStatement:
    """What a batch costs on a date, line by line, at what is in force or supposed.

    Raises:
        NotRegisteredError: the product is not registered.
        MissingRatesError: naming every resource without a rate.
        MissingExchangeRateError: a rate in another currency cannot be converted.
    """
    costing = prepare(workspace, [subject("products", batch.product)], as_of, supposed)
    return state_cost(workspace, costing, batch)


def sheet_warnings(
    workspace: Workspace, costing: Costing, bill: BillOfResources, sheet: CostSheet
) -> tuple[PlausibilityWarning, ...]:
    """What looks implausible about a product, its cost, and the rates that it is costed with."""
    used = dict.fromkeys(whole_of(line.resource) for line in sheet.lines)
    compared = warnings_on(workspace, costing.card.as_of, costing.following(used), bill.product)
    return (*costing.warnings(bill, sheet), *compared)


def condition_warnings(
    workspace: Workspace, costing: Costing, resources: Iterable[str], product: str | None = None
) -> tuple[PlausibilityWarning, ...]:
    """What looks wrong about the rates of taxes, channels and shipping services, and the names of taxes."""
    conditions = list(resources)
    taxes = [(rate, tax) for rate, tax in costing.in_force(conditions) if isinstance(tax, Tax)]
    named = [each for rate, tax in taxes for each in misnamed(tax.name, share_of(rate), product)]
    return (*named, *warnings_on(workspace, costing.card.as_of, costing.following(conditions), product))


def state_cost(workspace: Workspace, costing: Costing, batch: Batch) -> CostStatement:
    """What a batch costs, from loaded data; raises as `cost_product` does."""
    ((bill, sheet),) = costed(workspace, costing, [batch])
    used = dict.fromkeys(whole_of(line.resource) for line in sheet.lines)
    return cost_statement(
        sheet,
        rates_valid_from={resource: costing.card.rates[resource].valid_from for resource in used},
        exchange_rates=costing.exchange.used.stated(),
        warnings=sheet_warnings(workspace, costing, bill, sheet),
        cautions=costing.cautions(bill),
    )
