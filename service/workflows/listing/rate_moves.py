"""What moved between the rates that prices in force were found with and the rates of now."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from service.domain.costing.rate_card import unit_rates
from service.domain.costing.rate_table import RateTable
from service.domain.costing.variance import Comparison, RateChange, unit_effects
from service.domain.listing.price_change import Effects, RepricingBasis
from service.domain.making.bill_of_resources import BatchBill
from service.domain.making.resources import Overhead
from service.domain.values.errors import PugmillError
from service.domain.values.shown import shown
from service.memory import Remembered
from service.store.listing import repricings
from service.workflows.costing.batch_bills import FoundBill
from service.workflows.currency.exchange import Exchange
from service.workflows.workspace import Workspace


@dataclass(slots=True)
class Before:
    """What moved since some repricing.

    Attributes:
        repricing: its id, as text.
        as_of: the day of its rates, as text.
        comparison: of its rates with those of now.
        seen: the places of the changes that contributed to any cost looked at.
        effects: on what bills consume, by the bill's text.
    """

    repricing: str
    as_of: str
    comparison: Comparison
    seen: set[int]
    effects: Remembered


class RateMoves:
    """Compares the rates of earlier repricings with those of now."""

    def __init__(
        self, workspace: Workspace, table: RateTable, pools: Mapping[str, Overhead], exchange: Exchange
    ) -> None:
        """Begin.

        Args:
            workspace: whose repricings.
            table: the unit rates of now.
            pools: the overhead pools of now, by resource.
            exchange: of now.
        """
        self._workspace, self._table = workspace, table
        self._pools, self._exchange = pools, exchange
        self._befores = Remembered(1_000)
        self._moved: dict[tuple[object, ...], RateChange] = {}

    def since(self, repricing_id: str) -> Before:
        """What moved since a repricing."""
        found: Before = self._befores.of(repricing_id, lambda: self._before(UUID(repricing_id)))
        return found

    def effects(self, before: Before, bill: FoundBill) -> Effects:
        """What each change contributed to the cost of a piece; alike for every listing of a batch."""
        found: Effects = before.effects.of(bill.text, lambda: self._effects(before, bill.bill))
        return found

    def _effects(self, before: Before, bill: BatchBill) -> Effects:
        found = unit_effects(bill, before.comparison)
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
        """The unit rates of then with the exchange rates of now; nothing where there are none."""
        try:
            return unit_rates(basis.card, [resource], self._pools, self._exchange)
        except PugmillError:
            return {}
