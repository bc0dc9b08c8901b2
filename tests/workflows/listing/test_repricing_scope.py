"""Which listings are in the scope of a repricing, and that it reads no others."""

from datetime import UTC, date, datetime
from typing import Any

import pytest

from service.domain.costing.errors import MissingRate, MissingRatesError
from service.domain.listing.repricing import RepricingRequest
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Thing
from service.encoding import decoded
from service.store.engine.tables import exchange_rates, rates
from service.store.listing import prices_in_force
from service.store.listing.prices_in_force import Narrowing
from service.workflows.currency import exchange
from service.workflows.listing import repricing
from tests.api.repriced import DAY, FIRST, MONDAY, register_shop
from tests.support import builders
from tests.workflows.listing.repriced import applied, looked_at, previewed, raise_electricity, statements, withdraw
from tests.workflows.owner import Owner

pytestmark = pytest.mark.every_engine

EVERY = ["brick-post", "peg-fair", "set-fair", "sheet-fair", "sheet-online"]
PRESSED = ["brick-post", "set-fair", "sheet-fair", "sheet-online"]
"""Listings whose product, or a sub-assembly of it up to three levels down, is made on the press."""


@pytest.fixture
def shop(owner: Owner) -> Owner:
    register_shop(owner)
    return owner


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
    def test_select_what_depends_on_them_at_any_depth(self, shop: Owner, resource: str, found: list[str]) -> None:
        assert looked_at(shop, scope={"resources": [resource]}) == found

    def test_together_select_what_depends_on_any_of_them(self, shop: Owner) -> None:
        named = ["materials/resin", "shipping-services/post", "materials/resin"]

        assert looked_at(shop, scope={"resources": named}) == ["brick-post", "peg-fair"]

    def test_select_nothing_where_nothing_depends_on_them(self, shop: Owner) -> None:
        shop.register("materials/gravel", builders.material(), **{DAY: builders.material_rate()})

        found = previewed(shop, scope={"resources": ["materials/gravel"]})

        assert found.figures.summary.listings == 0
        assert found.changes == {}

    def test_no_longer_select_what_is_made_in_another_way_now(self, shop: Owner) -> None:
        shop.register("products/board", {"name": "Board", "bill_of_materials": [line("resin")]})

        assert looked_at(shop, scope={"resources": ["tariffs/grid"]}) == ["brick-post", "sheet-fair", "sheet-online"]
        assert looked_at(shop, scope={"resources": ["materials/resin"]}) == ["peg-fair", "set-fair"]

    def test_select_no_listing_that_is_retired(self, shop: Owner) -> None:
        shop.retire("listings/sheet-online")

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
    def test_each_narrow_the_scope(self, shop: Owner, scope: dict[str, Any], found: list[str]) -> None:
        assert looked_at(shop, scope=scope) == found

    def test_a_tag_is_matched_literally(self, shop: Owner) -> None:
        shop.register("listings/odd", builders.listing(tags=["Garden", "gard"]))

        assert looked_at(shop, scope={"tag": "gard"}) == ["odd"]
        assert looked_at(shop, scope={"tag": "Garden"}) == ["odd"]


class TestWhatChangedSince:
    def test_is_what_depends_on_a_rate_that_began_after_the_day(self, shop: Owner) -> None:
        entered_long_ago(shop)
        raise_electricity(shop)
        entered_long_ago(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-29"}) == PRESSED
        assert looked_at(shop, scope={"changed_since": MONDAY}) == []
        assert looked_at(shop, as_of=FIRST, scope={"changed_since": "2026-11-01"}) == []

    def test_is_what_depends_on_a_rate_that_was_corrected_or_entered_since(self, shop: Owner) -> None:
        entered_long_ago(shop)
        shop.put_rate("materials/resin", DAY, builders.material_rate("5"))

        assert looked_at(shop, scope={"changed_since": today(shop)}) == ["peg-fair"]

    def test_is_what_depends_on_a_rate_that_was_withdrawn_since(self, shop: Owner) -> None:
        for day in ("2026-10-20", "2026-11-20"):  # the one before is not the first
            raise_electricity(shop, on=day)
        entered_long_ago(shop)
        assert looked_at(shop, scope={"changed_since": "2026-11-21"}) == []

        withdraw(shop, "tariffs/grid", "2026-11-20")

        assert looked_at(shop, scope={"changed_since": "2026-11-21"}) == PRESSED

    def test_leaves_out_a_rate_entered_for_a_later_day(self, shop: Owner) -> None:
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
    def test_covers_every_kind_of_resource_that_has_rates(
        self, shop: Owner, resource: str, terms: Any, found: list[str]
    ) -> None:
        entered_long_ago(shop)
        shop.put_rate(resource, MONDAY, terms)

        assert looked_at(shop, scope={"changed_since": "2026-11-29"}) == found

    def test_is_everything_where_exchange_rates_were_published(self, shop: Owner) -> None:
        entered_long_ago(shop)
        shop.put_exchange_rates("2026-11-20", USD="1.1")

        assert looked_at(shop, scope={"changed_since": "2026-11-19"}) == EVERY

    def test_is_everything_where_exchange_rates_were_corrected_or_withdrawn(self, shop: Owner) -> None:
        """Even if they were published before the day: a correction entered today may change any price."""
        scope = {"changed_since": today(shop)}
        for day in ("2026-11-10", "2026-11-20"):
            shop.put_exchange_rates(day, USD="1.1")
        entered_long_ago(shop)
        assert looked_at(shop, scope=scope) == []

        shop.put_exchange_rates("2026-11-20", USD="1.2")
        assert looked_at(shop, scope=scope) == EVERY
        entered_long_ago(shop)
        exchange.withdraw_exchange_rates(shop.workspace, date(2026, 11, 20), "manual")
        assert looked_at(shop, scope=scope) == EVERY

    def test_is_everything_where_the_same_day_of_another_source_is_used_instead_of_what_was_withdrawn(
        self, shop: Owner
    ) -> None:
        for source in ("bank", "manual"):
            shop.put_exchange_rates("2026-11-20", source, USD="1.1")
        entered_long_ago(shop)

        exchange.withdraw_exchange_rates(shop.workspace, date(2026, 11, 20), "manual")

        assert looked_at(shop, scope={"changed_since": today(shop)}) == EVERY

    def test_is_what_depends_on_a_resource_that_has_no_rate_any_more(self, shop: Owner) -> None:
        """Withdrawing a resource's only rate leaves listings without a price; the repricing must report that."""
        entered_long_ago(shop)
        withdraw(shop, "taxes/reduced", DAY)
        raise_electricity(shop, on="2026-11-27")
        entered_long_ago(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-26"}) == EVERY

    def test_leaves_out_what_was_retired_before_it_ever_had_a_rate(self, shop: Owner) -> None:
        shop.register("overheads/tent", {"name": "Tent", "base": "piece"})
        shop.retire("overheads/tent")
        entered_long_ago(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-26"}) == []

    def test_narrows_further_with_the_other_members(self, shop: Owner) -> None:
        entered_long_ago(shop)
        raise_electricity(shop)

        assert looked_at(shop, scope={"changed_since": "2026-11-29", "channel": "quay-market", "tag": "small"}) == [
            "brick-post"
        ]


def today(owner: Owner) -> str:
    return owner.workshop.today().isoformat()


def entered_long_ago(owner: Owner) -> None:
    """The workshop with every rate and exchange rate entered in the spring."""
    spring = datetime(2026, 4, 1, tzinfo=UTC)
    with owner.database.writing() as connection:
        for table in (rates, exchange_rates):
            ours = table.c.workshop_id == owner.workshop_id
            connection.execute(table.update().where(ours).values(changed_at=spring))


class TestAScopeThatIsRefused:
    def test_names_every_member_whose_value_is_not_registered(self, shop: Owner) -> None:
        named = ["tariffs/solar", "tariffs/grid", "customers/harbour", "tariff/grid"]

        with pytest.raises(InvalidValuesError) as refusal:
            previewed(shop, scope={"resources": named, "channel": "market", "product": "bowl"})

        assert [(each.path, each.reason) for each in refusal.value.problems] == [
            (("scope", "resources", 0), "there is no tariff 'solar'; register it first"),
            (("scope", "resources", 2), "there is no customers/harbour; register it first"),
            (("scope", "resources", 3), "there is no tariff/grid; did you mean 'tariffs/grid'?"),
            (("scope", "channel"), "there is no sales channel 'market'; did you mean 'quay-market'?"),
            (("scope", "product"), "there is no product 'bowl'; register it first"),
        ]

    def test_names_every_resource_without_a_rate_on_the_day_with_the_first_day_that_has_one(self, shop: Owner) -> None:
        with pytest.raises(MissingRatesError) as refusal:
            previewed(shop, "2025-12-31", scope={"resources": ["products/sheet", "tariffs/grid"]})

        assert refusal.value.missing == (
            MissingRate(resource="tariffs/grid", first_valid_from=date.fromisoformat(DAY)),
        )

    @pytest.mark.parametrize(
        "scope",
        [
            {"tag": "orchard"},
            {"tag": "small", "channel": "fair", "product": "sheet"},
            {"tag": "orchard", "resources": ["tariffs/grid"]},
        ],
        ids=["a tag", "members that meet in no listing", "a tag beside resources"],
    )
    def test_is_one_that_selects_no_listing_at_all(self, shop: Owner, scope: dict[str, Any]) -> None:
        with pytest.raises(InvalidValuesError, match="selects no listing at all; check its members"):
            previewed(shop, scope=scope)


def test_what_if_rates_narrow_to_what_depends_on_them_unless_a_scope_says_otherwise(shop: Owner) -> None:
    applied(shop)
    supposed = {"materials/resin": shop.terms("materials/resin", builders.material_rate("5"))}

    found = {}
    for scope in (None, {"channel": "quay-market"}, {"changed_since": "2020-01-01"}):
        request = decoded({"as_of": FIRST, "scope": scope, "include_unchanged": True}, RepricingRequest)
        with repricing.preview(shop.workspace, request, supposed) as seen:
            found[str(scope)] = [listing for listing, _ in seen.changes()]

    assert list(found.values()) == [["peg-fair"], [], EVERY]


class TestWhatIsRead:
    def test_is_no_listing_that_does_not_depend_on_what_changed(self, shop: Owner) -> None:
        narrowings = {
            Thing("materials", "resin"): ["peg-fair"],
            Thing("tariffs", "grid"): PRESSED,
            Thing("taxes", "reduced"): ["peg-fair"],
        }

        with shop.database.reading() as connection:
            for thing, expected in narrowings.items():
                narrowing = Narrowing(things=[thing])
                pages = prices_in_force.listings_with_prices(
                    connection, shop.workshop_id, narrowing, shop.workshop.today(), ""
                )
                assert [row.code for rows in pages for row in rows] == expected

    def test_takes_no_more_statements_for_more_listings(self, shop: Owner) -> None:
        applied(shop)
        raise_electricity(shop)
        with statements(shop.database) as few:
            previewed(shop)

        for place in range(40):
            facts = builders.listing(product=("sheet", "peg", "set")[place % 3], channel="fair", tags=[f"t{place}"])
            shop.register(f"listings/more-{place:02}", facts)
        applied(shop, scope={"channel": "fair"})
        with statements(shop.database) as many:
            previewed(shop)

        assert len(many) <= len(few) + 2  # reads the rates of one more repricing

    def test_is_no_product_where_the_earlier_bills_still_hold(self, shop: Owner) -> None:
        applied(shop)
        raise_electricity(shop)

        with statements(shop.database) as sent:
            previewed(shop)

        assert not [each for each in sent if "WITH RECURSIVE" in each]
