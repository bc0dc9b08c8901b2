"""The conditions of sale that listings share: channel, currency, tax, base quantity and policy."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from service.domain.costing.rate_card import RateCard
from service.domain.listing.listings import Listing
from service.domain.making.products import Catalogue
from service.domain.pricing.aim import Aim
from service.domain.values.errors import PugmillError
from service.domain.values.unit_costs import UnitCosts
from service.encoding import to_bytes, trusted
from service.memory import MEGABYTE, Memory, Remembered
from service.store.registering.surroundings import Surroundings
from service.workflows.costing.costing import Costing
from service.workflows.currency.exchange import Exchange
from service.workflows.listing.listings import price_question
from service.workflows.pricing.sale_way import sale_of, size_of_sale
from service.workflows.workspace import Workspace

_ROOM_FOR_SALES, _ROOM = 64 * MEGABYTE, 16 * MEGABYTE
"""What a look remembers of sales (fees, tax and shipping), and of policies applied to them.

One of 50 fees with 50 bands each takes 3 MB, and the twentieth part of a second to find."""


_SIZE = 4_000
"""Bytes that conditions take in memory besides the sale: above all the policy; estimated high."""


@dataclass(slots=True)
class Conditions:
    """Conditions under which some listings are sold.

    Attributes:
        currency: of sale.
        base_quantity: pieces that a price is for.
        aim: the policy applied to the sale; None if there is a problem.
        convert: converts a cost into the currency of sale.
        problem: why nothing can be sold under them.
        sold: what they make of a cost depends on: currency and base quantity.
        size: bytes that they take in memory.
    """

    currency: str
    base_quantity: int
    aim: Aim | None
    convert: Callable[[Decimal], Decimal] | None = None
    problem: str = ""
    sold: tuple[str, int] = field(init=False)
    size: int = 0

    def __post_init__(self) -> None:
        self.sold = self.currency, self.base_quantity

    def costs(self, piece: UnitCosts) -> UnitCosts:
        """What a base quantity costs in the currency of sale."""
        assert self.aim is not None
        return self.aim.costs(piece if self.convert is None else piece.converted(self.convert))


class SaleConditions:
    """Finds conditions of sale by the rates of a day.

    Attributes:
        used: resources whose terms the conditions so far depend on.
    """

    def __init__(
        self,
        workspace: Workspace,
        card: RateCard,
        exchange: Exchange,
        facts: Mapping[str, Mapping[str, Any]],
        catalogue: Catalogue,
    ) -> None:
        self._workspace, self._exchange = workspace, exchange
        self._found = Remembered[Conditions](_ROOM, lambda found: found.size)
        self.used: set[str] = set()
        memory: Memory[Any] = Memory(_ROOM_FOR_SALES)
        around = Surroundings(facts=facts, catalogue=catalogue, rates=card.rates)
        self._costing = Costing(surroundings=around, card=card, exchange=exchange, memory=memory, state=())

    def of(self, facts: dict[str, Any]) -> Conditions:
        """The conditions of a listing, from its plain data."""
        service = facts["shipping_service"]
        key = (
            facts["channel"],
            facts["currency"],
            facts["tax"],
            facts.get("base_quantity", 1),
            facts.get("pieces_per_order"),
            service and (service, facts["shipping_zone"], facts["product"]),
            to_bytes(facts["policy"]),
        )
        return self._found.get(key) or self._found.of(key, lambda: self._conditions(trusted(facts, Listing)))

    def _conditions(self, listing: Listing) -> Conditions:
        question, base = price_question(listing, self._costing.card.as_of), listing.base_quantity
        home = self._workspace.workshop.currency
        try:
            aim = Aim(listing.policy, sale_of(self._costing, question, home), listing.currency, base)
            convert = None if home == listing.currency else self._exchange.conversion(home, listing.currency)
        except PugmillError as error:
            return Conditions(listing.currency, base, None, problem=str(error), size=_SIZE)
        self.used.update(question.route.resources())
        return Conditions(listing.currency, base, aim, convert, size=_SIZE + size_of_sale(aim.sale))
