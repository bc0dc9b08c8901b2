"""The changes between the rates that set the prices in force and the present rates."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from service.domain.costing.rate_card import unit_rates
from service.domain.costing.rate_table import RateTable
from service.domain.costing.variance import Comparison, RateChange, unit_effects
from service.domain.listing.price_change import Effects, RepricingBasis
from service.domain.making.overheads import Overhead
from service.domain.values.errors import PugmillError
from service.domain.values.shown import shown
from service.memory import MEGABYTE, Remembered
from service.store.listing import repricings
from service.workflows.costing.batch_bills import FoundBill
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace

_ROOM = 8 * MEGABYTE
_BYTES_OF_A_RATE = 600
"""That a rate of a comparison takes in memory; estimated high."""


@dataclass(slots=True)
class Before:
    """The rates of an earlier repricing.

    Attributes:
        repricing: its id, as text.
        as_of: the day of its rates, as text.
        comparison: of its rates with the present ones.
        seen: places of the changes that contributed to any cost so far.
    """

    repricing: str
    as_of: str
    comparison: Comparison
    seen: set[int]

    @property
    def size(self) -> int:
        """Bytes that it takes in memory."""
        rates = self.comparison
        return (len(rates.changes) + len(rates.contributions) + len(rates.gone)) * _BYTES_OF_A_RATE


class RateMoves:
    """Compares the rates of earlier repricings with the present ones."""

    def __init__(
        self, workspace: Workspace, table: RateTable, pools: Mapping[str, Overhead], exchange: Exchange
    ) -> None:
        self._workspace, self._table = workspace, table
        self._pools, self._exchange = pools, exchange
        self._befores = Remembered[Before](_ROOM, lambda found: found.size)
        self._moved: dict[tuple[object, ...], RateChange] = {}

    def since(self, repricing_id: str) -> Before:
        """The rates of a repricing, compared with the present ones."""
        return self._befores.of(repricing_id, lambda: self._before(UUID(repricing_id)))

    def effects(self, before: Before, bill: FoundBill, earlier: Callable[[], FoundBill]) -> Effects:
        """The part of each change in the cost of a piece; the earlier bill is read only if a pool is gone since."""
        then = earlier() if before.comparison.gone else bill
        found = unit_effects(bill.bill, then.bill, before.comparison)
        changes = [before.comparison.changes[place] for place in found]
        if not before.seen.issuperset(found):
            before.seen.update(found)
            for change in changes:
                key = change.resource, change.cause, change.old_rate, change.new_rate
                there = self._moved.setdefault(key, change)
                if change.since < there.since:
                    self._moved[key] = change
        return tuple(
            (change.resource, change.cause, amount) for change, amount in zip(changes, found.values(), strict=True)
        )

    def moved(self) -> tuple[RateChange, ...]:
        """Every change that contributed to any cost, as it is shown."""
        found = sorted(self._moved.values(), key=lambda each: (each.resource, each.cause, each.since))
        return tuple(shown(RateChange, "", each) for each in found)

    def _before(self, repricing_id: UUID) -> Before:
        basis = self._basis(repricing_id)
        comparison = Comparison(basis.table, self._table, lambda resource: self._converted_anew(basis, resource))
        return Before(str(repricing_id), basis.table.as_of.isoformat(), comparison, set())

    def _basis(self, repricing_id: UUID) -> RepricingBasis:
        """What a repricing was computed with, read once for each state of the workshop."""
        states, workshop = self._workspace.database.states, self._workspace.workshop
        key = (workshop.workshop_id, workshop.revision, "basis", repricing_id)
        found: RepricingBasis | None = states.find(key)
        if found is None:
            with self._workspace.reading() as connection:
                found = repricings.get_basis(connection, workshop.workshop_id, repricing_id)
            states.keep(key, found)
        return found

    def _converted_anew(self, basis: RepricingBasis, resource: str) -> Mapping[str, Decimal]:
        """The unit rates of that time at present exchange rates; empty if these are missing."""
        try:
            return unit_rates(basis.card, [resource], self._pools, self._exchange)
        except PugmillError:
            return {}
