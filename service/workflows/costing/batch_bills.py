"""The bill of resources of a listing's standard batch: stored with its price, or computed again."""

from decimal import Decimal
from typing import NamedTuple

from service.domain.making.bill_of_resources import BatchBill
from service.domain.making.explosion import bill_of_resources
from service.domain.making.products import Catalogue
from service.domain.values.exact import exactly
from service.domain.values.units import Unit
from service.encoding import encoded, plain_data, to_bytes
from service.memory import MEGABYTE, Remembered
from service.store.listing.prices_in_force import ListingRow

_ROOM = 8 * MEGABYTE
_BYTES_OF_A_CHARACTER = 6
"""That a character of the text of a bill takes in memory, with the figures decoded from it."""


class FoundBill(NamedTuple):
    """A bill of resources, the same as JSON text, and whether it was computed again."""

    bill: BatchBill
    text: str
    is_new: bool

    @property
    def size(self) -> int:
        """Bytes that it takes in memory."""
        return len(self.text) * _BYTES_OF_A_CHARACTER


class BatchBills:
    """Finds bills of resources in one state of a workshop, of which the catalogue has everything registered."""

    def __init__(self, catalogue: Catalogue) -> None:
        self._catalogue = catalogue
        self._bills = Remembered[FoundBill](_ROOM, lambda found: found.size)
        self._read = Remembered[FoundBill](_ROOM // 4, lambda found: found.size)

    def new(self, row: ListingRow) -> FoundBill:
        """The bill of a listing, computed again; raises PugmillError if it cannot be made."""
        facts = row.facts
        pieces = Decimal(facts["standard_batch"])
        ordered = Decimal(facts.get("pieces_per_order") or facts.get("base_quantity", 1))
        batch = facts["product"], pieces, ordered
        return self._bills.of(batch, lambda: self._anew(*batch))

    def stored(self, text: str) -> FoundBill:
        """The bill that is stored as this text."""
        # Listings of one product and batch have the same bill, and are mostly neighbours.
        return self._read.of(text, lambda: stored_bill(text))

    @exactly
    def _anew(self, product: str, pieces: Decimal, ordered: Decimal) -> FoundBill:
        exploded = bill_of_resources(product, pieces, self._catalogue, orders=pieces / ordered)
        bill = BatchBill(pieces, {line.resource: line.quantity for line in exploded.lines}, exploded.unit)
        return FoundBill(bill, to_bytes(encoded(bill._asdict())).decode(), True)


def stored_bill(text: str) -> FoundBill:
    """The same, decoded each time; one stored before there were units is of whole pieces."""
    data = plain_data(text)
    quantities = {part: Decimal(quantity) for part, quantity in data["quantities"].items()}
    return FoundBill(BatchBill(Decimal(data["pieces"]), quantities, Unit(data.get("unit", "piece"))), text, False)
