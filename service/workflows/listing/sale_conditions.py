"""The conditions of sale that listings share: channel, currency, tax, base quantity and policy."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from service.domain.costing.rate_card import RateCard
from service.domain.listing.listings import Listing
from service.domain.making.products import Catalogue
from service.domain.pricing.aim import Aim
from service.domain.values.errors import PugmillError
from service.domain.values.references import Thing
from service.encoding import to_bytes, trusted
from service.memory import Memory, Remembered
from service.store.registering import registrations
from service.store.registering.surroundings import Surroundings
from service.workflows.costing.costing import Costing
from service.workflows.currency.exchange import Exchange
from service.workflows.listing.listings import price_question
from service.workflows.pricing.sale_way import sale_of
from service.workflows.workspace import Workspace

_ROOM = 500_000


@dataclass(slots=True)
class Conditions:
    """Conditions under which some listings are sold.

    Attributes:
        currency: of sale.
        base_quantity: pieces that a price is for.
        aim: the policy applied to the sale; None if there is a problem.
        convert: converts a cost into the currency of sale; None if there is a problem.
        problem: why nothing can be sold under them.
    """

    currency: str
    base_quantity: int
    aim: Aim | None
    convert: Callable[[Decimal], Decimal] | None = None
    problem: str = ""


class SaleConditions:
    """Finds conditions of sale by the rates of a day.

    Attributes:
        used: resources whose terms the conditions so far depend on.
    """

    def __init__(
        self, workspace: Workspace, card: RateCard, exchange: Exchange, facts: Mapping[str, Mapping[str, Any]]
    ) -> None:
        self._workspace, self._exchange = workspace, exchange
        self._found, self._products = Remembered(10_000), Remembered(1_000)
        self.used: set[str] = set()
        memory: Memory[Any] = Memory(_ROOM, len)
        around = Surroundings(facts=facts, catalogue=Catalogue(products=self._products), rates=card.rates)
        self._costing = Costing(surroundings=around, card=card, exchange=exchange, memory=memory, state=())

    def of(self, facts: dict[str, Any]) -> Conditions:
        """The conditions of a listing, from its plain data."""
        service = facts["shipping_service"]
        key = (
            facts["channel"],
            facts["currency"],
            facts["tax"],
            facts.get("base_quantity", 1),
            service and (service, facts["shipping_zone"], facts["product"]),
            to_bytes(facts["policy"]),
        )
        return self._found.of(key, lambda: self._conditions(trusted(facts, Listing)))

    def _conditions(self, listing: Listing) -> Conditions:
        question, base = price_question(listing, self._costing.card.as_of), listing.base_quantity
        home = self._workspace.workshop.currency
        try:
            if listing.shipping_service is not None:
                self._products.of(listing.product, lambda: self._product(listing.product))
            aim = Aim(listing.policy, sale_of(self._costing, question, home), listing.currency, base)
            convert = self._exchange.conversion(home, listing.currency)
        except PugmillError as error:
            return Conditions(listing.currency, base, None, problem=str(error))
        self.used.update(question.route.resources())
        return Conditions(listing.currency, base, aim, convert)

    def _product(self, code: str) -> Any:
        with self._workspace.reading() as connection:
            found = registrations.find_registration(connection, self._workspace.workshop_id, Thing("products", code))
        assert found is not None  # the listing names it
        return found.facts
