"""Every statement the service executes stays within one workshop."""

import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from importlib import import_module
from types import ModuleType
from typing import Any
from uuid import UUID

import pytest
import sqlalchemy as sa

from service import clock, workflows
from service.domain.costing.errors import MissingRatesError
from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.costing.rates import MaterialRate
from service.domain.currency.errors import MissingExchangeRateError
from service.domain.currency.exchange_rates import FEED, MANUAL, DayRates
from service.domain.listing.repricing import RepricingRequest, RepricingRules, RepricingScope
from service.domain.making.products import Product
from service.domain.making.resources import Tool
from service.domain.month.plan import MonthPlan
from service.domain.quoting.life import DeclineRequest, Status
from service.domain.records.batch_record import BatchRecord
from service.domain.selling.route import Route
from service.domain.selling.seller import Seller
from service.domain.selling.taxes import Tax, TaxRate
from service.domain.values.money import Money
from service.domain.values.references import Thing
from service.encoding import decoded
from service.feeds.reference_rates import Span
from service.store.engine import metering
from service.store.engine.database import Database
from service.store.engine.tables import listing_prices, metadata, price_changes, rates, registrations, uses
from service.store.records.batch_records import ChosenRecords
from service.store.workshop.audit import Chosen
from service.store.workshop.retries import Claim, StoredAnswer, add_claim
from service.store.workshop.workshops import new_workshop
from service.workflows import lead_times, month, plausibility, register, shipping
from service.workflows.costing import cost_sheets, job_sheets, rate_card, rates_in_force, workings
from service.workflows.currency import exchange, feed
from service.workflows.entity_tags import always
from service.workflows.errors import FeedFailedError, StalePreviewError
from service.workflows.learning import learning, taking_over
from service.workflows.learning.learning import Wanted
from service.workflows.listing import listings, price_list, repricing, repricing_records
from service.workflows.listing.listings import ListingQuestion
from service.workflows.pricing import pricing
from service.workflows.pricing.sale_way import PriceQuestion
from service.workflows.quoting import quotation_life, quotations, risk
from service.workflows.records import recording
from service.workflows.records.recording import CodedRecord
from service.workflows.registering import registering
from service.workflows.registering.document import RegisterDocument, Written
from service.workflows.reviewing import period, variances
from service.workflows.reviewing.period import PeriodQuestion
from service.workflows.shipping import ShippingQuestion
from service.workflows.workshop import audit, keys, letterhead, moving, retries, storage, watching
from service.workflows.workspace import Workspace
from tests.conftest import Client
from tests.domain.examples import TODAY, a_policy, a_request
from tests.store.one_workshop import TABLES, unfiltered
from tests.support import builders
from tests.support.feed import FeedServer, day_of, day_rates, feed_at, sending, with_rates, xml_of
from tests.workflows.owner import Owner


@dataclass
class Heard:
    """The executed statements, the tables they do not limit to a workshop, and the workshops they are bound to."""

    statements: set[str] = field(default_factory=set)
    beyond: dict[str, list[str]] = field(default_factory=dict)
    workshops: set[UUID] = field(default_factory=set)
    outside: list[str] = field(default_factory=list)


@contextmanager
def listening(database: Database) -> Iterator[Heard]:
    heard = Heard()

    def hear(_connection: Any, _cursor: Any, statement: str, _parameters: Any, context: Any, _many: bool) -> None:
        if not re.search(rf"\b({TABLES})\b", statement):
            heard.outside.append(statement)
            return
        assert context.compiled is not None, f"no structure to read off: {statement}"
        if statement not in heard.statements and (reached := unfiltered(context.compiled.statement, statement)):
            heard.beyond[statement] = reached
        heard.statements.add(statement)
        for values in context.compiled_parameters:
            bound = {value for name, value in values.items() if name.startswith("workshop_id")}
            assert bound, f"bound to no workshop: {statement}"
            heard.workshops |= bound

    sa.event.listen(database.engine, "before_cursor_execute", hear)
    try:
        yield heard
    finally:
        sa.event.remove(database.engine, "before_cursor_execute", hear)
    for query in database.prepared:  # which run without events
        heard.statements.add(str(query))
        if reached := unfiltered(query):
            heard.beyond[str(query)] = reached


WORKSHOP = UUID(int=1)
OURS = rates.c.workshop_id == WORKSHOP
CODES = sa.select(uses.c.code)
OUR_CODES = CODES.where(uses.c.workshop_id == WORKSHOP)
SAME_WORKSHOP = uses.c.workshop_id == rates.c.workshop_id
COLUMNS = ["workshop_id", "listing"]


def resting(begin: Any, step: Any) -> sa.Select[Any]:
    """A recursive query along `uses`, with one condition for its start and one for each step."""
    reached = sa.select(registrations.c.code).where(begin).cte("reached", recursive=True)
    further = sa.select(uses.c.code).where(uses.c.used_code == reached.c.code, step)
    return sa.select(reached.union(further).c.code)


def copied(workshop: Any, condition: Any) -> sa.Insert:
    """An INSERT of prices in force from the changes of a repricing."""
    chosen = sa.select(workshop, price_changes.c.listing).where(condition)
    return listing_prices.insert().from_select(COLUMNS, chosen)


REACHING_BEYOND = {
    "no condition": sa.select(rates.c.terms),
    "another condition": sa.select(rates.c.terms).where(rates.c.code == "x"),
    "an alternative": sa.select(rates.c.terms).where(sa.or_(OURS, rates.c.code == "x")),
    "not that workshop": sa.select(rates.c.terms).where(~OURS),
    "another table": sa.select(rates.c.terms, uses.c.code).where(uses.c.workshop_id == WORKSHOP),
    "each other's": sa.select(rates.c.terms).join_from(rates, uses, SAME_WORKSHOP),
    "a join": sa.select(rates.c.terms).join_from(rates, uses, rates.c.code == uses.c.code).where(OURS),
    "the left side by an outer join": sa.select(rates.c.terms).join_from(
        rates, uses, sa.and_(OURS, uses.c.workshop_id == WORKSHOP), isouter=True
    ),
    "an alias": sa.select(rates.alias("other").c.terms, rates.c.code).where(OURS),
    "a subquery": sa.select(rates.c.terms).where(OURS, rates.c.code.in_(CODES)),
    "a subquery of the same table": sa.select(rates.c.terms).where(
        OURS, rates.c.code.in_(sa.select(rates.c.code).where(rates.c.terms == "x"))
    ),
    "a subquery in FROM": sa.select(CODES.subquery().c.code),
    "what exists": sa.select(rates.c.terms).where(OURS, sa.exists().where(uses.c.code == rates.c.code)),
    "one of a union": sa.union(OUR_CODES, CODES),
    "where a recursion begins": resting(sa.true(), uses.c.workshop_id == WORKSHOP),
    "the step of a recursion": resting(registrations.c.workshop_id == WORKSHOP, sa.true()),
    "UPDATE": rates.update().values(terms="x").where(rates.c.code == "x"),
    "UPDATE by a subquery": rates.update().values(terms="x").where(OURS, rates.c.code.in_(CODES)),
    "UPDATE to a subquery": rates.update().values(terms=CODES.scalar_subquery()).where(OURS),
    "UPDATE of the workshop": rates.update().values(workshop_id=UUID(int=2)).where(OURS),
    "DELETE": rates.delete().where(rates.c.code == "x"),
    "DELETE by a subquery": rates.delete().where(OURS, rates.c.code.in_(CODES)),
    "INSERT from all": copied(price_changes.c.workshop_id, sa.true()),
    "INSERT under another": copied(sa.literal(UUID(int=2)), price_changes.c.workshop_id == WORKSHOP),
    "mere text": sa.text("SELECT terms FROM rates WHERE workshop_id = :workshop_id"),
}
STAYING = {
    "a condition": sa.select(rates.c.terms).where(OURS, rates.c.code == "x"),
    "a prepared one": sa.select(rates.c.terms).where(rates.c.workshop_id == sa.bindparam("workshop_id")),
    "an alternative besides": sa.select(rates.c.terms).where(OURS, sa.or_(rates.c.code == "x", rates.c.code == "y")),
    "an equal one": sa.select(rates.c.terms).join_from(rates, uses, SAME_WORKSHOP).where(OURS),
    "an outer join": sa.select(rates.c.terms).join_from(rates, uses, SAME_WORKSHOP, isouter=True).where(OURS),
    "a subquery": sa.select(rates.c.terms).where(OURS, rates.c.code.in_(OUR_CODES)),
    "what exists": sa.select(rates.c.terms).where(
        OURS, sa.exists().where(uses.c.workshop_id == WORKSHOP, uses.c.code == rates.c.code)
    ),
    "a recursion": resting(registrations.c.workshop_id == WORKSHOP, uses.c.workshop_id == WORKSHOP),
    "UPDATE": rates.update().values(terms="x").where(OURS, rates.c.code.in_(OUR_CODES)),
    "DELETE": rates.delete().where(OURS),
    "INSERT from some": copied(price_changes.c.workshop_id, price_changes.c.workshop_id == WORKSHOP),
}


class TestTheCheckItself:
    @pytest.mark.parametrize("what", REACHING_BEYOND)
    def test_finds_what_reaches_beyond_a_workshop(self, what: str) -> None:
        assert unfiltered(REACHING_BEYOND[what])

    def test_finds_rows_that_are_given_to_no_workshop(self) -> None:
        assert unfiltered(rates.insert(), "INSERT INTO rates (collection, code) VALUES (?, ?)")
        assert unfiltered(rates.insert(), "INSERT INTO rates (workshop_id, code) VALUES (?, ?)") == []

    @pytest.mark.parametrize("what", STAYING)
    def test_accepts_what_stays_within_a_workshop(self, what: str) -> None:
        assert unfiltered(STAYING[what]) == []


PARTS_OF_WORKFLOWS = {
    "check_what_if",
    "check_what_if_facts",
    "closed_days_of",
    "condition_warnings",
    "cost_of",
    "costed",
    "day_warnings",
    "dearer",
    "facts_warnings",
    "inside_of",
    "learn",
    "learn_within",
    "narrowing",
    "not_registered",
    "period_planned",
    "prepare",
    "previewed",
    "priced",
    "prices_not_in_force",
    "interest",
    "quotation_basis",
    "rate_warnings",
    "rates_changing",
    "rates_to_come",
    "ready_by",
    "sheet_warnings",
    "state_cost",
    "supposed_in_force",
    "surroundings_of",
    "warnings_on",
    "with_first_days",
    "with_pools",
}


def workflows_on_a_database() -> set[str]:
    """Every public workflow that takes a database or a workspace."""

    def reaches(each: Any, module: ModuleType) -> bool:
        first = next(iter(inspect.signature(each).parameters), "")
        return each.__module__ == module.__name__ and first in ("database", "workspace")

    found = pkgutil.walk_packages(workflows.__path__, f"{workflows.__name__}.")
    modules = [import_module(each.name) for each in found]
    return {
        f"{module.__name__.rpartition('.')[2]}.{name}"
        for module in modules
        for name, each in inspect.getmembers(module, inspect.isfunction)
        if not name.startswith("_") and reaches(each, module) and name not in PARTS_OF_WORKFLOWS
    }


def missing_rates(workspace: Workspace) -> None:
    with pytest.raises(MissingRatesError):
        cost_sheets.cost_product(workspace, cost_sheets.Batch("sheet", Decimal(1)), date(2000, 1, 1))


def a_document(day: date, **tools: Written) -> RegisterDocument:
    """New and changed facts of products, a rate in place of all others, and all tools."""
    frame = Written(facts=decoded(builders.product(name="Frame of a document"), Product))
    hdpe = Written(rates={day: decoded(builders.material_rate("3"), MaterialRate)})
    collections = {"products": {"frame": frame, "new": frame}, "materials": {"hdpe": hdpe}, "tools": tools}
    return RegisterDocument(collections=collections, exchange_rates={"today": day_rates(day)})


def register_sales(owner: Owner) -> None:
    """A brick listed in dollars, a shipping service for it, and a sheet listed in the workshop's currency."""
    owner.put("products/brick", builders.measured())
    sent = {"shipping_service": "post", "shipping_zone": "home"}
    owner.register("shipping-services/post", builders.shipping_service(), **{"2026-01-01": builders.shipping_rate()})
    owner.put("listings/brick-online", builders.listing(product="brick", currency="USD", **sent))
    owner.put("listings/sheet-online", builders.listing(tags=["garden"]))


def selling(owner: Owner) -> dict[str, Callable[[], Any]]:
    """The workflows about listings and shipping, with successful and refused requests."""
    on = owner.workspace
    shipment = decoded(builders.shipping_question("brick", 3), ShippingQuestion)

    def price_listing() -> None:
        for kept_at in (None, Decimal(9)):
            listings.price_listing(on, "brick-online", ListingQuestion(as_of=TODAY, kept_at=kept_at))
        with pytest.raises(MissingRatesError):
            listings.price_listing(on, "brick-online", ListingQuestion(as_of=date(2000, 1, 1)))

    def list_prices() -> None:
        for channel in (None, "quay-market"):
            assert [each.problem for each in price_list.price_list(on, TODAY, channel)] == [None, None]

    return {
        "shipping.estimate_shipping": lambda: shipping.estimate_shipping(on, shipment),
        "listings.price_listing": price_listing,
        "listings.find_listing": lambda: listings.find_listing(on, "brick-online"),
        "price_list.price_list": list_prices,
        "rates_in_force.rated_state": lambda: rates_in_force.rated_state(
            on, exchange.Exchange(on, TODAY), TODAY, None
        ).card.rates["channels/quay-market"],
    }


def repricings_of(owner: Owner) -> dict[str, Callable[[], Any]]:
    """The workflows of repricing: preview, apply, hold, change again, roll back, read."""
    on = owner.workspace
    bound = RepricingRules(greatest_move_share=Decimal("0.5"))
    scopes = (
        None,
        RepricingScope(resources=("materials/hdpe", "channels/quay-market"), channel="quay-market", product="brick"),
        RepricingScope(changed_since=date(2026, 11, 1), tag="garden"),
        RepricingScope(changed_since=TODAY),
    )

    def preview() -> None:
        supposed = {"materials/hdpe": owner.terms("materials/hdpe", builders.material_rate("2"))}
        for scope, what_if in (*((scope, None) for scope in scopes), (None, supposed)):
            with repricing.preview(on, RepricingRequest(as_of=TODAY, scope=scope), what_if) as seen:
                assert len(list(seen.changes("a"))) <= len(list(seen.changes()))

    def apply() -> None:
        owner.reprice()
        owner.put("products/brick", builders.measured(name="Brick, red"))
        owner.put_rate("materials/hdpe", "2026-07-01", builders.material_rate("9"))
        held = owner.reprice(rules=bound)
        assert held.figures.summary.held == 2
        owner.put("overheads/rent", {"name": "Rent of the yard", "base": "machine_hour"})
        assert owner.reprice(rules=bound, confirm_all=True).figures.summary.changed == 2
        with pytest.raises(StalePreviewError):
            repricing.apply(on, RepricingRequest(as_of=TODAY), lambda _: False)

    def newest() -> UUID:
        return repricing_records.list_repricings(on, before=None, limit=1)[0].id

    def history() -> None:
        for before in (None, newest()):
            repricing_records.price_history(on, "brick-online", TODAY, before=before, limit=2)

    return {
        "repricing.preview": preview,
        "repricing.apply": apply,
        "repricing_records.list_repricings": lambda: repricing_records.list_repricings(on, before=newest(), limit=2),
        "repricing_records.newest_repricing": lambda: repricing_records.newest_repricing(on),
        "repricing_records.find_repricing": lambda: repricing_records.find_repricing(on, newest()),
        "repricing_records.list_changes": lambda: repricing_records.list_changes(on, newest(), after="a", limit=2),
        "repricing_records.price_history": history,
        "repricing_records.roll_back": lambda: repricing_records.roll_back(on, newest()),
    }


def quotations_of(owner: Owner) -> dict[str, Callable[[], Any]]:
    """The workflows of quotations, for the crate and the sheet."""
    on = owner.workspace
    lines = [builders.quotation()["lines"][0], {**builders.quotation()["lines"][0], "product": "crate"}]

    def quotation_id() -> UUID:
        return quotations.list_quotations(on, after=None, limit=1)[0].id

    def issue() -> None:
        """A quotation and its next revision, which supersedes it."""
        issued = owner.issued(lines=lines, quoted_on=None)
        revision = quotation_life.revise(on, issued.id, None)
        quotation_life.issue(on, revision.id)

    def accepted_id() -> UUID:
        return owner.accepted(quoted_on=None).id

    return {
        "letterhead.put_seller": lambda: letterhead.put_seller(on, decoded(builders.seller(), Seller)),
        "letterhead.find_seller": lambda: letterhead.find_seller(on),
        "quoting.quote": lambda: owner.quote(lines=lines),
        "quoting.preview": lambda: owner.preview(lines=lines),
        "quotation_life.issue": issue,
        "quotation_life.revise": lambda: None,  # done by issue()
        "quotation_life.accept": accepted_id,
        "quotation_life.complete": lambda: quotation_life.complete(on, accepted_id(), [a_record("B-4")]),
        "quotation_life.decline": lambda: quotation_life.decline(on, accepted_id(), DeclineRequest()),
        "quotation_life.discard": lambda: quotation_life.discard(on, owner.quote().id),
        "quotations.list_quotations": lambda: [
            quotations.list_quotations(on, after=quotation_id(), limit=2, status=status)
            for status in (None, Status.DRAFT, Status.ISSUED, Status.EXPIRED)
        ],
        "quotations.newest_quotation": lambda: [quotations.newest_quotation(on, each) for each in (None, Status.DRAFT)],
        "quotations.find_quotation": lambda: (
            quotations.find_quotation(on, quotation_id()),
            quotations.find_quotation(on, 1),
        ),
        "quotations.quotation_paper": lambda: quotations.quotation_paper(on, quotations.find_quotation(on, 1)),
        "quotations.list_events": lambda: quotations.list_events(on, quotation_id()),
        "quotations.recompute": lambda: quotations.recompute(on, quotation_id()),
        "quotations.recompute_all": lambda: list(quotations.recompute_all(on)),
    }


def a_record(code: str) -> CodedRecord:
    return CodedRecord(code, decoded(builders.batch_record(), BatchRecord))


def records_of(owner: Owner) -> dict[str, Callable[[], Any]]:
    """The workflows of batch records, of a product that has changed since its batches were made."""
    on = owner.workspace

    def record() -> None:
        today = clock.now()
        owner.put("products/old", builders.product(name="Old"))
        with clock.set_to(today + timedelta(days=2)):
            owner.put("materials/blue", builders.material())
            bill = [{"material": "blue", "quantity_per_piece": "9"}]
            owner.put("products/old", builders.product(name="Old", bill_of_materials=bill))
            owner.record(product="old", made_on=today.date().isoformat())
        owner.record("B-2", product="old", made_on="2026-11-20", materials=[])
        owner.record(product="sheet")

    def list_records() -> None:
        chosen = ChosenRecords(product="sheet", first_day=TODAY, last_day=TODAY)
        for before in (None, (TODAY, "x")):
            recording.list_records(on, chosen, before=before, limit=2)

    def compare() -> None:
        period.variances_of_product(on, "sheet", ChosenRecords())
        period.variances_of_product(on, "old", ChosenRecords())
        period.variances_of_product(on, "crate", ChosenRecords())

    def learn() -> None:
        for number in range(5):
            operations = [{"operation": "pressing", "minutes": f"{1000 + number}"}]
            owner.record(f"C-{number}", product="sheet", operations=operations)
        learning.what_records_teach(on, "sheet", Wanted())

    return {
        "recording.put_record": record,
        "recording.put_records": lambda: recording.put_records(on, [a_record("B-3")]),
        "recording.find_record": lambda: recording.find_record(on, "B-1"),
        "recording.list_records": list_records,
        "variances.variances_of_record": lambda: variances.variances_of_record(on, "B-1"),
        "period.variances_of_product": compare,
        "period.review_period": lambda: period.review_period(on, PeriodQuestion(first_day=TODAY, last_day=TODAY)),
        "learning.what_records_teach": learn,
        "risk.risk_of_quotation": lambda: risk.risk_of_quotation(on, 1),
        "risk.risk_of_preview": lambda: risk.risk_of_preview(owner.workspace, a_request()),
        "taking_over.preview": lambda: taking_over.preview(owner.workspace, "sheet", Wanted()),
        "taking_over.take_over": lambda: taking_over.take_over(owner.workspace, "sheet", Wanted(), always),
        "taking_over.undo": lambda: taking_over.undo(owner.workspace, "sheet"),
        "recording.delete_record": lambda: recording.delete_record(on, "B-1"),
    }


def retries_of(owner: Owner) -> dict[str, Callable[[], Any]]:
    """The workflows of idempotency keys: claimed, answered, released, cut off."""
    to = owner.database, owner.workshop.workshop_id

    def claim_of(key: str) -> Claim:
        return Claim(key=key, fingerprint="f", claimed_at=datetime.now(UTC))

    def keep() -> None:
        retries.keep(owner.workspace, claim_of("one"), StoredAnswer(status=201, headers={}, body=b"{}"))
        assert retries.claim(owner.workspace, "one", "f").answer is not None

    def claim() -> None:
        with owner.database.writing() as connection:
            add_claim(connection, to[1], replace(claim_of("old"), claimed_at=datetime.now(UTC) - retries.CUT_OFF))
        for key in ("one", "two", "old"):
            retries.claim(owner.workspace, key, "f")

    return {
        "retries.claim": claim,
        "retries.keep": keep,
        "retries.release": lambda: retries.release(owner.workspace, claim_of("two")),
    }


def read_changes(owner: Owner) -> None:
    """Read the whole audit trail, then with filters, each from the start and from a cursor."""
    for chosen in (Chosen(), Chosen(subject="materials", since=datetime.now(UTC), by="owner")):
        for before in (None, (UUID(int=9), "x")):
            audit.list_changes(owner.workspace, chosen, before=before, limit=2)


def the_main_job(owner: Owner, server: FeedServer) -> dict[str, Callable[[], Any]]:
    """Every workflow in an order that works, called more than once if it has several paths."""
    on = owner.workspace
    workshop_id = owner.workshop.workshop_id
    day = date(2026, 1, 1)
    question = PriceQuestion(product="crate", quantity=5, as_of=TODAY, policy=a_policy(), route=Route(tax="vat"))
    parts = [{"product": "sheet", "quantity_per_piece": "1"}, {"product": "frame", "quantity_per_piece": "1"}]

    def register_one_by_one() -> None:
        inspect.unwrap(builders.register_workshop)(owner)
        owner.put("products/frame", builders.product(name="Frame"))
        owner.put("products/crate", {"name": "Crate", "bill_of_materials": parts})
        owner.put("products/frame", builders.product(name="Frame, blue"))
        owner.put("materials/hdpe", builders.material(note="washed"))
        register_sales(owner)

    def put_rate() -> None:
        owner.put_rate("materials/hdpe", "2026-06-01", builders.material_rate("2"))
        owner.put_rate("materials/hdpe", "2026-06-01", {"price": builders.money("1", "USD")})

    def judge() -> None:
        plausibility.register(on, Thing("products", "frame"), decoded(builders.product(name="Frame"), Product))
        plausibility.register(on, Thing("taxes", "vat"), Tax(name="VAT 21 %"))

    def put_exchange_rates() -> None:
        owner.put_exchange_rates("2026-11-20", USD="1.2")
        owner.put_exchange_rates("2026-11-20", USD="1.25")

    def refresh() -> None:
        for days_before, dollars in ((3, "1.07"), (2, "9"), (1, "99")):
            server.answer = sending(xml_of({day_of(days_before): with_rates(USD=dollars)}), ETag=f'"{dollars}"')
            feed.refresh_exchange_rates(on, feed_at(server.url), Span.LATEST)

    def refresh_in_vain() -> None:
        server.answer = sending(b"", 404)
        with pytest.raises(FeedFailedError):
            feed.refresh_exchange_rates(on, feed_at(server.url), Span.LATEST)

    def convert() -> None:
        money = Money(amount=Decimal(1), currency="USD")
        exchange.convert(on, money, "EUR", TODAY)
        with pytest.raises(MissingExchangeRateError):
            exchange.convert(on, money, "EUR", date(2027, 6, 1))

    def days_before(count: int) -> date:
        return owner.workshop.today() - timedelta(days=count)

    return {
        "keys.create_key": lambda: keys.create_key(owner.database, workshop_id, "reader", frozenset({"read"})),
        "keys.open_with": lambda: keys.open_with(
            owner.database, keys.create_key(owner.database, workshop_id, "second", frozenset())
        ),
        "keys.list_keys": lambda: keys.list_keys(owner.database, workshop_id),
        "keys.revoke_key": lambda: keys.revoke_key(
            owner.database, workshop_id, keys.list_keys(owner.database, workshop_id)[-1].key_id
        ),
        "registering.register": register_one_by_one,
        "registering.put_rate": put_rate,
        "plausibility.register": judge,
        "plausibility.put_rate": lambda: plausibility.put_rate(
            on, DatedRate(resource="taxes/vat", valid_from=TODAY, terms=TaxRate(rate_share=Decimal("0.21")))
        ),
        "exchange.put_exchange_rates": put_exchange_rates,
        "plausibility.put_exchange_rates": lambda: plausibility.put_exchange_rates(
            on, DayRates(source=MANUAL, base="EUR", published_on=date(2026, 11, 21), rates={"USD": Decimal("1.25")})
        ),
        "register.register_document": lambda: register.register_document(
            on, a_document(day, old=Written(facts=Tool(name="Old")))
        ),
        "register.try_document": lambda: register.try_document(
            on, replace(a_document(day), collections={"tools": {}}), prune=True, as_of=TODAY
        ),
        "register.written_register": lambda: list(register.written_register(on)),
        "registering.find_one": lambda: registering.find_one(on, Thing("products", "crate")),
        "registering.list_registered": lambda: registering.list_registered(on, "products", after="a", limit=2),
        "registering.find_dated_rate": lambda: registering.find_dated_rate(on, Thing("materials", "hdpe"), day),
        "registering.list_rates": lambda: registering.list_rates(on, Thing("materials", "hdpe"), after=day, limit=2),
        "exchange.find_exchange_rates": lambda: exchange.find_exchange_rates(on, date(2026, 11, 20)),
        "exchange.list_exchange_rates": lambda: exchange.list_exchange_rates(on, before=(TODAY, "x"), limit=2),
        "exchange.import_exchange_rates": lambda: exchange.import_exchange_rates(on, [day_rates(day)]),
        "exchange.convert": convert,
        "feed.refresh_exchange_rates": lambda: (refresh(), refresh_in_vain()),
        "feed.list_held_exchange_rates": lambda: feed.list_held_exchange_rates(on, before=(TODAY, "x"), limit=2),
        "feed.find_held_exchange_rates": lambda: feed.find_held_exchange_rates(on, days_before(1), FEED),
        "feed.drop_held_exchange_rates": lambda: feed.drop_held_exchange_rates(on, days_before(1), FEED),
        "feed.confirm_exchange_rates": lambda: feed.confirm_exchange_rates(on, days_before(2), FEED),
        "exchange.withdraw_exchange_rates": lambda: exchange.withdraw_exchange_rates(on, days_before(2), FEED),
        "rate_card.rates_in_force": lambda: rate_card.rates_in_force(on, TODAY),
        "rate_card.rate_card_on": lambda: rate_card.rate_card_on(on, TODAY),
        "cost_sheets.bill_of_product": lambda: cost_sheets.bill_of_product(on, "crate", 5),
        "lead_times.lead_time_of": lambda: lead_times.lead_time_of(on, "crate", 5, TODAY, is_rush=False),
        "lead_times.capacity": lambda: lead_times.capacity(on, TODAY, 2),
        "lead_times.working_resources": lambda: lead_times.working_resources(
            on, {}, {}, RateCard(as_of=TODAY, currency="EUR", rates={})
        ),
        "cost_sheets.cost_product": lambda: (
            cost_sheets.cost_product(
                on,
                cost_sheets.Batch("crate", Decimal(5)),
                TODAY,
                owner.supposed(
                    {"materials/hdpe": builders.material_rate()}, {"materials/hdpe": builders.material(note="x")}
                ),
            ),
            missing_rates(on),
        ),
        "job_sheets.job_of_product": lambda: job_sheets.job_of_product(on, "crate", 5),
        "workings.work_out_cost": lambda: workings.work_out_cost(on, cost_sheets.Batch("crate", Decimal(5)), TODAY),
        "pricing.price_product": lambda: [
            pricing.price_product(on, replace(question, route=route))
            for route in (question.route, Route(channel="quay-market"))
        ],
        "month.plan_month": lambda: (
            month.plan_month(on, decoded(builders.month_plan(), MonthPlan)),
            month.plan_month(
                on,
                decoded(builders.month_plan(month="2026-12"), MonthPlan),
                owner.supposed({"overheads/rent": builders.overhead_rate()}, {}),
            ),
        ),
        **selling(owner),
        **repricings_of(owner),
        **quotations_of(owner),
        **records_of(owner),
        "registering.withdraw_rate": lambda: registering.withdraw_rate(
            on, Thing.of("materials/hdpe"), date(2026, 6, 1)
        ),
        "registering.retire": lambda: owner.retire("products/crate"),
        **retries_of(owner),
        "moving.export_workshop": lambda: list(moving.export_workshop(owner.database, workshop_id)),
        "audit.list_changes": lambda: read_changes(owner),
        "storage.recount": lambda: is_counted_as_it_is(owner),
        "watching.readiness": lambda: watching.readiness(owner.database),
        "watching.is_answering": lambda: watching.is_answering(owner.database),
    }


def is_counted_as_it_is(owner: Owner) -> None:
    """What the workflows before this counted is the sum of the rows that they left."""
    with owner.database.reading() as connection:
        counted = metering.use_of(connection, owner.workshop_id)

    found = storage.recount(owner.database, owner.workshop_id)

    assert counted == tuple(map(sum, zip(*found.values(), strict=True)))


OPERATORS = {
    "keys.create_workshop",
    "keys.list_workshops",
    "watching.find_feed_state",
    "backups.back_up",
    "backups.restore",
    "moving.import_workshop",
    "storage.storage_in_use",
}
"""Workflows across workshops, for the operator: commands, and the metric of the feed's age."""


class TestTheMainJob:
    def test_has_every_workflow_in_it(self, client: Client, database: Database, feed_server: FeedServer) -> None:
        tried = set(the_main_job(Owner(database=database, workshop_id=client.workshop.workshop_id), feed_server))

        assert tried == workflows_on_a_database() - OPERATORS

    def test_executes_no_statement_that_reaches_beyond_the_workshop(
        self, client: Client, stranger: Client, database: Database, feed_server: FeedServer
    ) -> None:
        builders.register_workshop(Owner(database=database, workshop_id=stranger.workshop.workshop_id))
        job = the_main_job(Owner(database=database, workshop_id=client.workshop.workshop_id), feed_server)

        with listening(database) as heard:
            for step in job.values():
                step()

        assert heard.beyond == {}
        assert database.prepared
        assert heard.workshops == {client.workshop.workshop_id}
        assert [
            each for each in heard.outside if not re.search("alembic_version|pg_catalog|pg_dist_partition", each)
        ] == []
        for table in metadata.tables:
            assert any(re.search(rf"\b{table}\b", statement) for statement in heard.statements)

    def test_making_a_workshop_or_a_day_of_requests_reaches_no_other_workshop(
        self, client: Client, database: Database
    ) -> None:
        made = new_workshop(name="x", address="", currency="EUR", locale="en", time_zone="UTC")

        with listening(database) as heard:
            keys.create_workshop(database, made, "first")
            inspect.unwrap(builders.register_workshop)(client)
            client.get("products/sheet/cost-sheet?quantity=5&as_of=2026-11-25")
            client.get("products?limit=2")
            client.post("quotations", builders.quotation(quoted_on="2026-11-25"))
            client.get("quotations")
            builders.register_shipping(client)
            client.register("listings/sheet-online", builders.listing())
            client.get("listings/sheet-online/price-sheet?as_of=2026-11-25")
            client.get("price-list?as_of=2026-11-25")
            client.post("shipping-estimates", builders.shipping_question())
            client.post("repricings", {"as_of": "2026-11-25"})
            applied = client.post("repricings", {"as_of": "2026-11-25", "apply": True}).json
            client.get("repricings")
            client.get(f"repricings/{applied['id']}/changes.csv")
            client.get("listings/sheet-online/price-history")
            client.post(f"repricings/{applied['id']}/rollback", None)

        assert heard.beyond == {}
        assert heard.workshops == {client.workshop.workshop_id, made.workshop_id}
        assert heard.outside == []
