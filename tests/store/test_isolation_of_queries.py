"""Every statement the service executes stays within one workshop."""

import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from importlib import import_module
from types import ModuleType
from typing import Any
from uuid import UUID

import pytest
import sqlalchemy as sa

from service import workflows
from service.domain.errors import MissingExchangeRateError, MissingRatesError
from service.domain.exchange import FEED
from service.domain.money import Money
from service.encoding import decoded
from service.feeds.reference_rates import Span
from service.store.database import Database
from service.store.tables import metadata
from service.store.workshops import Workshop, new_workshop
from service.workflows import (
    costing,
    exchange,
    feed,
    keys,
    listings,
    pricing,
    quoting,
    rate_card,
    registering,
    shipping,
    watching,
)
from service.workflows.errors import FeedFailedError
from service.workflows.listings import ListingQuestion
from service.workflows.pricing import PriceQuestion
from service.workflows.shipping import ShippingQuestion
from tests import builders
from tests.conftest import Client
from tests.domain.examples import TODAY, a_policy
from tests.feed import FeedServer, day_of, day_rates, feed_at, sending, with_rates, xml_of
from tests.workflows.owner import Owner

TABLES = "|".join(metadata.tables)
MENTION = re.compile(rf"(?:\bFROM|\bJOIN|\bUPDATE|,)\s+({TABLES})\b(?![.=])(?:\s+AS\s+(\w+))?")
INSERTION = re.compile(rf"INSERT INTO ({TABLES}) \(([^)]*)\)")


def unfiltered(statement: str) -> list[str]:
    """The tables of a statement, by their name in it, that are not held to a workshop as often as they are named."""
    inserted = INSERTION.match(statement)
    if inserted:
        return [] if "workshop_id" in inserted[2].split(", ") else [inserted[1]]
    mentions = [alias or table for table, alias in MENTION.findall(statement)]
    return [
        name
        for name in dict.fromkeys(mentions)
        if len(re.findall(rf"\b{name}\.workshop_id = ", statement)) < mentions.count(name)
    ]


@dataclass
class Heard:
    """What was executed, and for which workshop."""

    statements: list[str] = field(default_factory=list)
    workshops: set[UUID] = field(default_factory=set)
    outside: list[str] = field(default_factory=list)


@contextmanager
def listening(database: Database) -> Iterator[Heard]:
    heard = Heard()

    def hear(_connection: Any, _cursor: Any, statement: str, _parameters: Any, context: Any, _many: bool) -> None:
        if not re.search(rf"\b({TABLES})\b", statement):
            heard.outside.append(statement)
            return
        heard.statements.append(statement)
        for values in context.compiled_parameters:
            bound = {value for name, value in values.items() if name.startswith("workshop_id")}
            assert bound, f"bound to no workshop: {statement}"
            heard.workshops |= bound

    sa.event.listen(database.engine, "before_cursor_execute", hear)
    try:
        yield heard
    finally:
        sa.event.remove(database.engine, "before_cursor_execute", hear)


class TestTheCheckItself:
    @pytest.mark.parametrize(
        "statement",
        [
            "SELECT rates.terms FROM rates WHERE rates.code = ?",
            "SELECT rates.terms FROM rates, uses WHERE uses.workshop_id = ?",
            "SELECT r.terms FROM rates AS r JOIN uses ON uses.workshop_id = ? WHERE r.code = ?",
            "SELECT a FROM rates WHERE rates.workshop_id = ? AND a IN (SELECT b FROM rates WHERE rates.c = ?)",
            "UPDATE rates SET terms=? WHERE rates.code = ?",
            "DELETE FROM rates WHERE rates.code = ?",
            "INSERT INTO rates (collection, code) VALUES (?, ?)",
        ],
    )
    def test_finds_what_reaches_beyond_a_workshop(self, statement: str) -> None:
        assert unfiltered(statement)

    @pytest.mark.parametrize(
        "statement",
        [
            "SELECT rates.terms FROM rates WHERE rates.workshop_id = ? AND rates.code = ?",
            "SELECT r.terms FROM rates AS r JOIN uses ON uses.workshop_id = r.workshop_id WHERE r.workshop_id = ?",
            "UPDATE rates SET terms=? WHERE rates.workshop_id = ?",
            "INSERT INTO rates (workshop_id, collection) VALUES (?, ?)",
        ],
    )
    def test_lets_what_stays_within_one_pass(self, statement: str) -> None:
        assert unfiltered(statement) == []


PARTS_OF_WORKFLOWS = {"costed", "prepare", "priced", "surroundings_of", "with_first_days"}


def workflows_on_a_database() -> set[str]:
    """Every public workflow that reaches the database."""

    def reaches(each: Any, module: ModuleType) -> bool:
        return each.__module__ == module.__name__ and next(iter(inspect.signature(each).parameters), "") == "database"

    modules = [
        import_module(f"{workflows.__name__}.{found.name}") for found in pkgutil.iter_modules(workflows.__path__)
    ]
    return {
        f"{module.__name__.rpartition('.')[2]}.{name}"
        for module in modules
        for name, each in inspect.getmembers(module, inspect.isfunction)
        if not name.startswith("_") and reaches(each, module) and name not in PARTS_OF_WORKFLOWS
    }


def missing_rates(database: Database, workshop: Workshop) -> None:
    with pytest.raises(MissingRatesError):
        costing.cost_product(database, workshop, "sheet", 1, date(2000, 1, 1))


def register_sales(owner: Owner) -> None:
    """A brick on sale in dollars, a service that sends it, and a sheet on sale at home."""
    owner.put("products/brick", builders.measured())
    sent = {"shipping_service": "post", "shipping_zone": "home"}
    owner.register("shipping-services/post", builders.shipping_service(), **{"2026-01-01": builders.shipping_rate()})
    owner.put("listings/brick-online", builders.listing(product="brick", currency="USD", **sent))
    owner.put("listings/sheet-online", builders.listing())


def selling(owner: Owner) -> dict[str, Callable[[], Any]]:
    """What is asked about things on sale, answered and refused."""
    on = owner.database, owner.workshop
    shipment = decoded(builders.shipping_question("brick", 3), ShippingQuestion)

    def price_listing() -> None:
        for kept_at in (None, Decimal(9)):
            listings.price_listing(*on, "brick-online", ListingQuestion(as_of=TODAY, kept_at=kept_at))
        with pytest.raises(MissingRatesError):
            listings.price_listing(*on, "brick-online", ListingQuestion(as_of=date(2000, 1, 1)))

    def price_list() -> None:
        for channel in (None, "bazaar"):
            assert [each.problem for each in listings.price_list(*on, TODAY, channel)] == [None, None]

    return {
        "shipping.estimate_shipping": lambda: shipping.estimate_shipping(*on, shipment),
        "listings.price_listing": price_listing,
        "listings.price_list": price_list,
    }


def the_main_job(owner: Owner, server: FeedServer) -> dict[str, Callable[[], Any]]:
    """Every workflow once, in an order that works; more than once where it takes several ways."""
    on = owner.database, owner.workshop
    workshop_id = owner.workshop.workshop_id
    day = date(2026, 1, 1)
    question = PriceQuestion(product="crate", quantity=5, as_of=TODAY, policy=a_policy(), tax="vat")
    parts = [{"product": "sheet", "quantity_per_piece": "1"}, {"product": "frame", "quantity_per_piece": "1"}]
    lines = [builders.quotation()["lines"][0], {**builders.quotation()["lines"][0], "product": "crate"}]

    def register() -> None:
        builders.register_workshop(owner)
        owner.put("products/frame", builders.product(name="Frame"))
        owner.put("products/crate", {"name": "Crate", "bill_of_materials": parts})
        owner.put("products/frame", builders.product(name="Frame, blue"))
        owner.put("materials/hdpe", builders.material(note="washed"))
        register_sales(owner)

    def put_rate() -> None:
        owner.put_rate("materials/hdpe", "2026-06-01", builders.material_rate("2"))
        owner.put_rate("materials/hdpe", "2026-06-01", {"price": builders.money("1", "USD")})

    def put_exchange_rates() -> None:
        owner.put_exchange_rates("2026-11-20", USD="1.2")
        owner.put_exchange_rates("2026-11-20", USD="1.25")

    def refresh() -> None:
        for days_before, dollars in ((3, "1.07"), (2, "9"), (1, "99")):
            server.answer = sending(xml_of({day_of(days_before): with_rates(USD=dollars)}), ETag=f'"{dollars}"')
            feed.refresh_exchange_rates(*on, feed_at(server.url), Span.LATEST)

    def refresh_in_vain() -> None:
        server.answer = sending(b"", 404)
        with pytest.raises(FeedFailedError):
            feed.refresh_exchange_rates(*on, feed_at(server.url), Span.LATEST)

    def convert() -> None:
        money = Money(amount=Decimal(1), currency="USD")
        exchange.convert(*on, money, "EUR", TODAY)
        with pytest.raises(MissingExchangeRateError):
            exchange.convert(*on, money, "EUR", date(2027, 6, 1))

    def days_before(count: int) -> date:
        return owner.workshop.today() - timedelta(days=count)

    def quotation_id() -> UUID:
        return quoting.list_quotations(*on, after=None, limit=1)[0].id

    return {
        "keys.create_key": lambda: keys.create_key(owner.database, workshop_id, "reader", frozenset({"read"})),
        "keys.open_with": lambda: keys.open_with(
            owner.database, keys.create_key(owner.database, workshop_id, "second", frozenset())
        ),
        "keys.list_keys": lambda: keys.list_keys(owner.database, workshop_id),
        "keys.revoke_key": lambda: keys.revoke_key(
            owner.database, workshop_id, keys.list_keys(owner.database, workshop_id)[-1].key_id
        ),
        "registering.register": register,
        "registering.put_rate": put_rate,
        "exchange.put_exchange_rates": put_exchange_rates,
        "registering.find_one": lambda: registering.find_one(*on, "products", "crate"),
        "registering.list_registered": lambda: registering.list_registered(*on, "products", after="a", limit=2),
        "registering.find_dated_rate": lambda: registering.find_dated_rate(*on, "materials", "hdpe", day),
        "registering.list_rates": lambda: registering.list_rates(*on, "materials", "hdpe", after=day, limit=2),
        "exchange.find_exchange_rates": lambda: exchange.find_exchange_rates(*on, date(2026, 11, 20)),
        "exchange.list_exchange_rates": lambda: exchange.list_exchange_rates(*on, before=(TODAY, "x"), limit=2),
        "exchange.import_exchange_rates": lambda: exchange.import_exchange_rates(*on, [day_rates(day)]),
        "exchange.convert": convert,
        "feed.refresh_exchange_rates": lambda: (refresh(), refresh_in_vain()),
        "feed.list_held_exchange_rates": lambda: feed.list_held_exchange_rates(*on, before=(TODAY, "x"), limit=2),
        "feed.drop_held_exchange_rates": lambda: feed.drop_held_exchange_rates(*on, days_before(1), FEED),
        "feed.confirm_exchange_rates": lambda: feed.confirm_exchange_rates(*on, days_before(2), FEED),
        "exchange.withdraw_exchange_rates": lambda: exchange.withdraw_exchange_rates(*on, days_before(2), FEED),
        "rate_card.rate_card_on": lambda: rate_card.rate_card_on(*on, TODAY),
        "costing.bill_of_product": lambda: costing.bill_of_product(*on, "crate", 5),
        "costing.cost_product": lambda: (
            costing.cost_product(
                *on, "crate", 5, TODAY, {"materials/hdpe": owner.terms("materials/hdpe", builders.material_rate())}
            ),
            missing_rates(*on),
        ),
        "pricing.price_product": lambda: pricing.price_product(*on, question),
        **selling(owner),
        "quoting.quote": lambda: owner.quote(lines=lines),
        "quoting.list_quotations": lambda: quoting.list_quotations(*on, after=quotation_id(), limit=2),
        "quoting.find_quotation": lambda: quoting.find_quotation(*on, quotation_id()),
        "quoting.recompute": lambda: quoting.recompute(*on, quotation_id()),
        "quoting.recompute_all": lambda: list(quoting.recompute_all(*on)),
        "registering.withdraw_rate": lambda: registering.withdraw_rate(*on, "materials", "hdpe", date(2026, 6, 1)),
        "registering.retire": lambda: owner.retire("products/crate"),
        "watching.readiness": lambda: watching.readiness(owner.database),
    }


class TestTheMainJob:
    def test_has_every_workflow_in_it(self, client: Client, database: Database, feed_server: FeedServer) -> None:
        tried = set(the_main_job(Owner(database=database, workshop_id=client.workshop.workshop_id), feed_server))

        assert tried == workflows_on_a_database() - {"keys.create_workshop"}

    def test_executes_no_statement_that_reaches_beyond_the_workshop(
        self, client: Client, stranger: Client, database: Database, feed_server: FeedServer
    ) -> None:
        builders.register_workshop(Owner(database=database, workshop_id=stranger.workshop.workshop_id))
        job = the_main_job(Owner(database=database, workshop_id=client.workshop.workshop_id), feed_server)

        with listening(database) as heard:
            for step in job.values():
                step()

        assert [statement for statement in heard.statements if unfiltered(statement)] == []
        assert heard.workshops == {client.workshop.workshop_id}
        assert [each for each in heard.outside if not re.search("alembic_version|pg_catalog", each)] == []
        for table in metadata.tables:
            assert any(re.search(rf"\b{table}\b", statement) for statement in heard.statements)

    def test_nor_does_making_a_workshop_or_a_day_of_requests(self, client: Client, database: Database) -> None:
        made = new_workshop(name="x", address="", currency="EUR", locale="en", time_zone="UTC")

        with listening(database) as heard:
            keys.create_workshop(database, made, "first")
            builders.register_workshop(client)
            client.get("products/sheet/cost-sheet?quantity=5&as_of=2026-11-25")
            client.get("products?limit=2")
            client.post("quotations", builders.quotation(quoted_on="2026-11-25"))
            client.get("quotations")
            builders.register_shipping(client)
            client.register("listings/sheet-online", builders.listing())
            client.get("listings/sheet-online/price-sheet?as_of=2026-11-25")
            client.get("price-list?as_of=2026-11-25")
            client.post("shipping-estimates", builders.shipping_question())

        assert [statement for statement in heard.statements if unfiltered(statement)] == []
        assert heard.workshops == {client.workshop.workshop_id, made.workshop_id}
        assert heard.outside == []
