"""The conditions of sale that listings share: channel, currency, tax, base quantity and policy."""

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, NamedTuple

from service.domain.listing.listings import Listing
from service.domain.pricing.aim import Aim
from service.domain.pricing.policy import PricingPolicy
from service.domain.selling.sale import Sale
from service.domain.values.errors import PugmillError
from service.domain.values.unit_costs import UnitCosts
from service.encoding import to_bytes, trusted
from service.memory import MEGABYTE, Remembered
from service.workflows.costing.costing import Costing
from service.workflows.listing.listings import price_question
from service.workflows.pricing.sale_way import SaleWay, check_rated, estimate_of, size_of_sale
from service.workflows.workspace import Workspace

_ROOM = 16 * MEGABYTE
"""What a look remembers of sales, and of policies applied to them."""
_SIZE = 4_000
"""Bytes that conditions take in memory besides the sale: above all the policy; estimated high."""
_SIZE_OF_A_KEY = 400
"""Bytes that a price takes in memory with what it is the price of; estimated high."""


def _size(sale: Sale | None) -> int:
    """Bytes that a sale, or conditions with it, keep in memory: whoever is dropped last keeps the sale."""
    return _SIZE + (0 if sale is None else size_of_sale(sale))


class _Sold(NamedTuple):
    """A sale, without a policy.

    Attributes:
        sale: None if there is a problem.
        convert: converts a cost into the currency of sale; None if it is the workshop's.
        problem: why nothing can be sold like this.
    """

    sale: Sale | None
    convert: Callable[[Decimal], Decimal] | None = None
    problem: str = ""


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
    """

    currency: str
    base_quantity: int
    aim: Aim | None
    convert: Callable[[Decimal], Decimal] | None = None
    problem: str = ""
    sold: tuple[str, int] = field(init=False)

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

    def __init__(self, workspace: Workspace, costing: Costing) -> None:
        self._workspace, self._costing, self._exchange = workspace, costing, costing.exchange
        self._found = Remembered[Conditions](_ROOM, lambda found: _size(None if found.aim is None else found.aim.sale))
        self._sold = Remembered[_Sold](_ROOM, lambda found: _size(found.sale))
        self._sent = Remembered[Hashable](_ROOM // 4, lambda _: _SIZE_OF_A_KEY)
        self.used: set[str] = set()

    def of(self, facts: dict[str, Any]) -> Conditions:
        """The conditions of a listing, from its plain data."""
        sent = facts["shipping_service"] and self._sent_by(facts)
        way = facts["channel"], facts["currency"], facts["tax"], _order(facts), sent
        key = way, to_bytes(facts["policy"])
        return self._found.get(key) or self._found.of(key, lambda: self._conditions(facts, way))

    def needs_product(self, facts: dict[str, Any]) -> bool:
        """Whether the conditions of a listing depend on its product, of which they are not known yet."""
        return facts["shipping_service"] is not None and _parcel(facts) not in self._sent

    def _sent_by(self, facts: dict[str, Any]) -> Hashable:
        """What a sale depends on of its shipping: the service and what it costs; the product too if that is unknown."""
        key = _parcel(facts)
        return self._sent.of(key, lambda: self._priced(trusted(facts, Listing), key))

    def _priced(self, listing: Listing, unknown: Hashable) -> Hashable:
        question = price_question(listing, self._costing.card.as_of)
        try:
            check_rated(self._costing, question.route)
            estimate = estimate_of(self._costing, question)
        except PugmillError:
            return unknown  # and says why once it is sold
        return listing.shipping_service, None if estimate is None else (estimate.price.amount, estimate.currency)

    def _conditions(self, facts: dict[str, Any], way: tuple[Hashable, ...]) -> Conditions:
        currency, base = facts["currency"], facts.get("base_quantity", 1)
        policy = trusted(facts["policy"], PricingPolicy)
        sold = self._sold.of((*way, policy.display), lambda: self._sold_by(trusted(facts, Listing)))
        if sold.sale is None:
            return Conditions(currency, base, None, problem=sold.problem)
        return Conditions(currency, base, Aim(policy, sold.sale, currency, base), sold.convert)

    def _sold_by(self, listing: Listing) -> _Sold:
        question = price_question(listing, self._costing.card.as_of)
        home = self._workspace.workshop.currency
        try:
            check_rated(self._costing, question.route)
            sale = SaleWay(self._costing, question, home).sale
            convert = None if home == listing.currency else self._exchange.conversion(home, listing.currency)
        except PugmillError as error:
            return _Sold(None, problem=str(error))
        self.used.update(question.route.resources())
        return _Sold(sale, convert)


def _order(facts: dict[str, Any]) -> tuple[int, int | None]:
    """Pieces that the price is for, and pieces of an order."""
    return facts.get("base_quantity", 1), facts.get("pieces_per_order")


def _parcel(facts: dict[str, Any]) -> Hashable:
    return facts["shipping_service"], facts["shipping_zone"], facts["product"], _order(facts)
