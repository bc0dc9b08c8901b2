"""Shorthand for what an owner does: takes bodies of tests/support/builders.py, returns domain values."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any
from uuid import UUID

from service.domain.audit import Actor
from service.domain.costing.cost_statement import CostStatement
from service.domain.costing.rate_card import DatedRate
from service.domain.costing.rates import RateTerms
from service.domain.currency.exchange_rates import DayRates
from service.domain.listing.repricing import RepricingRequest
from service.domain.month.plan import MonthPlan
from service.domain.month.statement import MonthStatement
from service.domain.quoting.life import AcceptanceRequest
from service.domain.records.batch_record import BatchRecord
from service.domain.register import COLLECTIONS
from service.domain.selling.route import Route
from service.domain.values.references import Thing
from service.encoding import decoded
from service.store.engine.database import Database
from service.store.listing.repricings import Repricing
from service.store.quoting.quotations import Quotation
from service.store.workshop.workshops import Workshop, find_workshop
from service.workflows import month
from service.workflows.costing import cost_sheets
from service.workflows.costing.cost_sheets import Batch
from service.workflows.costing.supposing import Supposed
from service.workflows.currency import exchange
from service.workflows.entity_tags import Precondition, always
from service.workflows.listing import repricing, repricing_records
from service.workflows.listing.repricing import Application
from service.workflows.pricing import pricing
from service.workflows.pricing.pricing import PriceSheet
from service.workflows.pricing.sale_way import PriceQuestion
from service.workflows.quoting import quotation_life, quoting
from service.workflows.quoting.quoting import QuotationPreview
from service.workflows.records import recording
from service.workflows.registering import registering
from service.workflows.registering.changing import Registering
from service.workflows.workspace import Workspace
from tests.domain.examples import TODAY, a_policy, a_request
from tests.support import builders

OWNER = Actor(name="owner", key_id=UUID(int=7))


@dataclass(frozen=True, kw_only=True)
class Owner:
    database: Database
    workshop_id: UUID

    @property
    def workshop(self) -> Workshop:
        """The workshop as it is now; every request reads it in the same way."""
        with self.database.reading() as connection:
            found = find_workshop(connection, self.workshop_id)
        assert found is not None
        return found

    @property
    def workspace(self) -> Workspace:
        return Workspace(database=self.database, workshop=self.workshop, actor=OWNER)

    @property
    def actor(self) -> Actor:
        return OWNER

    @property
    def revision(self) -> int:
        return self.workshop.revision

    def put(self, path: str, body: Mapping[str, Any], precondition: Precondition = always) -> Registering:
        facts = decoded(body, COLLECTIONS[path.partition("/")[0]].facts)
        return registering.register(self.workspace, Thing.of(path), facts, precondition)

    def terms(self, path: str, body: Mapping[str, Any]) -> RateTerms:
        kind = COLLECTIONS[path.partition("/")[0]].terms
        assert kind is not None
        return decoded(body, kind)

    def put_rate(
        self, path: str, day: str, body: Mapping[str, Any], precondition: Precondition = always
    ) -> Registering:
        rate = DatedRate(resource=path, valid_from=date.fromisoformat(day), terms=self.terms(path, body))
        return registering.put_rate(self.workspace, rate, precondition)

    def register(self, path: str, facts: Mapping[str, Any], **rates: Mapping[str, Any]) -> None:
        """Register something with its rates, as Client.register does over HTTP."""
        self.put(path, facts)
        for day, terms in rates.items():
            self.put_rate(path, day, terms)

    def put_exchange_rates(
        self, day: str, source: str = "manual", precondition: Precondition = always, **rates: str
    ) -> Registering:
        entered = DayRates(
            source=source,
            base="EUR",
            published_on=date.fromisoformat(day),
            rates={code: Decimal(rate) for code, rate in rates.items()},
        )
        return exchange.put_exchange_rates(self.workspace, entered, precondition)

    def retire(self, path: str, precondition: Precondition = always) -> None:
        registering.retire(self.workspace, Thing.of(path), precondition)

    def record(self, code: str = "B-1", precondition: Precondition = always, **counted: Any) -> Registering:
        """Record a batch of sheets; product and day have defaults, and so have the good units."""
        record = decoded(builders.batch_record(**counted), BatchRecord)
        return recording.put_record(self.workspace, code, record, precondition)

    def cost(
        self, product: str = "sheet", quantity: int = 20, as_of: date = TODAY, **what_if: Mapping[str, Any]
    ) -> CostStatement:
        rates = {path: self.terms(path, body) for path, body in what_if.items()}
        return cost_sheets.cost_product(self.workspace, Batch(product, Decimal(quantity)), as_of, Supposed(rates=rates))

    def cost_supposed(
        self, rates: Mapping[str, Any] | None = None, facts: Mapping[str, Any] | None = None
    ) -> CostStatement:
        return cost_sheets.cost_product(
            self.workspace, Batch("sheet", Decimal(20)), TODAY, self.supposed(rates or {}, facts or {})
        )

    def price(self, product: str = "sheet", quantity: int = 20, **question: Any) -> PriceSheet:
        route = Route(**{name: question.pop(name) for name in Route.__dataclass_fields__ if name in question})
        asked = {"as_of": TODAY, "policy": a_policy(), "route": route, **question}
        return pricing.price_product(self.workspace, PriceQuestion(product=product, quantity=quantity, **asked))

    def supposed(self, rates: Mapping[str, Any], facts: Mapping[str, Any]) -> Supposed:
        return Supposed(
            rates={path: self.terms(path, body) for path, body in rates.items()},
            facts={path: decoded(body, COLLECTIONS[path.partition("/")[0]].facts) for path, body in facts.items()},
        )

    def plan_month(
        self, rates: Mapping[str, Any] | None = None, facts: Mapping[str, Any] | None = None, **changes: Any
    ) -> MonthStatement:
        plan = decoded(builders.month_plan(**changes), MonthPlan)
        return month.plan_month(self.workspace, plan, self.supposed(rates or {}, facts or {}))

    def reprice(self, **request: Any) -> Application:
        """Reprice and apply the changes."""
        asked = RepricingRequest(**{"as_of": TODAY, **request})
        return repricing.apply(self.workspace, asked, lambda _: True)

    def roll_back(self, repricing_id: UUID) -> Repricing:
        return repricing_records.roll_back(self.workspace, repricing_id)

    def quote(self, **changes: Any) -> Quotation:
        return quoting.quote(self.workspace, a_request(**changes))

    def preview(self, **changes: Any) -> QuotationPreview:
        return quoting.preview(self.workspace, a_request(**changes))

    def issued(self, **changes: Any) -> Quotation:
        """A quotation that has been issued."""
        return quotation_life.issue(self.workspace, self.quote(**changes).id)

    def accepted(self, acceptance: Mapping[str, Any] | None = None, **changes: Any) -> Quotation:
        """A quotation that has been accepted."""
        issued, taken = self.issued(**changes), decoded(acceptance or {}, AcceptanceRequest)
        return quotation_life.accept(self.workspace, issued.id, taken)
