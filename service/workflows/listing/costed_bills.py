"""What bills of resources cost by the rates of a day, found once for all listings that share a bill."""

from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.costing.rate_table import Rating
from service.domain.costing.variance import unit_costs
from service.domain.listing.price_change import ChangeWriter
from service.domain.making.bill_of_resources import BatchBill
from service.domain.making.products import Catalogue
from service.domain.values.exact import ZERO
from service.domain.values.references import whole_of
from service.domain.values.unit_costs import UnitCosts
from service.memory import MEGABYTE, Remembered
from service.store.listing.prices_in_force import ListingRow
from service.workflows.costing.batch_bills import BatchBills, FoundBill, stored_bill

_ROOM = 8 * MEGABYTE
_SIZE = 6_000
"""Bytes that a costed bill takes in memory besides the bill itself; estimated high."""


class UnpricedError(Exception):
    """A listing has no price; the message says why."""


@dataclass(slots=True)
class CostedBill:
    """A bill of resources with its cost, unrounded, as shown, and as JSON.

    Attributes:
        piece: the cost of a piece in the workshop's currency.
        sold: what the base quantity costs, by currency and base quantity.
        moves: JSON of the old cost and of its changes since, by the repricing that set a price and the old cost.
    """

    found: FoundBill
    piece: UnitCosts
    shown: Decimal
    told: str
    sold: dict[tuple[str, int], UnitCosts] = field(default_factory=dict)
    moves: dict[tuple[str, str], tuple[str, str]] = field(default_factory=dict)

    def sold_at(self, sold: tuple[str, int], make: Callable[[UnitCosts], UnitCosts]) -> UnitCosts:
        """What the base quantity costs in a currency, made once."""
        found = self.sold.get(sold)
        if found is None:
            found = self.sold[sold] = make(self.piece)
        return found


class CostedBills:
    """Costs bills of resources by the rates of a day.

    Attributes:
        used: the parts of resources that have a quantity in any bill so far.
    """

    def __init__(self, catalogue: Catalogue, rating: Rating, writer: ChangeWriter) -> None:
        none_yet = dict.fromkeys(rating.unrated_pools, ZERO)  # a pool counts from its first rate on
        full, variable = none_yet | rating.table.full(), none_yet | rating.table.variable()
        self._rates = {part: (rate, rate if variable[part] == rate else variable[part]) for part, rate in full.items()}
        self._rating, self._writer, self._bills = rating, writer, BatchBills(catalogue)
        self._stored = Remembered[CostedBill](_ROOM, lambda found: _SIZE + found.found.size)
        self._new = Remembered[CostedBill](_ROOM, lambda found: _SIZE + found.found.size)
        self.used = set[str]()

    def of(self, row: ListingRow) -> CostedBill:
        """The costed bill of a listing.

        Raises:
            PugmillError: the bill cannot be made.
            MissingRatesError: resources have no rate.
            UnpricedError: the rate of a resource gives no unit rate.
        """
        text = row.known_bill
        if text is None:
            found = self._bills.new(row)
            return self._new.of(found.text, lambda: self._costed_of(found))
        return self._stored.get(text) or self._stored.of(text, lambda: self._costed_of(stored_bill(text)))

    def in_force(self, row: ListingRow) -> FoundBill:
        """The bill that the price in force was computed from."""
        assert row.bill is not None  # only a listing without a price has none
        return self._bills.stored(row.bill)

    def _costed_of(self, found: FoundBill) -> CostedBill:
        bill = found.bill
        try:
            full, variable = unit_costs(bill, self._rates)
        except KeyError:
            raise self._without_rate(bill) from None
        self.used.update(bill.quantities)
        shown = self._writer.cost(full)
        piece = UnitCosts(variable=variable, full=full, shown_variable=variable)
        return CostedBill(found, piece, shown, self._writer.money(shown))

    def _without_rate(self, bill: BatchBill) -> Exception:
        missing = dict.fromkeys(whole_of(part) for part in bill.quantities if part not in self._rates)
        for resource in missing:
            if resource in self._rating.unusable:
                return UnpricedError(str(self._rating.unusable[resource]))
        return MissingRatesError(self._rating.table.as_of, [MissingRate(resource=resource) for resource in missing])
