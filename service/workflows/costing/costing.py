"""What costing and pricing take: what is registered and the rates of a date; and what if other rates held."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeVar

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.costing.rate_card import RateCard, rate_problems, unit_rates
from service.domain.costing.rates import RateTerms
from service.domain.currency.exchange_rates import DayRates
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Tooling
from service.domain.making.resources import Overhead
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.references import Reference, Thing
from service.memory import Memory
from service.store.registering import rates as dated_rates
from service.store.registering import registrations
from service.store.registering.surroundings import Surroundings, surroundings_of_one, together
from service.workflows.currency.exchange import Exchange
from service.workflows.errors import NotRegisteredError
from service.workflows.registering.registering import described
from service.workflows.workspace import Workspace

T = TypeVar("T")

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
    return (), Thing(collection, code)


def surroundings_of(workspace: Workspace, named: Iterable[Reference], as_of: date) -> Surroundings:
    """Some things with all they need and the rates of the date, read once for each state of the workshop.

    The workshop's revision was read before: what is read now is never older than it.

    Raises:
        NotRegisteredError: what the request is about is not registered.
        InvalidValuesError: something else that is named is not registered.
    """
    references = list(named)
    parts = {}
    for thing in dict.fromkeys(thing for _, thing in references):
        key = (workspace.workshop_id, workspace.workshop.revision, thing, as_of)
        part: Surroundings | None = workspace.database.memory.find(key)
        if part is None:
            with workspace.reading() as connection:
                part = surroundings_of_one(connection, workspace.workshop_id, thing, as_of)
            if part.find(thing) is not None:
                workspace.database.memory.keep(key, part)
        parts[thing] = part
    _check_registered(parts, references)
    return together(parts.values())


def _check_registered(parts: Mapping[Thing, Surroundings], named: Iterable[Reference]) -> None:
    problems = []
    for path, thing in named:
        if parts[thing].find(thing) is None:
            if not path:
                raise NotRegisteredError(described(thing))
            reason = f"there is no {described(thing)}; register it first"
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
        thing = Thing.of(resource)
        with workspace.reading() as connection:
            found = registrations.find_registration(connection, workspace.workshop_id, thing)
        if found is None or found.retired_at is not None:
            problems.append(InvalidValueError(("rates", resource), f"there is no {described(thing)}"))
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
