"""Which listings a repricing looks at, and that it reads no others."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import pytest
from sqlalchemy import event

from service.store import prices_in_force
from service.store.database import Database
from service.store.prices_in_force import Narrowing
from service.store.tables import exchange_rates, rates
from tests import builders
from tests.api.repriced import DAY, FIRST, MONDAY, applied, looked_at, previewed, raise_electricity, register_shop
from tests.conftest import Client

pytestmark = pytest.mark.every_engine

EVERY = ["brick-post", "peg-fair", "set-fair", "sheet-fair", "sheet-online"]
PRESSED = ["brick-post", "set-fair", "sheet-fair", "sheet-online"]
"""What is made on the press, itself or through three levels of sub-assemblies."""


@pytest.fixture
def shop(client: Client) -> Client:
    register_shop(client)
    return client


class TestResources:
    @pytest.mark.parametrize(
        ("resource", "found"),
        [
            ("tariffs/grid", PRESSED),
            ("machines/press", PRESSED),
            ("materials/hdpe", PRESSED),
            ("labour-grades/operator", PRESSED),
            ("materials/resin", ["peg-fair"]),
            ("products/bench", ["set-fair"]),
            ("products/sheet", ["set-fair", "sheet-fair", "sheet-online"]),
            ("listings/peg-fair", ["peg-fair"]),
            ("channels/fair", ["peg-fair", "set-fair", "sheet-fair"]),
            ("taxes/vat", ["brick-post", "set-fair", "sheet-online"]),
            ("shipping-services/post", ["brick-post"]),
            ("overheads/rent", EVERY),
        ],
    )
    def test_select_what_rests_on_them_through_any_depth(self, shop: Client, resource: str, found: list[str]) -> None:
        assert looked_at(shop, scope={"resources": [resource]}) == found

    def test_together_select_what_rests_on_any_of_them(self, shop: Client) -> None:
        named = ["materials/resin", "shipping-services/post", "materials/resin"]

        assert looked_at(shop, scope={"resources": named}) == ["brick-post", "peg-fair"]

    def test_select_nothing_where_nothing_rests_on_them(self, shop: Client) -> None:
        shop.register("materials/gravel", builders.material(), **{DAY: builders.material_rate()})

        found = previewed(shop, scope={"resources": ["materials/gravel"]})

        assert found["summary"]["listings"] == 0
        assert found["changes"]["items"] == []

    def test_select_no_longer_what_is_made_another_way_now(self, shop: Client) -> None:
        shop.register("products/board", {"name": "Board", "bill_of_materials": [line("resin")]})

        assert looked_at(shop, scope={"resources": ["tariffs/grid"]}) == ["brick-post", "sheet-fair", "sheet-online"]
        assert looked_at(shop, scope={"resources": ["materials/resin"]}) == ["peg-fair", "set-fair"]

    def test_select_no_listing_that_is_retired(self, shop: Client) -> None:
        assert shop.delete("listings/sheet-online").status_code == 204

        assert looked_at(shop, scope={"resources": ["tariffs/grid"]}) == ["brick-post", "set-fair", "sheet-fair"]
        assert looked_at(shop) == [code for code in EVERY if code != "sheet-online"]


def line(material: str) -> dict[str, str]:
    return {"material": material, "quantity_per_piece": "1"}


class TestFilters:
    @pytest.mark.parametrize(
        ("scope", "found"),
        [
            ({"channel": "fair"}, ["peg-fair", "set-fair", "sheet-fair"]),
            ({"channel": "quay-market"}, ["brick-post", "sheet-online"]),
            ({"product": "sheet"}, ["sheet-fair", "sheet-online"]),  # the product itself, not what is made of it
            ({"tag": "garden"}, ["brick-post", "set-fair", "sheet-online"]),
            ({"tag": "small"}, ["brick-post", "peg-fair"]),
            ({"tag": "garden", "channel": "fair"}, ["set-fair"]),
            ({"product": "sheet", "channel": "fair"}, ["sheet-fair"]),
            ({"resources": ["tariffs/grid"], "tag": "small"}, ["brick-post"]),
            ({"resources": ["tariffs/grid"], "channel": "fair"}, ["set-fair", "sheet-fair"]),
            ({"resources": ["overheads/rent"], "product": "peg"}, ["peg-fair"]),
            ({"resources": ["tariffs/grid"], "tag": "garden", "channel": "fair", "product": "set"}, ["set-fair"]),
            ({"resources": ["tariffs/grid"], "product": "peg"}, []),
        ],
    )
    def test_each_narrow_the_scope(self, shop: Client, scope: dict[str, Any], found: list[str]) -> None:
        assert looked_at(shop, scope=scope) == found

    def test_a_tag_is_taken_to_the_letter(self, shop: Client) -> None:
        shop.register("listings/odd", builders.listing(tags=["Garden", "gard"]))

        assert looked_at(shop, scope={"tag": "gard"}) == ["odd"]
        assert looked_at(shop, scope={"tag": "Garden"}) == ["odd"]


class TestWhatChangedSince:
    def test_is_what_rests_on_a_rate_that_began_after_the_day(self, shop: Client) -> None:
        entered_long_ago(shop)
        raise_electricity(shop)
        entered_long_ago(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-29"}) == PRESSED
        assert looked_at(shop, scope={"changed_since": MONDAY}) == []
        assert looked_at(shop, as_of=FIRST, scope={"changed_since": "2026-11-01"}) == []

    def test_is_what_rests_on_a_rate_that_was_corrected_or_entered_since(self, shop: Client) -> None:
        entered_long_ago(shop)
        assert shop.put(f"materials/resin/rates/{DAY}", builders.material_rate("5")).status_code == 200

        assert looked_at(shop, scope={"changed_since": today(shop)}) == ["peg-fair"]

    def test_is_what_rests_on_a_rate_that_was_withdrawn_since(self, shop: Client) -> None:
        raise_electricity(shop, on="2026-11-20")
        entered_long_ago(shop)
        assert looked_at(shop, scope={"changed_since": "2026-11-21"}) == []

        assert shop.delete("tariffs/grid/rates/2026-11-20").status_code == 204

        assert looked_at(shop, scope={"changed_since": "2026-11-21"}) == PRESSED

    def test_is_nothing_of_a_rate_entered_for_later(self, shop: Client) -> None:
        entered_long_ago(shop)
        raise_electricity(shop, on="2026-12-24")

        assert looked_at(shop, scope={"changed_since": "2026-11-21"}) == []

    @pytest.mark.parametrize(
        ("resource", "terms", "found"),
        [
            ("channels/fair", {"currency": "EUR", "fees": [builders.fee()]}, ["peg-fair", "set-fair", "sheet-fair"]),
            ("taxes/reduced", {"rate_share": "0.1"}, ["peg-fair"]),
            ("shipping-services/post", builders.shipping_rate(fuel_surcharge_share="0.1"), ["brick-post"]),
            ("overheads/rent", builders.overhead_rate("700"), EVERY),
        ],
    )
    def test_is_so_for_everything_that_has_rates(
        self, shop: Client, resource: str, terms: Any, found: list[str]
    ) -> None:
        entered_long_ago(shop)
        assert shop.put(f"{resource}/rates/{MONDAY}", terms).status_code == 201

        assert looked_at(shop, scope={"changed_since": "2026-11-29"}) == found

    def test_is_everything_where_exchange_rates_were_published(self, shop: Client) -> None:
        entered_long_ago(shop)
        assert shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.1"}}).status_code == 201

        assert looked_at(shop, scope={"changed_since": "2026-11-19"}) == EVERY

    def test_is_everything_where_exchange_rates_were_corrected_or_withdrawn(self, shop: Client) -> None:
        """Though they were published before the day: what was corrected today may have changed any price."""
        scope = {"changed_since": today(shop)}
        for day in ("2026-11-10", "2026-11-20"):
            assert shop.put(f"exchange-rates/{day}", {"base": "EUR", "rates": {"USD": "1.1"}}).status_code == 201
        entered_long_ago(shop)
        assert looked_at(shop, scope=scope) == []

        assert shop.put("exchange-rates/2026-11-20", {"base": "EUR", "rates": {"USD": "1.2"}}).status_code == 200
        assert looked_at(shop, scope=scope) == EVERY
        entered_long_ago(shop)
        assert shop.delete("exchange-rates/2026-11-20?source=manual").status_code == 204
        assert looked_at(shop, scope=scope) == EVERY

    def test_is_what_rests_on_something_that_has_no_rate_any_more(self, shop: Client) -> None:
        """A rate that was withdrawn and had none before it leaves listings without a price: that must be told."""
        entered_long_ago(shop)
        assert shop.delete(f"taxes/reduced/rates/{DAY}").status_code == 204
        raise_electricity(shop, on="2026-11-27")
        entered_long_ago(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-26"}) == EVERY

    def test_narrows_further_with_the_other_members(self, shop: Client) -> None:
        entered_long_ago(shop)
        raise_electricity(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-29", "channel": "quay-market", "tag": "small"}) == [
            "brick-post"
        ]


def today(client: Client) -> str:
    return client.workshop.today().isoformat()


def entered_long_ago(client: Client) -> None:
    """As if every rate and every exchange rate had been entered in the spring."""
    database: Database = client.app.extensions["pugmill.database"]
    spring = datetime(2026, 4, 1, tzinfo=UTC)
    with database.writing() as connection:
        for table in (rates, exchange_rates):
            ours = table.c.workshop_id == client.workshop.workshop_id
            connection.execute(table.update().where(ours).values(changed_at=spring))


# What is read


@contextmanager
def statements(database: Database) -> Iterator[list[str]]:
    """Every statement sent to the database meanwhile."""
    sent: list[str] = []

    def listen(_connection: Any, _cursor: Any, statement: str, *_: Any) -> None:
        sent.append(statement)

    event.listen(database.engine, "before_cursor_execute", listen)
    try:
        yield sent
    finally:
        event.remove(database.engine, "before_cursor_execute", listen)


class TestWhatIsRead:
    def test_is_no_listing_that_does_not_rest_on_what_changed(self, shop: Client, database: Database) -> None:
        narrowings = {
            ("materials", "resin"): ["peg-fair"],
            ("tariffs", "grid"): PRESSED,
            ("taxes", "reduced"): ["peg-fair"],
        }

        with database.reading() as connection:
            for thing, expected in narrowings.items():
                narrowing = Narrowing(things=[thing])
                pages = prices_in_force.listings_with_prices(connection, shop.workshop.workshop_id, narrowing, "")
                assert [row.code for rows in pages for row in rows] == expected

    def test_takes_no_more_statements_for_more_listings(self, shop: Client, database: Database) -> None:
        applied(shop)
        raise_electricity(shop)
        with statements(database) as few:
            previewed(shop)

        for place in range(40):
            facts = builders.listing(product=("sheet", "peg", "set")[place % 3], channel="fair", tags=[f"t{place}"])
            shop.register(f"listings/more-{place:02}", facts)
        applied(shop, scope={"channel": "fair"})
        with statements(database) as many:
            previewed(shop)

        assert len(many) <= len(few) + 2  # of one repricing more, the rates it was made with

    def test_is_no_product_where_the_bills_of_before_still_hold(self, shop: Client, database: Database) -> None:
        applied(shop)
        raise_electricity(shop)

        with statements(database) as sent:
            previewed(shop)

        assert not [each for each in sent if "WITH RECURSIVE" in each]
