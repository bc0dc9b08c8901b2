"""How the price of each listing would change on a day, computed from one state of the workshop."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import NamedTuple

from service.domain.costing.rate_card import RateCard
from service.domain.costing.rate_table import RateTable
from service.domain.costing.variance import Cause, product_effect
from service.domain.listing.price_change import ChangeWriter, RepricingBasis, RepricingFigures, RepricingSummary
from service.domain.listing.repricing import Decision, RepricingRequest, decision, move_share
from service.domain.making.overheads import Overhead
from service.domain.pricing.price import Pricing
from service.domain.values.errors import PugmillError
from service.domain.values.exact import exactly, half_up
from service.domain.values.references import whole_of
from service.domain.values.unit_costs import UnitCosts
from service.domain.values.units import Unit
from service.encoding import to_bytes
from service.store.listing.prices_in_force import ListingRow, Narrowing, listings_with_prices
from service.time_limit import next_step
from service.workflows.costing.batch_bills import FoundBill
from service.workflows.costing.costing import check_what_if
from service.workflows.costing.rates_in_force import rated_state
from service.workflows.costing.supposing import WhatIf
from service.workflows.currency.exchange import Exchange
from service.workflows.listing.costed_bills import CostedBill, CostedBills, UnpricedError
from service.workflows.listing.rate_moves import Before, RateMoves
from service.workflows.listing.sale_conditions import Conditions, SaleConditions
from service.workflows.workspace import Workspace


class Found(NamedTuple):
    """The result for one listing.

    Attributes:
        listing: its code.
        change: as it is shown, a `PriceChange` as JSON text.
        decision: whether and how its price changes.
        previous_id: the repricing that set the price in force, as text.
        price: the new price; like all that follows None if it is unpriced.
        currency: of the price.
        base_quantity: pieces that the price is for.
        unit_cost: of a piece in the workshop's currency, unrounded.
        margin_share: as it is shown.
        bill: bill of resources of its standard batch.
        problem: why it is unpriced.
    """

    listing: str
    change: str
    decision: Decision
    previous_id: str | None
    price: Decimal | None = None
    currency: str | None = None
    base_quantity: int = 1
    unit_cost: Decimal | None = None
    margin_share: str | None = None
    bill: FoundBill | None = None
    problem: str | None = None


class Look:
    """Prices listings by the rates of a day.

    Attributes:
        card: the rates in force on the day, what-if terms included.
    """

    def __init__(
        self,
        workspace: Workspace,
        request: RepricingRequest,
        as_of: date,
        valid_from: date,
        what_if: WhatIf | None = None,
    ) -> None:
        """Load the rates.

        Args:
            workspace: a snapshot.
            request: has the rules and the confirmed listings.
            as_of: the day of the rates.
            valid_from: the day on which the prices before are in force; what is set for later days is not seen.
            what_if: terms in place of those in force; raises InvalidValuesError if one does not fit its resource.
        """
        if what_if:
            check_what_if(workspace, what_if, as_of)
        self._workspace, self._request, self._valid_from = workspace, request, valid_from
        self._exchange, self._writer = Exchange(workspace, as_of), ChangeWriter(workspace.workshop.currency)
        state = rated_state(workspace, self._exchange, as_of, what_if)
        self.card, self._rating, self._products = state.card, state.rating, state.products
        self._sales = SaleConditions(workspace, state.costing(self._exchange))
        self._bills = CostedBills(state.catalogue, self._rating, self._writer)
        pools = {resource: each for resource, each in state.resources.items() if isinstance(each, Overhead)}
        self._moves = RateMoves(workspace, self._rating.table, pools, self._exchange)
        self._confirmed = frozenset(request.confirmed)
        self._counts: Counter[Decision] = Counter()

    def found(self, narrowing: Narrowing, after: str = "") -> Iterator[Found]:
        """The results by listing code, after the code `after`; at most some hundred are in memory."""
        with self._workspace.reading() as connection:
            rows = listings_with_prices(connection, self._workspace.workshop_id, narrowing, self._valid_from, after)
            for some in rows:
                yield from self._of_rows(some)

    @exactly
    def _of_rows(self, rows: Sequence[ListingRow]) -> list[Found]:
        scope = self._request.scope
        tag = None if scope is None else scope.tag
        asked = [row for row in rows if tag is None or tag in row.facts.get("tags", ())]
        anew = [row.facts for row in asked if row.known_bill is None or self._sales.needs_product(row.facts)]
        self._products.read({each["product"] for each in anew})
        found = [self._of(row) for row in asked]
        self._counts.update([each.decision for each in found])
        return found

    def _of(self, row: ListingRow) -> Found:
        next_step()
        try:
            return self._priced(row)
        except (UnpricedError, PugmillError) as error:
            return self._unpriced(row, str(error))

    def _priced(self, row: ListingRow) -> Found:
        conditions = self._sales.of(row.facts)
        aim, currency, base = conditions.aim, conditions.currency, conditions.base_quantity
        if aim is None:
            raise UnpricedError(conditions.problem)
        costed = self._bills.of(row)
        in_sale = costed.sold_at(conditions.sold, conditions.costs)
        price = aim.price(in_sale)
        if price is None:
            raise Pricing(aim, in_sale).unreachable()
        price = half_up(price, aim.decimals)  # a multiple of the minor unit already; now with its number of digits
        writer, bill, cost = self._writer, costed.found, costed.piece.full
        margin = writer.share(aim.margin(price, in_sale))
        now = writer.priced(f"{price:f}", currency, base, costed.told, margin)
        code, set_by, unit = row.code, row.repricing_id, bill.bill.unit
        if set_by is None:
            decided, change = Decision.FIRST, writer.change(_of(row, unit), Decision.FIRST, (None, now))
        else:
            decided, shares = self._judged(row, conditions, price, in_sale)
            since = self._moves.since(set_by)
            old_cost, effects = self._explained(row, since, costed)
            old = self._old(row, since, old_cost)
            change = writer.change(_of(row, unit), decided, (old, now), shares, effects)
        return Found(code, change, decided, set_by, price, currency, base, cost, margin, bill)

    def _old(self, row: ListingRow, since: Before, cost: str) -> str:
        """The price in force, with the day and id of the repricing that set it."""
        found = self._writer.priced(row.price, row.currency, row.base_quantity, cost, row.margin_share)
        return self._writer.set_by(found, since.as_of, since.repricing)

    def _unpriced(self, row: ListingRow, problem: str) -> Found:
        old, writer, product = None, self._writer, row.facts["product"]
        unit = self._products[product].unit if row.bill is None else self._bills.in_force(row).bill.unit
        if row.repricing_id is not None:
            cost = writer.money(writer.cost(Decimal(row.unit_cost)))
            old = self._old(row, self._moves.since(row.repricing_id), cost)
        change = writer.change(_of(row, unit), Decision.UNPRICED, (old, None), problem=to_bytes(problem).decode())
        return Found(row.code, change, Decision.UNPRICED, row.repricing_id, problem=problem)

    def _judged(
        self, row: ListingRow, conditions: Conditions, new: Decimal, in_sale: UnitCosts
    ) -> tuple[Decision, tuple[str | None, str | None]]:
        """The decision on the price in force; its margin at the new cost, and the share by which the price moves."""
        if row.currency != conditions.currency:
            return Decision.CHANGED, (None, None)
        aim, rules, old, base = conditions.aim, self._request.rules, Decimal(row.price), conditions.base_quantity
        assert aim is not None  # it has priced the listing
        is_another = row.base_quantity != base
        if is_another:  # compared by the piece; a price for other pieces never stays
            old = old * base / row.base_quantity
        decided = decision(
            old,
            new,
            rules,
            keeps_policy=bool(rules.least_move_share) and not is_another and aim.keeps(old, in_sale),
            is_confirmed=self._request.confirm_all or row.code in self._confirmed,
        )
        share = self._writer.share
        if is_another:
            return Decision.CHANGED if decided is Decision.SAME else decided, (None, share(move_share(old, new)))
        return decided, (share(aim.margin(old, in_sale)), share(move_share(old, new)))

    def _explained(self, row: ListingRow, since: Before, costed: CostedBill) -> tuple[str, str]:
        """The cost when the price in force was set, and the part of each cause in its change, as they are shown."""
        if costed.found.is_new or row.bill_now is not None or since.comparison.gone:
            return self._changes(row, since, costed)  # which depend on more than rates
        assert row.repricing_id is not None  # it has a price in force
        key = row.repricing_id, row.unit_cost
        found = costed.moves.get(key)
        if found is None:
            found = costed.moves[key] = self._changes(row, since, costed)
        return found

    def _changes(self, row: ListingRow, since: Before, costed: CostedBill) -> tuple[str, str]:
        bill, writer, old = costed.found, self._writer, Decimal(row.unit_cost)
        effects = self._moves.effects(since, bill, lambda: self._bills.in_force(row))
        if bill.is_new or row.bill_now is not None:
            left = product_effect(costed.piece.full - old, [amount for _, _, amount in effects], old)
            if left:
                effects = (*effects, (f"products/{row.facts['product']}", Cause.PRODUCT, left))
        shown = writer.cost(old)
        return writer.money(shown), writer.effects(shown, costed.shown, effects)

    def figures(self) -> RepricingFigures:
        """The figures of all listings so far."""
        counts = {each.value: self._counts[each] for each in Decision}
        return RepricingFigures(
            summary=RepricingSummary(listings=self._counts.total(), **counts),
            rate_changes=self._moves.moved(),
            exchange_rates=self._exchange.used.stated(),
        )

    def basis(self) -> RepricingBasis:
        """The rates used so far."""
        table = self._rating.table
        used = sorted(self._bills.used & table.parts.keys())
        resources = dict.fromkeys((*map(whole_of, used), *table.shares, *sorted(self._sales.used)))
        return RepricingBasis(
            table=RateTable(
                as_of=table.as_of,
                currency=table.currency,
                parts={part: table.parts[part] for part in used},
                shares=table.shares,
            ),
            card=RateCard(
                as_of=table.as_of,
                currency=table.currency,
                rates={resource: self.card.rates[resource] for resource in resources},
            ),
            exchange=self._exchange.used,
        )


def _of(row: ListingRow, unit: Unit) -> tuple[str, str, str, str]:
    """Codes of listing, product and channel, and the unit of the product."""
    return row.code, row.facts["product"], row.facts["channel"], unit
