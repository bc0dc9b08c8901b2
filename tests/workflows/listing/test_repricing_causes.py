"""Why a price moves: a rate, an exchange rate or the product, each with its contribution; and recomputed bills."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import sqlalchemy as sa

from service.domain.costing.variance import Cause, RateChange
from service.domain.values.money import Money
from service.encoding import encoded, plain_data, to_bytes
from service.store.engine.tables import price_changes
from service.workflows.costing.cost_sheets import bill_of_product
from tests.api.repriced import DAY, FIRST, MONDAY, made_of, register_shop
from tests.domain.examples import D
from tests.support import builders
from tests.support.builders import money
from tests.workflows.listing.repriced import (
    applied,
    change_facts,
    effects,
    facts_of,
    previewed,
    put_in_force,
    raise_electricity,
    statements,
)
from tests.workflows.owner import Owner


@pytest.fixture
def shop(owner: Owner) -> Owner:
    """The workshop with its first prices in force."""
    register_shop(owner)
    applied(owner)
    return owner


def unit_cost(owner: Owner, product: str, quantity: int, as_of: str = MONDAY) -> Money:
    """The unit cost on the cost sheet."""
    return owner.cost(product, quantity, date.fromisoformat(as_of)).subtotals.full_cost.per_piece


def change_of(owner: Owner, listing: str, **body: Any) -> Any:
    """The change of one listing; checks that its effects add up."""
    change = previewed(owner, include_unchanged=True, **body).changes[listing]
    difference = Decimal(change["new"]["unit_cost"]["amount"]) - Decimal(change["old"]["unit_cost"]["amount"])
    assert sum((Decimal(amount) for amount in effects(change).values()), Decimal(0)) == difference
    return change


def as_stored_before_waste_was_counted(owner: Owner) -> None:
    """Rewrite the bills stored with prices: pieces as a number, and no part for waste."""
    with owner.database.engine.begin() as connection:
        own = price_changes.c.workshop_id == owner.workshop_id
        for changes in connection.execute(sa.select(price_changes.c.listing, price_changes.c.bill).where(own)).all():
            if changes.bill is None:
                continue  # nobody could price it
            bill = plain_data(changes.bill)
            quantities = {part: each for part, each in bill["quantities"].items() if not part.endswith("#disposed")}
            former = to_bytes({"pieces": int(bill["pieces"]), "quantities": quantities}).decode()
            query = price_changes.update().where(own, price_changes.c.listing == changes.listing)
            connection.execute(query.values(bill=former))


class TestADisposalCost:
    @pytest.mark.parametrize("is_former", [False, True])
    def test_counts_for_prices_from_before_waste_was_counted_too(self, shop: Owner, *, is_former: bool) -> None:
        if is_former:
            as_stored_before_waste_was_counted(shop)
        shop.put_rate("materials/hdpe", MONDAY, builders.material_rate(disposal_cost=money("0.50")))

        change = change_of(shop, "sheet-fair")

        assert change["new"]["unit_cost"] == encoded(unit_cost(shop, "sheet", 20))
        bill = bill_of_product(shop.workspace, "sheet", D(20)).bill
        lost = next(each for each in bill.lines if each.resource == "materials/hdpe#disposed")
        costs = (lost.quantity / 20 * D("0.50")).quantize(D("0.000001"))
        assert effects(change) == {"materials/hdpe#disposed rate": str(costs)}


class TestARate:
    def test_contributes_what_a_piece_consumes_of_it(self, shop: Owner) -> None:
        """A peg is half a kilogram of resin: 0.5 × (4.50 − 4.00)."""
        shop.put_rate("materials/resin", MONDAY, builders.material_rate("4.5"))

        assert effects(change_of(shop, "peg-fair")) == {"materials/resin rate": "0.250000"}

    def test_is_reported_once_for_all_listings_with_its_old_rate(self, shop: Owner) -> None:
        raise_electricity(shop, "0.39", "0.20")

        assert previewed(shop).figures.rate_changes == tuple(
            RateChange(
                resource=f"tariffs/grid#{band}",
                since=date.fromisoformat(FIRST),
                cause=Cause.RATE,
                old_rate=D(old),
                new_rate=D(new),
            )
            for band, old, new in (("day", "0.3", "0.39"), ("night", "0.18", "0.2"))
        )

    def test_is_reported_beside_those_that_only_other_listings_depend_on(self, shop: Owner) -> None:
        raise_electricity(shop)
        shop.put_rate("materials/resin", MONDAY, builders.material_rate("4.5"))

        told = [each.resource for each in previewed(shop).figures.rate_changes]

        assert told == ["materials/resin", "tariffs/grid#day"]

    def test_is_not_reported_where_no_cost_in_the_scope_depends_on_it(self, shop: Owner) -> None:
        raise_electricity(shop)

        found = previewed(shop, scope={"product": "peg"}, include_unchanged=True)

        assert found.figures.rate_changes == ()
        assert effects(found.changes["peg-fair"]) == {}

    def test_is_reported_against_the_rate_at_which_the_price_in_force_was_computed(self, shop: Owner) -> None:
        """Two steps of the tariff; only one of the listings was priced between them."""
        raise_electricity(shop, "0.33", on="2026-11-26")
        applied(shop, "2026-11-26", scope={"product": "brick"})
        raise_electricity(shop)

        found = previewed(shop)

        assert [(each.since.isoformat(), each.old_rate) for each in found.figures.rate_changes] == [
            (FIRST, D("0.3")),
            ("2026-11-26", D("0.33")),
        ]
        by_day = {code: change["old"]["as_of"] for code, change in found.changes.items()}
        assert by_day == {"brick-post": "2026-11-26", "set-fair": FIRST, "sheet-fair": FIRST, "sheet-online": FIRST}

    def test_that_is_reported_once_is_compared_with_the_earliest_price(self, shop: Owner) -> None:
        """The brick was priced again on Thursday, when the market's fee rose but not the price of electricity."""
        dearer = builders.channel_rate(fees=[builders.fee(share="0.12")])
        shop.put_rate("channels/quay-market", "2026-11-26", dearer)
        applied(shop, "2026-11-26", scope={"product": "brick"})
        raise_electricity(shop)

        (change,) = previewed(shop).figures.rate_changes

        assert (change.resource, change.since.isoformat()) == ("tariffs/grid#day", FIRST)

    def test_of_tax_channel_or_shipping_moves_the_price_and_not_the_cost(self, shop: Owner) -> None:
        for resource, terms in (
            ("taxes/vat", {"rate_share": "0.25"}),
            ("channels/quay-market", builders.channel_rate(fees=[builders.fee(share="0.12")])),
            ("shipping-services/post", builders.shipping_rate(fuel_surcharge_share="0.4")),
        ):
            shop.put_rate(resource, MONDAY, terms)

        change = change_of(shop, "brick-post")

        assert change["decision"] == "changed"
        assert list(change["effects"]) == []
        assert previewed(shop).figures.rate_changes == ()

    def test_through_sub_assemblies_counts_each_of_them(self, shop: Owner) -> None:
        """A set is 2 benches of 2 boards of 2 sheets, in one lot of 24 sheets for a batch of 3."""
        raise_electricity(shop)

        eight = change_of(shop, "set-fair")
        old, new = (unit_cost(shop, "sheet", 24, day).amount for day in (FIRST, MONDAY))

        assert [*effects(eight)] == ["tariffs/grid#day rate"]
        assert abs(Decimal(effects(eight)["tariffs/grid#day rate"]) - 8 * (new - old)) < Decimal("0.00001")


class TestAPool:
    def test_on_a_value_takes_its_share_of_what_rises(self, shop: Owner) -> None:
        pool = {"name": "Purchasing", "base": "direct_material_value"}
        shop.register("overheads/purchasing", pool, **{DAY: builders.overhead_rate("60", "600")})
        applied(shop)
        shop.put_rate("materials/resin", MONDAY, builders.material_rate("4.5"))
        shop.put_rate("overheads/purchasing", MONDAY, builders.overhead_rate("90", "600"))

        assert effects(change_of(shop, "peg-fair")) == {
            "materials/resin rate": "0.275000",  # 0.5 × 0.50 × 1.10
            "overheads/purchasing rate": "0.112500",  # 0.5 × 4.50 × (0.15 − 0.10)
        }

    def test_that_is_new_contributes_all_it_adds(self, shop: Owner) -> None:
        pool = {"name": "Purchasing", "base": "direct_material_value"}
        shop.register("overheads/purchasing", pool, **{DAY: builders.overhead_rate("60", "600")})
        shop.register(
            "overheads/admin", {"name": "Admin", "base": "piece"}, **{DAY: builders.overhead_rate("60", "600")}
        )

        found = previewed(shop)

        assert effects(change_of(shop, "peg-fair")) == {
            "overheads/admin rate": "0.100000",
            "overheads/purchasing rate": "0.200000",
        }
        assert {each.resource: each.old_rate for each in found.figures.rate_changes} == {
            "overheads/admin": 0,
            "overheads/purchasing": 0,
        }

    @pytest.mark.parametrize(
        ("base", "effect"),
        [
            ("direct_material_value", {"overheads/purchasing rate": "-0.200000"}),
            ("piece", {"overheads/purchasing rate": "-0.100000"}),
        ],
    )
    def test_that_is_gone_takes_away_what_it_added(self, shop: Owner, base: str, effect: dict[str, str]) -> None:
        shop.register(
            "overheads/purchasing", {"name": "Purchasing", "base": base}, **{DAY: builders.overhead_rate("60", "600")}
        )
        applied(shop)

        shop.retire("overheads/purchasing")

        assert effects(change_of(shop, "peg-fair")) == effect

    @pytest.mark.parametrize("base", ["machine_hour", "labour_hour", "piece"])
    def test_that_is_gone_takes_away_its_cost_for_the_hours_and_pieces_of_the_old_bills(
        self, shop: Owner, base: str
    ) -> None:
        """A set contains benches, boards and sheets: hours and pieces of the old bills count, not of the new sheet."""
        before = unit_cost(shop, "set", 3)
        shop.register("overheads/tent", {"name": "Tent", "base": base}, **{DAY: builders.overhead_rate("60", "600")})
        added = unit_cost(shop, "set", 3).amount - before.amount
        applied(shop)
        shop.retire("overheads/tent")
        assert abs(Decimal(effects(change_of(shop, "set-fair"))["overheads/tent rate"]) + added) < Decimal("0.00001")

        change_facts(shop, "products/sheet", bill_of_materials=[{"material": "hdpe", "quantity_per_piece": "9"}])

        change = change_of(shop, "set-fair")
        assert [*effects(change)] == ["overheads/tent rate", "products/set product"]
        assert abs(Decimal(effects(change)["overheads/tent rate"]) + added) < Decimal("0.00001")
        told = [(each.resource, each.new_rate) for each in previewed(shop).figures.rate_changes]
        assert told == [("overheads/tent", 0)]

    @pytest.mark.parametrize(("base", "added"), [("direct_material_value", "0.225000"), ("piece", "0.100000")])
    def test_changes_no_price_before_its_first_rate(self, shop: Owner, base: str, added: str) -> None:
        """A peg is half a kilogram of resin at 4.50; the pool is a tenth of that, or 0.10 a piece."""
        shop.register("overheads/purchasing", {"name": "Purchasing", "base": base})
        assert change_of(shop, "peg-fair")["decision"] == "same"
        shop.put_rate("materials/resin", "2026-11-26", builders.material_rate("4.5"))
        applied(shop, "2026-11-26")

        shop.put_rate("overheads/purchasing", MONDAY, builders.overhead_rate("60", "600"))

        change = change_of(shop, "peg-fair")
        assert effects(change) == {"overheads/purchasing rate": added}
        assert change["new"]["unit_cost"] == encoded(unit_cost(shop, "peg", 40))


class TestAnExchangeRate:
    @pytest.fixture
    def abroad(self, shop: Owner) -> Owner:
        """Resin is bought in dollars: 6 dollars are 4.80."""
        shop.put_exchange_rates(FIRST, USD="1.25")
        shop.put_rate("materials/resin", "2026-11-20", {"price": money("6", "USD")})
        applied(shop)
        return shop

    def test_contributes_apart_from_the_rate(self, abroad: Owner) -> None:
        """6 dollars were 4.80, are 6.00 at the new exchange rate; 7 dollars are 7.00."""
        abroad.put_exchange_rates(MONDAY, USD="1")
        abroad.put_rate("materials/resin", MONDAY, {"price": money("7", "USD")})

        found = previewed(abroad)

        assert effects(change_of(abroad, "peg-fair")) == {
            "materials/resin exchange_rate": "0.600000",
            "materials/resin rate": "0.500000",
        }
        assert [(each.cause, each.old_rate, each.new_rate) for each in found.figures.rate_changes] == [
            (Cause.EXCHANGE_RATE, D("4.8"), 6),
            (Cause.RATE, 6, 7),
        ]
        assert [each.published_on.isoformat() for each in found.figures.exchange_rates] == [MONDAY]

    def test_that_alone_changes_is_not_reported_as_a_change_of_the_rate(self, abroad: Owner) -> None:
        abroad.put_exchange_rates(MONDAY, USD="1")

        assert effects(change_of(abroad, "peg-fair")) == {"materials/resin exchange_rate": "0.600000"}

    def test_that_is_missing_leaves_what_it_cannot_convert_unpriced_beside_the_others(self, abroad: Owner) -> None:
        raise_electricity(abroad, on="2027-01-15")

        found = previewed(abroad, "2027-01-15")

        assert found.decisions["peg-fair"] == "unpriced"
        change = found.changes["peg-fair"]
        assert change["new"] is None
        assert change["old"]["price"]["amount"]
        assert "USD" in change["problem"]
        assert found.figures.summary.unpriced == 1
        assert found.figures.summary.changed == 4

    def test_of_old_terms_that_cannot_be_converted_any_more_counts_with_the_rate(self, abroad: Owner) -> None:
        abroad.put_rate("materials/resin", "2027-01-15", builders.material_rate("5"))

        assert effects(change_of(abroad, "peg-fair", as_of="2027-01-15")) == {"materials/resin rate": "0.100000"}


class TestTheProduct:
    @pytest.mark.parametrize(
        ("path", "changed"),
        [
            ("products/sheet", {"bill_of_materials": [{"material": "hdpe", "quantity_per_piece": "9"}]}),
            ("machines/press", {"load_factor": "0.5"}),
            ("listings/sheet-online", {"standard_batch": 40}),
        ],
    )
    def test_contributes_where_a_batch_consumes_something_else(
        self, shop: Owner, path: str, changed: dict[str, Any]
    ) -> None:
        change_facts(shop, path, **changed)

        change = change_of(shop, "sheet-online")

        assert [*effects(change)] == ["products/sheet product"]
        batch = changed.get("standard_batch", 20)
        assert change["new"]["unit_cost"] == encoded(unit_cost(shop, "sheet", batch))
        assert change["decision"] == "changed"

    def test_contributes_what_the_rates_do_not_explain(self, shop: Owner) -> None:
        """0.5 kg at 4.00, then 1.5 kg at 4.50: the rate contributes 1.5 × 0.50, the product 1 × 4.00."""
        change_facts(shop, "products/peg", bill_of_materials=[{"material": "resin", "quantity_per_piece": "1.5"}])
        shop.put_rate("materials/resin", MONDAY, builders.material_rate("4.5"))

        assert effects(change_of(shop, "peg-fair")) == {
            "materials/resin rate": "0.750000",
            "products/peg product": "4.000000",
        }

    def test_contributes_the_whole_cost_of_a_resource_that_it_did_not_consume_before(self, shop: Owner) -> None:
        lines = [{"material": material, "quantity_per_piece": "0.5"} for material in ("resin", "hdpe")]
        change_facts(shop, "products/peg", bill_of_materials=lines)
        shop.put_rate("materials/hdpe", MONDAY, builders.material_rate("0.90"))

        assert [*effects(change_of(shop, "peg-fair"))] in (
            ["products/peg product"],
            ["materials/hdpe rate", "products/peg product"],  # where other products in the repricing consumed it
        )

    def test_reaches_what_is_made_of_it_through_any_depth(self, shop: Owner) -> None:
        change_facts(shop, "products/sheet", bill_of_materials=[{"material": "hdpe", "quantity_per_piece": "9"}])

        assert [*effects(change_of(shop, "set-fair"))] == ["products/set product"]

    def test_contributes_nothing_where_it_is_changed_and_changed_back(self, shop: Owner) -> None:
        before = facts_of(shop, "products/peg")
        change_facts(shop, "products/peg", bill_of_materials=[{"material": "resin", "quantity_per_piece": "1.5"}])
        shop.register("products/peg", before)

        change = change_of(shop, "peg-fair")

        assert (change["decision"], list(change["effects"])) == ("same", [])

    def test_of_a_listing_may_be_another_one(self, shop: Owner) -> None:
        change_facts(shop, "listings/peg-fair", product="sheet")

        change = change_of(shop, "peg-fair")

        assert [*effects(change)] == ["products/sheet product"]
        assert change["product"] == "sheet"

    def test_that_cannot_be_made_any_more_leaves_its_listings_unpriced(self, shop: Owner) -> None:
        """The press moves to a tariff of one band; the sheet still divides its electricity over two."""
        shop.register(
            "tariffs/solar", builders.tariff(bands=["sun"]), **{DAY: {"price_per_kwh": {"sun": money("0.1")}}}
        )
        change_facts(shop, "machines/press", tariff="solar")

        found = previewed(shop)

        assert found.decisions == dict.fromkeys(("brick-post", "set-fair", "sheet-fair", "sheet-online"), "unpriced")
        assert "band" in found.changes["sheet-online"]["problem"]
        assert found.figures.summary.same == 1


class TestARecomputedBill:
    def test_is_kept_with_the_price_that_stays(self, shop: Owner) -> None:
        """A new note on the machine changes no figure; the bill is recomputed once, when prices are next applied."""
        change_facts(shop, "machines/press", note="oiled")
        with statements(shop.database) as before:
            previewed(shop)

        done = put_in_force(shop)
        with statements(shop.database) as after:
            found = previewed(shop, FIRST, include_unchanged=True)

        assert done.id is None
        read_before, read_after = (
            sum(each.startswith("SELECT registrations.workshop_id") for each in sent) for sent in (before, after)
        )
        assert read_before > read_after == 1, "the product that is shipped is still read, for its parcel"
        assert {change["decision"] for change in found.changes.values()} == {"same"}

    def test_that_is_kept_explains_the_next_change_too(self, shop: Owner) -> None:
        """0.1 kg more resin, then a dearer kilogram: with steps of 10 the price stays; both show in the unit cost."""
        change_facts(shop, "listings/peg-fair", policy=builders.policy(price_step="10"))
        applied(shop)
        change_facts(shop, "products/peg", bill_of_materials=[{"material": "resin", "quantity_per_piece": "0.6"}])
        assert put_in_force(shop).id is None
        shop.put_rate("materials/resin", MONDAY, builders.material_rate("5"))

        change = change_of(shop, "peg-fair")

        assert effects(change) == {"materials/resin rate": "0.600000", "products/peg product": "0.400000"}

    def test_is_compared_again_after_a_rollback(self, shop: Owner) -> None:
        change_facts(shop, "products/peg", bill_of_materials=[{"material": "resin", "quantity_per_piece": "1.5"}])
        moved = applied(shop)
        assert moved.decisions == {"peg-fair": "changed"}
        assert moved.id is not None
        shop.roll_back(moved.id)

        change = change_of(shop, "peg-fair")

        assert effects(change) == {"products/peg product": "4.000000"}

    def test_is_computed_anew_where_a_listing_is_brought_back(self, shop: Owner) -> None:
        facts = facts_of(shop, "listings/peg-fair")
        shop.retire("listings/peg-fair")
        change_facts(shop, "products/peg", bill_of_materials=[{"material": "resin", "quantity_per_piece": "1.5"}])
        shop.register("listings/peg-fair", facts)

        assert effects(change_of(shop, "peg-fair")) == {"products/peg product": "4.000000"}


class TestTheCurrencyOfSale:
    def test_that_changed_gives_a_new_price_that_nothing_can_be_compared_with(self, shop: Owner) -> None:
        shop.put_exchange_rates(FIRST, JPY="163.42")
        change_facts(shop, "listings/peg-fair", currency="JPY")

        change = change_of(shop, "peg-fair", rules={"least_move_share": "0.5", "greatest_move_share": "0.5"})

        assert change["decision"] == "changed"
        assert (change["old"]["price"]["currency"], change["new"]["price"]["currency"]) == ("EUR", "JPY")
        assert (change["move_share"], change["kept_margin_share"], list(change["effects"])) == (None, None, [])


def test_figures_that_are_too_large_are_reported_on_their_listing_alone(shop: Owner) -> None:
    """27 digits before the point and six after it are more than the service computes."""
    shop.register("materials/gold", builders.material(), **{DAY: builders.material_rate("9" * 18)})
    shop.register("products/idol", {"name": "Idol", "bill_of_materials": [line("gold", "999999999999")]})
    shop.register("listings/idol", builders.listing(product="idol", channel="fair"))
    shop.register("products/speck", {"name": "Speck", "bill_of_materials": [line("gold", "0.000000000001")]})
    shop.register("listings/speck", builders.listing(product="speck", channel="fair"))

    found = previewed(shop, FIRST)

    assert found.decisions == {"idol": "unpriced", "speck": "first"}
    assert "large" in found.changes["idol"]["problem"]
    applied(shop)
    shop.put_rate("materials/gold", MONDAY, builders.material_rate("8" * 18))
    assert effects(change_of(shop, "speck")) == {"materials/gold rate": "-111111.111111"}


def line(material: str, quantity: str) -> dict[str, str]:
    return {"material": material, "quantity_per_piece": quantity}


def test_resin_is_reported_for_a_product_that_takes_it_through_a_part_alone(shop: Owner) -> None:
    shop.register("products/rack", made_of("peg", "6"))
    shop.register("listings/rack", builders.listing(product="rack", channel="fair"))
    applied(shop)
    shop.put_rate("materials/resin", MONDAY, builders.material_rate("4.5"))

    assert effects(change_of(shop, "rack")) == {"materials/resin rate": "1.500000"}
