"""The changes between the rates that set the prices in force and the present rates."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from service.domain.costing.rate_card import unit_rates
from service.domain.costing.rate_table import RateTable
from service.domain.costing.variance import Comparison, RateChange, unit_effects
from service.domain.listing.price_change import Effects, RepricingBasis
from service.domain.making.bill_of_resources import BatchBill
from service.domain.making.overheads import Overhead
from service.domain.values.errors import PugmillError
from service.domain.values.shown import shown
from service.memory import Remembered
from service.store.listing import repricings
from service.workflows.costing.batch_bills import FoundBill
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace


@dataclass(slots=True)
class Before:
    """The rates of an earlier repricing.

    Attributes:
        repricing: its id, as text.
        as_of: the day of its rates, as text.
        comparison: of its rates with the present ones.
        seen: places of the changes that contributed to any cost so far.
        effects: of the changes on each bill, by its text and that of the earlier one.
    """

    repricing: str
    as_of: str
    comparison: Comparison
    seen: set[int]
    effects: Remembered


class RateMoves:
    """Compares the rates of earlier repricings with the present ones."""

    def __init__(
        self, workspace: Workspace, table: RateTable, pools: Mapping[str, Overhead], exchange: Exchange
    ) -> None:
        self._workspace, self._table = workspace, table
        self._pools, self._exchange = pools, exchange
        self._befores = Remembered(1_000)
        self._moved: dict[tuple[object, ...], RateChange] = {}

    def since(self, repricing_id: str) -> Before:
        """The rates of a repricing, compared with the present ones."""
        found: Before = self._befores.of(repricing_id, lambda: self._before(UUID(repricing_id)))
        return found

    def effects(self, before: Before, bill: FoundBill, earlier: Callable[[], FoundBill]) -> Effects:
        """The part of each change in the cost of a piece; computed once for listings with the same bills.

        The bill of the earlier repricing is read only if a pool is gone since.
        """
        then = earlier() if before.comparison.gone else bill
        found: Effects = before.effects.of((bill.text, then.text), lambda: self._effects(before, bill.bill, then.bill))
        return found

    def _effects(self, before: Before, bill: BatchBill, earlier: BatchBill) -> Effects:
        found = unit_effects(bill, earlier, before.comparison)
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
        with self._workspace.reading() as connection:
            basis = repricings.get_basis(connection, self._workspace.workshop_id, repricing_id)
        comparison = Comparison(basis.table, self._table, lambda resource: self._converted_anew(basis, resource))
        return Before(str(repricing_id), basis.table.as_of.isoformat(), comparison, set(), Remembered(200))

    def _converted_anew(self, basis: RepricingBasis, resource: str) -> Mapping[str, Decimal]:
        """The unit rates of that time at present exchange rates; empty if these are missing."""
        try:
            return unit_rates(basis.card, [resource], self._pools, self._exchange)
        except PugmillError:
            return {}
