"""What every look at many products needs of a workshop on a day, found once for each of its states."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import date
from functools import partial
from typing import Any, NamedTuple

from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.costing.rate_table import Rating, rating
from service.domain.currency.exchange_rates import DayRates
from service.domain.making.products import Catalogue, Product
from service.domain.register import CONDITIONS, RESOURCES
from service.domain.values.references import Thing
from service.memory import MEGABYTE, Memory, Remembered, size_of
from service.store.registering import rates, registrations
from service.store.registering.surroundings import Surroundings
from service.workflows.costing.costing import Costing
from service.workflows.costing.supposing import WhatIf
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace

_ROOM, _ROOM_OF_A_LOOK = 8 * MEGABYTE, 64 * MEGABYTE
"""What a look remembers of products or rates, and of what follows from a state: above all fees, tax and shipping.

A sale of 50 fees with 50 bands each takes 3 MB, and the twentieth part of a second to find."""
_BYTES_OF_A_LINE = 2_000
"""That a line or an operation of a product takes in memory; estimated high."""


class _State(NamedTuple):
    """What is remembered of a state on a day.

    Attributes:
        facts: everything with rates that is registered, by collection and code.
        consumed: the rates in force of what a batch consumes, by resource.
        days: the first day of the rates in force of what a sale depends on, by resource.
        rating: the unit rates.
        exchange: the exchange rates that these used, by pair of currencies.
    """

    facts: Mapping[str, Mapping[str, Any]]
    consumed: Mapping[str, DatedRate]
    days: Mapping[str, date]
    rating: Rating
    exchange: Mapping[tuple[str, str], DayRates]


class RatesInForce(Mapping[str, DatedRate]):
    """The rates in force on a day, by resource.

    Those of what a batch consumes are few and short. The terms of a channel or a shipping service may have thousands of
    bands, and there may be hundreds of them: each is read when it is asked for, and some are remembered.
    """

    def __init__(self, workspace: Workspace, consumed: Mapping[str, DatedRate], days: Mapping[str, date]) -> None:
        self._workspace, self._consumed, self._days = workspace, consumed, days
        self._read = Remembered[DatedRate](_ROOM, size_of)

    def __getitem__(self, resource: str) -> DatedRate:
        found = self._consumed.get(resource)
        if found is not None:
            return found
        day = self._days[resource]
        return self._read.of(resource, lambda: self._of_sale(resource, day))

    def _of_sale(self, resource: str, day: date) -> DatedRate:
        with self._workspace.reading() as connection:
            found = rates.find_rate(connection, self._workspace.workshop_id, Thing.of(resource), day)
        assert found is not None  # it was there, in the same state
        return found.rate

    def __contains__(self, resource: object) -> bool:
        return resource in self._consumed or resource in self._days

    def __iter__(self) -> Iterator[str]:
        yield from self._consumed
        yield from self._days

    def __len__(self) -> int:
        return len(self._consumed) + len(self._days)


class Products(Remembered[Product]):
    """The products of a state, each read when it is looked up, or many at once before that."""

    def __init__(self, workspace: Workspace) -> None:
        super().__init__(_ROOM, _size_of_product, self._find)
        self._workspace = workspace

    def _find(self, code: str) -> Product:
        (found,) = self._read([code])  # a listing or another product names it
        return found[1]

    def read(self, codes: Iterable[str]) -> None:
        """Read those of the products that are not remembered."""
        if missing := [code for code in codes if code not in self]:
            for code, product in self._read(missing):
                self.of(code, partial(_itself, product))

    def _read(self, codes: list[str]) -> list[tuple[str, Product]]:
        things = [Thing("products", code) for code in codes]
        with self._workspace.reading() as connection:
            found = registrations.find_registrations(connection, self._workspace.workshop_id, things)
        return [(each.code, each.facts) for each in found.values() if isinstance(each.facts, Product)]


def _itself(product: Product) -> Product:
    return product


class RatedState(NamedTuple):
    """The rates of a workshop on a day, what-if terms included.

    Attributes:
        facts: everything with rates that is registered, by collection and code.
        card: the rates.
        rating: the unit rates that follow from them.
        catalogue: what an explosion looks up; its products are read when they are needed.
        products: those of the catalogue.
    """

    facts: Mapping[str, Mapping[str, Any]]
    card: RateCard
    rating: Rating
    catalogue: Catalogue
    products: Products

    def costing(self, exchange: Exchange) -> Costing:
        """The costing of whatever is registered, with a memory of its own, for this piece of work alone."""
        around = Surroundings(facts=self.facts, catalogue=self.catalogue, rates=self.card.rates)
        return Costing(surroundings=around, card=self.card, exchange=exchange, memory=Memory(_ROOM_OF_A_LOOK), state=())

    @property
    def resources(self) -> dict[str, Any]:
        """Facts of what a batch consumes, by resource."""
        return _resources(self.facts)


def rated_state(workspace: Workspace, exchange: Exchange, as_of: date, what_if: WhatIf | None) -> RatedState:
    """The rates of a snapshot; the exchange rates that they use count as used."""
    states = workspace.database.states
    key = (workspace.workshop_id, workspace.workshop.revision, "rates of everything", as_of)
    found: _State | None = states.find(key)
    if found is None:
        found = _state(workspace, exchange, as_of)
        states.keep(key, found)
    currency = workspace.workshop.currency
    card = RateCard(as_of=as_of, currency=currency, rates=RatesInForce(workspace, found.consumed, found.days))
    products = Products(workspace)
    catalogue = _catalogue(products, found.facts)
    if not what_if:
        exchange.recall(found.exchange)
        return RatedState(found.facts, card, found.rating, catalogue, products)
    card = card.replaced(what_if)
    return RatedState(found.facts, card, rating(card, _resources(found.facts), exchange), catalogue, products)


def _catalogue(products: Products, facts: Mapping[str, Mapping[str, Any]]) -> Catalogue:
    consumed: dict[str, Any] = {name.replace("-", "_"): facts[name] for name in RESOURCES}
    return Catalogue(products=products, **consumed)


def _size_of_product(product: Product) -> int:
    return (len(product.bill_of_materials) + len(product.operations) + 1) * _BYTES_OF_A_LINE


def _state(workspace: Workspace, exchange: Exchange, as_of: date) -> _State:
    workshop_id = workspace.workshop_id
    with workspace.reading() as connection:
        facts = registrations.all_registered(connection, workshop_id, (*RESOURCES, *CONDITIONS))
        consumed = rates.rates_on(connection, workshop_id, as_of, RESOURCES)
        days = rates.days_in_force(connection, workshop_id, as_of, CONDITIONS)
    card = RateCard(as_of=as_of, currency=workspace.workshop.currency, rates=consumed)
    found, used = exchange.tracked(lambda: rating(card, _resources(facts), exchange))
    return _State(facts, consumed, days, found, used)


def _resources(facts: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    return {f"{name}/{code}": each for name in RESOURCES for code, each in facts[name].items()}
