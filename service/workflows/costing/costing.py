"""What a batch consumes, what it costs, what to ask for it: on any date, and what if other rates held."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple, TypeVar

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.cost_statement import CostStatement, cost_statement
from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.costing.rate_card import RateCard, rate_problems, unit_rates
from service.domain.costing.rates import RateTerms
from service.domain.currency.exchange_rates import DayRates
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.explosion import bill_of_resources
from service.domain.making.plausibility import Implausibility, cautions_of, warnings
from service.domain.making.products import Tooling
from service.domain.making.resources import Overhead
from service.domain.safety.cautions import Caution
from service.domain.values.errors import InvalidValueError, InvalidValuesError, TooComplexError
from service.domain.values.references import Reference
from service.domain.values.shown import shown
from service.memory import Memory
from service.store.registering import rates as dated_rates
from service.store.registering import registrations
from service.store.registering.surroundings import Surroundings, surroundings_of_one, together
from service.time_limit import next_step
from service.workflows.currency.exchange import Exchange
from service.workflows.errors import NotRegisteredError
from service.workflows.registering.registering import described
from service.workflows.workspace import Workspace

T = TypeVar("T")

MAX_LINES = 50_000
"""The most lines that one request may have worked out, over all its batches."""

WhatIf = Mapping[str, RateTerms]
"""Terms that replace those in force, by resource, for one answer only."""


@dataclass(frozen=True, slots=True)
class _Remembered:
    """What was made in a state, and the exchange rates it took.

    Attributes:
        value: what was made.
        rates: the day's rates by pair of currencies.
    """

    value: Any
    rates: Mapping[tuple[str, str], DayRates]

    def __len__(self) -> int:
        """What it weighs in memory, in registered things; more rather than less."""
        return 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Costing:
    """Everything needed to cost some products on a date.

    Attributes:
        surroundings: the products, what they name, and the rates.
        card: the rates in force on the date, what-if terms included.
        exchange: converts amounts, and remembers the exchange rates used.
        memory: what follows from the state alone, from one request to the next.
        state: of the workshop, on the date.
    """

    surroundings: Surroundings
    card: RateCard
    exchange: Exchange
    memory: Memory[Any]
    state: tuple[Hashable, ...]

    def remembered(self, key: tuple[Hashable, ...], make: Callable[[], T]) -> T:
        """What follows from the state and the key alone, made once; the exchange rates it took count as used.

        Not for what follows from what-if rates, which are no part of the state; and what is made must not hold on to
        the surroundings, or they would stay in memory with it.
        """
        found: _Remembered | None = self.memory.find((*self.state, *key))
        if found is None:
            found = _Remembered(*self.exchange.tracked(make))
            self.memory.keep((*self.state, *key), found)
        else:
            self.exchange.recall(found.rates)
        value: T = found.value
        return value

    def bill(self, code: str, quantity: int, tooling: Tooling | None = None) -> BillOfResources:
        """What a batch consumes."""
        return bill_of_resources(code, quantity, self.surroundings.catalogue, tooling)

    def sheet(self, bill: BillOfResources) -> CostSheet:
        """What it costs.

        Raises:
            MissingRatesError: naming every resource without a rate.
            MissingExchangeRateError: a rate in another currency cannot be converted.
        """
        rates = unit_rates(self.card, bill.resources, pools_of(self.surroundings), self.exchange)
        return cost_sheet(bill, rates, as_of=self.card.as_of, currency=self.card.currency)


def pools_of(surroundings: Surroundings) -> dict[str, Overhead]:
    """The overhead pools by resource."""
    return {f"overheads/{code}": pool for code, pool in surroundings.catalogue.overheads.items()}


def subject(collection: str, code: str) -> Reference:
    """What a request is about; it is named in the address and not in a member."""
    return (), collection, code


def surroundings_of(workspace: Workspace, named: Iterable[Reference], as_of: date) -> Surroundings:
    """Some things with all they need and the rates of the date, read once for each state of the workshop.

    The workshop's revision was read before: what is read now is never older than it.

    Raises:
        NotRegisteredError: what the request is about is not registered.
        InvalidValuesError: something else that is named is not registered.
    """
    references = list(named)
    parts = {}
    for collection, code in dict.fromkeys((collection, code) for _, collection, code in references):
        key = (workspace.workshop_id, workspace.workshop.revision, collection, code, as_of)
        part: Surroundings | None = workspace.database.memory.find(key)
        if part is None:
            with workspace.reading() as connection:
                part = surroundings_of_one(connection, workspace.workshop_id, collection, code, as_of)
            if part.find(collection, code) is not None:
                workspace.database.memory.keep(key, part)
        parts[collection, code] = part
    _check_registered(parts, references)
    return together(parts.values())


def _check_registered(parts: Mapping[tuple[str, str], Surroundings], named: Iterable[Reference]) -> None:
    problems = []
    for path, collection, code in named:
        if parts[collection, code].find(collection, code) is None:
            if not path:
                raise NotRegisteredError(described(collection, code))
            reason = f"there is no {described(collection, code)}; register it first"
            problems.append(InvalidValueError(path, reason))
    if problems:
        raise InvalidValuesError(problems)


def prepare(workspace: Workspace, named: Iterable[Reference], as_of: date, what_if: WhatIf | None = None) -> Costing:
    """Load what costing and pricing these things on the date takes.

    Raises:
        NotRegisteredError: what the request is about is not registered.
        InvalidValuesError: something else that is named is not, or a what-if rate does not fit what it is for.
    """
    around = surroundings_of(workspace, named, as_of)
    card = RateCard(as_of=as_of, currency=workspace.workshop.currency, rates=around.rates)
    if what_if:
        check_what_if(workspace, what_if)
        card = card.replaced(what_if)
    return Costing(
        surroundings=around,
        card=card,
        exchange=Exchange(workspace, as_of),
        memory=workspace.database.memory,
        state=(workspace.workshop_id, workspace.workshop.revision, as_of),
    )


def check_what_if(workspace: Workspace, what_if: WhatIf) -> None:
    """Make sure that what-if rates fit what they are for.

    Raises:
        InvalidValuesError: one does not, or is for nothing that is registered.
    """
    problems = []
    for resource, terms in what_if.items():
        collection, _, code = resource.partition("/")
        with workspace.reading() as connection:
            found = registrations.find_registration(connection, workspace.workshop_id, collection, code)
        if found is None or found.retired_at is not None:
            problems.append(InvalidValueError(("rates", resource), f"there is no {described(collection, code)}"))
        else:
            problems += [
                InvalidValueError(("rates", resource, *problem.path), problem.reason)
                for problem in rate_problems(terms, found.facts)
            ]
    if problems:
        raise InvalidValuesError(problems)


def with_first_days(workspace: Workspace, error: MissingRatesError) -> MissingRatesError:
    """The error, saying besides when each missing rate first begins."""
    resources = [missing.resource for missing in error.missing]
    with workspace.reading() as connection:
        firsts = dated_rates.first_rate_days(connection, workspace.workshop_id, resources)
    return MissingRatesError(
        error.as_of,
        [
            MissingRate(resource=missing.resource, first_valid_from=firsts.get(missing.resource))
            for missing in error.missing
        ],
    )


class Batch(NamedTuple):
    """What is to be costed.

    Attributes:
        product: its code.
        quantity: good pieces.
        tooling: how every tool is charged; as each operation says if left out.
        supplied: resources that cost nothing, for the customer brings them.
    """

    product: str
    quantity: int
    tooling: Tooling | None = None
    supplied: frozenset[str] = frozenset()


class Batches:
    """Costs batches for one request, each once, and no more than one request may ask for."""

    def __init__(self, costing: Costing) -> None:
        self._costing, self._lines = costing, 0
        self._found: dict[Batch, tuple[BillOfResources, CostSheet]] = {}

    def costed(self, batch: Batch) -> tuple[BillOfResources, CostSheet]:
        """The bill of a batch, and the sheet of what costs something of it.

        Raises:
            MissingRatesError: naming every resource without a rate.
            TooComplexError: together they are more than one request may ask for.
        """
        found = self._found.get(batch)
        if found is None:
            next_step()
            bill = self._costing.bill(batch.product, batch.quantity, batch.tooling)
            self._lines += len(bill.lines) + len(bill.issues)
            if self._lines > MAX_LINES:
                raise TooComplexError("lines on all the bills of one request", MAX_LINES)
            found = self._found[batch] = bill, self._costing.sheet(bill.without(batch.supplied))
        return found


def costed(
    workspace: Workspace,
    costing: Costing,
    batches: Iterable[tuple[str, int] | Batch],
    also: Iterable[str] = (),
    together: Batches | None = None,
) -> list[tuple[BillOfResources, CostSheet]]:
    """The bill and the cost sheet of each batch.

    Args:
        also: resources that need a rate besides, such as taxes.
        together: counts with them what the request has costed besides.

    Raises:
        MissingRatesError: naming every resource without a rate, and when its first one begins.
        TooComplexError: together they are more than one request may ask for.
    """
    counting = together or Batches(costing)
    found: list[tuple[BillOfResources, CostSheet]] = []
    missing = [MissingRate(resource=resource) for resource in also if resource not in costing.card.rates]
    try:
        found.extend(counting.costed(Batch(*batch)) for batch in batches)
    except MissingRatesError as error:
        missing = [*error.missing, *missing]
    if missing:
        raise with_first_days(workspace, MissingRatesError(costing.card.as_of, missing))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedBill:
    """What a batch consumes, as it is shown.

    Attributes:
        bill: the quantities, at most nine decimals each.
        warnings: what looks implausible; never a refusal.
        cautions: where the work or the product can hurt someone.
    """

    bill: BillOfResources
    warnings: tuple[Implausibility, ...]
    cautions: tuple[Caution, ...]


def bill_of_product(workspace: Workspace, code: str, quantity: int) -> StatedBill:
    """Everything a batch consumes, in physical units; no rates are needed.

    Raises:
        NotRegisteredError: the product is not registered.
    """
    around = surroundings_of(workspace, [subject("products", code)], date.min)
    bill = bill_of_resources(code, quantity, around.catalogue)
    quantities = shown(BillOfResources, "", bill)
    told, cautions = warnings(bill, around.catalogue), cautions_of(bill, around.catalogue)
    return StatedBill(bill=quantities, warnings=told, cautions=cautions)


def cost_product(
    workspace: Workspace, code: str, quantity: int, as_of: date, what_if: WhatIf | None = None
) -> CostStatement:
    """What a batch costs on a date, line by line; with other rates if these are given.

    Raises:
        NotRegisteredError: the product is not registered.
        MissingRatesError: naming every resource without a rate.
        MissingExchangeRateError: a rate in another currency cannot be converted.
    """
    return state_cost(workspace, prepare(workspace, [subject("products", code)], as_of, what_if), code, quantity)


def state_cost(workspace: Workspace, costing: Costing, code: str, quantity: int) -> CostStatement:
    """What a batch costs, of what has been loaded for it; raises as cost_product."""
    ((bill, sheet),) = costed(workspace, costing, [(code, quantity)])
    used = dict.fromkeys(line.resource.partition("#")[0] for line in sheet.lines)
    return cost_statement(
        sheet,
        rates_valid_from={resource: costing.card.rates[resource].valid_from for resource in used},
        exchange_rates=costing.exchange.used.stated(),
        warnings=warnings(bill, costing.surroundings.catalogue),
        cautions=cautions_of(bill, costing.surroundings.catalogue),
    )
