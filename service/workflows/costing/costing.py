"""Loads what costing and pricing need: registered things, rates of a date, and what-if rates."""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from service.domain.costing.cost_sheet import CostSheet, cost_sheet
from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.costing.free_of_charge import pools_below_zero, pools_left_out, zero_lines
from service.domain.costing.rate_card import DatedRate, RateCard, rate_problems, unit_rates
from service.domain.currency.exchange_rates import DayRates
from service.domain.making.bill_of_resources import BillOfResources
from service.domain.making.explosion import bill_of_resources
from service.domain.making.overheads import Overhead
from service.domain.making.plausibility import cautions_of, warnings
from service.domain.making.products import Product, Tooling
from service.domain.safety.cautions import Caution
from service.domain.values.errors import InvalidValueError, InvalidValuesError
from service.domain.values.exact import ONE
from service.domain.values.message import PlausibilityWarning
from service.domain.values.references import Reference, Thing
from service.memory import MEGABYTE, Memory
from service.store.registering import rates as dated_rates
from service.store.registering import registrations
from service.store.registering.surroundings import Surroundings, surroundings_of_one, together
from service.workflows.costing.supposing import NOTHING_SUPPOSED, Supposed, WhatIf, check_what_if_facts
from service.workflows.currency.exchange import Exchange
from service.workflows.registering.unknown import not_registered, unregistered
from service.workflows.workspace import Workspace

T = TypeVar("T")

_ROOM = 24 * MEGABYTE
"""What one answer remembers of what it supposes."""
_SIZE_OF_A_FACT = 2_000
"""Bytes of a unit rate or a caution; estimated high."""


@dataclass(frozen=True, slots=True)
class _Remembered:
    """A value derived from a state, and the exchange rates it used, by pair of currencies."""

    value: Any
    rates: Mapping[tuple[str, str], DayRates]


@dataclass(frozen=True, slots=True, kw_only=True)
class Costing:
    """Everything needed to cost some products on a date.

    Attributes:
        surroundings: the products, everything they refer to, and the rates.
        card: the rates in force on the date, or supposed.
        exchange: converts amounts, and records the exchange rates used.
        memory: values derived from a state, kept between requests; where something is supposed, for this answer only.
        state: key of the workshop's state on the date.
    """

    surroundings: Surroundings
    card: RateCard
    exchange: Exchange
    memory: Memory[Any]
    state: tuple[Hashable, ...]

    def remembered(self, key: tuple[Hashable, ...], make: Callable[[], T], weigh: Callable[[T], int]) -> T:
        """A value that depends on the state and the key alone, made once; its exchange rates count as used.

        It must not refer to the surroundings, which would then stay in memory with it.

        Args:
            weigh: the bytes that it takes.
        """
        found: _Remembered | None = self.memory.find((*self.state, *key))
        if found is None:
            found = _Remembered(*self.exchange.tracked(make))
            self.memory.keep((*self.state, *key), found, weigh(found.value))
        else:
            self.exchange.recall(found.rates)
        value: T = found.value
        return value

    def bill(
        self, code: str, quantity: Decimal, tooling: Tooling | None = None, orders: Decimal = ONE
    ) -> BillOfResources:
        """What a batch consumes."""
        return bill_of_resources(code, quantity, self.surroundings.catalogue, tooling, orders)

    def with_products(self, products: Mapping[str, Product]) -> "Costing":
        """With products that are not registered, whose values no other answer is to remember."""
        facts = {f"products/{code}": product for code, product in products.items()}
        return replace(self, surroundings=self.surroundings.replaced(facts), memory=Memory(_ROOM))

    def sheet(self, bill: BillOfResources) -> CostSheet:
        """The cost sheet of a bill.

        Raises:
            MissingRatesError: naming every resource without a rate.
            MissingExchangeRateError: a rate in another currency cannot be converted.
        """
        resources = bill.resources
        rates = self.remembered(
            ("unit rates", resources),
            lambda: unit_rates(self.card, resources, pools_of(self.surroundings), self.exchange),
            lambda found: _SIZE_OF_A_FACT * (1 + len(found)),
        )
        return cost_sheet(bill, rates, self.card)

    def cautions(self, bill: BillOfResources) -> tuple[Caution, ...]:
        """Where the work on the product of a bill, or the product, can hurt someone; the same for each quantity."""
        return self.remembered(
            ("cautions", bill.product),
            lambda: cautions_of([bill], self.surroundings.catalogue),
            lambda found: _SIZE_OF_A_FACT * (1 + len(found)),
        )

    def warnings(self, bill: BillOfResources, sheet: CostSheet) -> tuple[PlausibilityWarning, ...]:
        """What looks implausible about the product of a bill, and about its cost."""
        left_out = pools_left_out(bill, self.card.rates)
        return (*warnings(bill, self.surroundings.catalogue), *zero_lines(sheet), *pools_below_zero(sheet), *left_out)

    def in_force(self, resources: Iterable[str]) -> list[tuple[DatedRate, Any]]:
        """The stored rates of these resources in force on the date, what-if terms left out."""
        stored = self.surroundings.rates
        found = (stored[each] for each in resources if each in stored and self.card.rates.get(each) is stored[each])
        return [(rate, self.surroundings.find(Thing.of(rate.resource))) for rate in found]

    def following(self, resources: Iterable[str]) -> list[tuple[DatedRate, DatedRate, Any]]:
        """Those of the rates in force that follow another, each with that one and with what it prices."""
        earlier = self.surroundings.earlier
        found = self.in_force(each for each in resources if each in earlier)
        return [(rate, earlier[rate.resource], registered) for rate, registered in found]


def pools_of(surroundings: Surroundings) -> dict[str, Overhead]:
    """The overhead pools by resource."""
    return {f"overheads/{code}": pool for code, pool in surroundings.catalogue.overheads.items()}


def with_pools(workspace: Workspace, costing: Costing) -> Costing:
    """With every overhead pool and its rate, which come with a product, but not with what else is sold."""
    with workspace.reading() as connection:
        registered = registrations.all_registered(connection, workspace.workshop_id, ["overheads"])["overheads"]
    things = [Thing("overheads", code) for code in registered]
    pools = together(
        surroundings_of_one(workspace.database, workspace.workshop_id, thing, costing.card.as_of) for thing in things
    )
    around = together([costing.surroundings, pools])
    return replace(costing, surroundings=around, card=replace(costing.card, rates=around.rates), memory=Memory(_ROOM))


def subject(collection: str, code: str) -> Reference:
    """The reference of what a request is about: named in the address, not in a member."""
    return (), Thing(collection, code)


def surroundings_of(workspace: Workspace, named: Iterable[Reference], as_of: date) -> Surroundings:
    """The things, everything they refer to, and the rates of the date, read once for each state of the workshop.

    The workshop's revision was read before, so the data is never older than its key in memory.

    Raises:
        NotRegisteredError: the subject of the request is not registered.
        InvalidValuesError: something else named is not registered.
    """
    references = list(named)
    parts = {}
    for thing in dict.fromkeys(thing for _, thing in references):
        key = (workspace.workshop_id, workspace.workshop.revision, thing, as_of)
        part: Surroundings | None = workspace.database.memory.find(key)
        if part is None:
            part = surroundings_of_one(workspace.database, workspace.workshop_id, thing, as_of)
            if part.find(thing) is not None:
                workspace.database.memory.keep(key, part, part.size)
        parts[thing] = part
    _check_registered(workspace, parts, references)
    return together(parts.values())


def _check_registered(workspace: Workspace, parts: Mapping[Thing, Surroundings], named: Iterable[Reference]) -> None:
    unknown = [(path, thing) for path, thing in named if parts[thing].find(thing) is None]
    for path, thing in unknown:
        if not path:
            raise not_registered(workspace, thing)
    if unknown:
        with workspace.reading() as connection:
            raise InvalidValuesError([*unregistered(connection, workspace.workshop_id, unknown)])


def prepare(
    workspace: Workspace,
    named: Iterable[Reference],
    as_of: date,
    supposed: Supposed = NOTHING_SUPPOSED,
    *,
    converted_on: date | None = None,
) -> Costing:
    """Load what costing and pricing these things on the date need.

    Args:
        converted_on: the day of the exchange rates; the date itself if left out.

    Raises:
        NotRegisteredError: the subject of the request is not registered.
        InvalidValuesError: something else named is not registered, or what is supposed does not fit what is.
    """
    check_what_if_facts(workspace, supposed.facts)
    around = surroundings_of(workspace, (*named, *supposed.references()), as_of)
    if supposed.facts:
        around = around.replaced(supposed.facts)
        supposed.check_products(around.catalogue)
    card = RateCard(as_of=as_of, currency=workspace.workshop.currency, rates=around.rates)
    if supposed.rates:
        check_what_if(workspace, supposed.rates, as_of)
        card = card.replaced(supposed.rates)
    return Costing(
        surroundings=around,
        card=card,
        exchange=Exchange(workspace, converted_on or as_of),
        memory=Memory(_ROOM) if supposed else workspace.database.memory,
        state=(workspace.workshop_id, workspace.workshop.revision, as_of, converted_on or as_of),
    )


def check_what_if(workspace: Workspace, what_if: WhatIf, as_of: date) -> None:
    """Raises InvalidValuesError if a what-if rate does not fit its resource or day, or that is not registered."""
    problems: list[InvalidValueError] = []
    unknown: list[Reference] = []
    for resource, terms in what_if.items():
        thing = Thing.of(resource)
        with workspace.reading() as connection:
            found = registrations.find_registration(connection, workspace.workshop_id, thing)
        if found is None or found.retired_at is not None:
            unknown.append((("rates", resource), thing))
        else:
            problems += [
                InvalidValueError(("rates", resource, *problem.path), problem.reason)
                for problem in rate_problems(terms, found.facts, as_of)
            ]
    if unknown:
        with workspace.reading() as connection:
            problems = [*unregistered(connection, workspace.workshop_id, unknown), *problems]
    if problems:
        raise InvalidValuesError(problems)


def with_first_days(workspace: Workspace, error: MissingRatesError) -> MissingRatesError:
    """The error, with the day on which each missing rate first begins."""
    resources = [missing.resource for missing in error.missing]
    with workspace.reading() as connection:
        firsts = dated_rates.first_rate_days(connection, workspace.workshop_id, resources)
    missing = [MissingRate(resource=each, first_valid_from=firsts.get(each)) for each in resources]
    return MissingRatesError(error.as_of, missing)
