"""What becomes of each listing's price on a day: one look at the listings, in one state of the workshop."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from service.domain.aim import Aim
from service.domain.bill import BatchBill
from service.domain.errors import FigureTooLargeError, MissingRate, MissingRatesError, PugmillError
from service.domain.exact import OUTGROWN, exactly
from service.domain.price_change import ChangeWriter, RepricingFigures, RepricingSummary
from service.domain.pricing import Pricing
from service.domain.rate_table import RateTable, rating
from service.domain.rates import RateCard
from service.domain.repricing import Cause, Decision, RepricingRequest, decision, product_effect, unit_cost
from service.domain.resources import Overhead
from service.domain.unit_costs import UnitCosts
from service.encoding import plain_data
from service.store import rates, registrations, repricings
from service.store.database import Database
from service.store.repricings import ListingRow, Narrowing, RepricingBasis
from service.store.workshops import Workshop
from service.workflows.batch_bills import BatchBills, FoundBill
from service.workflows.costing import WhatIf, check_what_if
from service.workflows.exchange import Exchange
from service.workflows.rate_moves import RateMoves
from service.workflows.sale_conditions import CONDITIONS, Conditions, SaleConditions

_RESOURCES = ("materials", "machines", "labour-grades", "tariffs", "tools", "overheads")


class _UnpricedError(Exception):
    """Why a listing has no price, in words."""


@dataclass(slots=True)
class Found:
    """What was found of one listing.

    Attributes:
        change: as it is shown, the data of a `PriceChange`.
        decision: what becomes of its price.
        previous_id: the repricing that the price in force is from.
        price: what is asked now; with its cost and margin None where it is unpriced.
        currency: of the price.
        unit_cost: in the workshop's currency, unrounded.
        margin_share: as it is shown.
        bill: what its batch consumes; None where it is unpriced.
    """

    change: dict[str, Any]
    decision: Decision
    previous_id: UUID | None
    price: Decimal | None = None
    currency: str | None = None
    unit_cost: Decimal | None = None
    margin_share: str | None = None
    bill: FoundBill | None = None


class Look:
    """One look at listings, by the rates of a day.

    Attributes:
        card: the rates in force on the day, what-if terms included.
    """

    def __init__(
        self,
        database: Database,
        workshop: Workshop,
        request: RepricingRequest,
        as_of: date,
        what_if: WhatIf | None = None,
    ) -> None:
        """Load the rates.

        Args:
            database: a snapshot.
            workshop: as it is in the snapshot.
            request: with the rules and what is confirmed.
            as_of: the day of the rates.
            what_if: terms in place of those in force.

        Raises:
            InvalidValuesError: a what-if rate does not fit what it is for.
        """
        if what_if:
            check_what_if(database, workshop, what_if)
        workshop_id = workshop.workshop_id
        with database.reading() as connection:
            in_force = rates.rates_on(connection, workshop_id, as_of)
            facts = registrations.all_registered(connection, workshop_id, (*_RESOURCES, *CONDITIONS))
        resources = {f"{name}/{code}": each for name in _RESOURCES for code, each in facts[name].items()}
        card = RateCard(as_of=as_of, currency=workshop.currency, rates=in_force)
        self.card = card.replaced(what_if) if what_if else card
        self._database, self._workshop_id, self._request = database, workshop_id, request
        self._exchange = Exchange(database, workshop, as_of)
        self._rating = rating(self.card, resources, self._exchange)
        self._full, self._variable = self._rating.table.full(), self._rating.table.variable()
        self._sales = SaleConditions(database, workshop, self.card, self._exchange, facts)
        self._bills = BatchBills(database, workshop_id)
        pools = {resource: each for resource, each in resources.items() if isinstance(each, Overhead)}
        self._moves = RateMoves(database, workshop_id, self._rating.table, pools, self._exchange)
        self._writer = ChangeWriter(workshop.currency)
        self._confirmed = frozenset(request.confirmed)
        self._counts: Counter[Decision] = Counter()
        self._used: set[str] = set()

    def found(self, narrowing: Narrowing, after: str = "") -> Iterator[Found]:
        """What was found of each listing, by code; no more than some hundred of them are in memory.

        Args:
            narrowing: which listings.
            after: beyond this code.
        """
        with self._database.reading() as connection:
            for rows in repricings.listings_with_prices(connection, self._workshop_id, narrowing, after):
                yield from self._of_rows(rows)

    @exactly
    def _of_rows(self, rows: Sequence[ListingRow]) -> list[Found]:
        return [found for row in rows if (found := self._of_row(row)) is not None]

    def _of_row(self, row: ListingRow) -> Found | None:
        facts = plain_data(row.facts)
        scope = self._request.scope
        if scope is not None and scope.tag is not None and scope.tag not in facts.get("tags", ()):
            return None
        try:
            found = self._priced(row, facts)
        except (_UnpricedError, PugmillError) as error:
            found = self._unpriced(row, facts, str(error))
        except OUTGROWN:
            found = self._unpriced(row, facts, str(FigureTooLargeError()))
        self._counts[found.decision] += 1
        return found

    def _priced(self, row: ListingRow, facts: dict[str, Any]) -> Found:
        conditions = self._sales.of(row.facts, facts)
        aim = conditions.aim
        if aim is None:
            raise _UnpricedError(conditions.problem)
        bill = self._bills.of(row, facts)
        costs = self._costs(bill.bill, aim)
        in_sale = costs.converted(conditions.convert)
        _, price = aim.price(in_sale)
        if price is None:
            raise Pricing(aim, in_sale).unreachable()
        margin = self._writer.share(aim.margin(price, in_sale))
        now = self._writer.priced(price, conditions.currency, costs.full, margin)
        self._used.update(bill.bill.quantities)
        found = Found(
            self._change(row, facts, now=now),
            Decision.FIRST,
            row.repricing_id,
            price,
            conditions.currency,
            costs.full,
            margin,
            bill,
        )
        if row.repricing_id is not None:
            self._judge(found, row, conditions, in_sale)
            self._explain(found, row)
        found.change["decision"] = found.decision.value
        return found

    def _costs(self, bill: BatchBill, aim: Aim) -> UnitCosts:
        """What a piece costs. Its variable cost is found only where the price depends on it."""
        try:
            full = unit_cost(bill, self._full)
            variable = unit_cost(bill, self._variable) if aim.needs_variable_cost else full
        except KeyError:
            raise self._without_rate(bill) from None
        if self._rating.unrated_pools:
            raise self._without_rate(bill)
        return UnitCosts(variable=variable, full=full, shown_variable=variable)

    def _without_rate(self, bill: BatchBill) -> Exception:
        missing = dict.fromkeys(part.partition("#")[0] for part in bill.quantities if part not in self._full)
        for resource in missing:
            if resource in self._rating.unusable:
                return _UnpricedError(str(self._rating.unusable[resource]))
        unrated = [MissingRate(resource=resource) for resource in (*missing, *self._rating.unrated_pools)]
        return MissingRatesError(self.card.as_of, unrated)

    def _change(self, row: ListingRow, facts: dict[str, Any], *, now: Any = None, problem: str | None = None) -> Any:
        before = None
        if row.repricing_id is not None:
            since = self._moves.since(row.repricing_id)
            before = {
                **self._writer.priced(Decimal(row.price), row.currency, Decimal(row.unit_cost), row.margin_share),
                "as_of": since.as_of,
                "repricing": str(row.repricing_id),
            }
        return {
            "listing": row.code,
            "product": facts["product"],
            "channel": facts["channel"],
            "decision": Decision.UNPRICED.value,
            "old": before,
            "new": now,
            "kept_margin_share": None,
            "move_share": None,
            "effects": [],
            "problem": problem,
        }

    def _unpriced(self, row: ListingRow, facts: dict[str, Any], problem: str) -> Found:
        return Found(self._change(row, facts, problem=problem), Decision.UNPRICED, row.repricing_id)

    def _judge(self, found: Found, row: ListingRow, conditions: Conditions, in_sale: UnitCosts) -> None:
        """Decide, and tell what the price in force leaves now."""
        aim, old, new = conditions.aim, Decimal(row.price), found.price
        assert aim is not None  # it was asked for a price
        assert new is not None  # and answered
        if row.currency != conditions.currency:
            found.decision = Decision.CHANGED
            return
        rules = self._request.rules
        found.decision = decision(
            old,
            new,
            rules,
            keeps_policy=bool(rules.least_move_share) and aim.keeps(old, in_sale),
            is_confirmed=self._request.confirm_all or row.code in self._confirmed,
        )
        found.change["kept_margin_share"] = self._writer.share(aim.margin(old, in_sale))
        found.change["move_share"] = self._writer.move(old, new)

    def _explain(self, found: Found, row: ListingRow) -> None:
        """Tell what each change contributed to the change in cost."""
        bill, new_cost, old_cost = found.bill, found.unit_cost, Decimal(row.unit_cost)
        assert row.repricing_id is not None  # it has a price in force
        assert bill is not None  # and one that is asked
        assert new_cost is not None
        effects = self._moves.effects(self._moves.since(row.repricing_id), bill.bill)
        if bill.is_new or row.bill_now is not None:
            left = product_effect(new_cost - old_cost, list(effects.values()), (new_cost, old_cost))
            if left:
                effects[f"products/{found.change['product']}", Cause.PRODUCT] = left
        found.change["effects"] = self._writer.effects(old_cost, new_cost, effects)

    def figures(self) -> RepricingFigures:
        """What was found of all listings together."""
        counts = {each.value: self._counts[each] for each in Decision}
        return RepricingFigures(
            summary=RepricingSummary(listings=self._counts.total(), **counts),
            rate_changes=self._moves.moved(),
            exchange_rates=self._exchange.used.stated(),
        )

    def basis(self) -> RepricingBasis:
        """The rates that were used."""
        table = self._rating.table
        used = [part.partition("#")[0] for part in self._used]
        resources = dict.fromkeys((*sorted(used), *table.shares, *sorted(self._sales.used)))
        return RepricingBasis(
            table=RateTable(
                as_of=table.as_of,
                currency=table.currency,
                parts={part: table.parts[part] for part in sorted(self._used)},
                shares=table.shares,
            ),
            card=RateCard(
                as_of=table.as_of,
                currency=table.currency,
                rates={resource: self.card.rates[resource] for resource in resources},
            ),
            exchange=self._exchange.used,
        )
