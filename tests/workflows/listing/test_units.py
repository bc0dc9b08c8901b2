"""Listings of what is sold by the kilogram or the hour: prices, repricing, what is stored, and units that are fixed."""

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import sqlalchemy as sa

from service.domain.quoting.life import DeclineRequest
from service.domain.register import COLLECTIONS
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Thing
from service.domain.values.units import Unit
from service.encoding import decoded, plain_data, to_bytes
from service.store.engine.tables import price_changes, registrations
from service.workflows.costing.cost_sheets import Batch, cost_product
from service.workflows.listing.listings import ListingQuestion, ListingSheet, price_listing
from service.workflows.listing.price_list import price_list
from service.workflows.quoting import quotation_life
from service.workflows.register import register_document
from service.workflows.registering import registering
from service.workflows.registering.document import RegisterDocument, Written
from tests.api.repriced import FIRST, MONDAY
from tests.domain.examples import D
from tests.support import builders
from tests.support.builders import money
from tests.workflows.listing.repriced import applied, change_facts, effects, previewed
from tests.workflows.owner import Owner

JANUARY = "2026-01-01"
ELSEWHERE = "on this; register another one under a new code instead"
BATCH, ORDER = D("137.5"), D("12.5")


def flakes(**changes: Any) -> dict[str, Any]:
    """Washed flakes from crates that the workshop is paid to take; a tenth of what is issued is lost."""
    crates = {
        "material": "crates",
        "quantity_per_piece": "1",
        "process_loss_share": "0.1",
        "reclaim_share": "0.25",
        "reclaimed_as": "hdpe",
    }
    washing = builders.operation(name="washing", cycle_minutes="0", units_per_hour="60", yield_share="0.9")
    return {"name": "Flakes", "unit": "kg", "bill_of_materials": [crates], "operations": [washing], **changes}


def by_the_hundred(**changes: Any) -> dict[str, Any]:
    """Flakes at a price per 100 kg, in orders of 12.5 kg."""
    batch = {"base_quantity": 100, "standard_batch": "137.5", "pieces_per_order": "12.5", "unit_price_per": "kg"}
    return builders.listing(product="flakes", **{**batch, **changes})


@pytest.fixture
def washery(furnished: Owner) -> Owner:
    """The workshop with crates at a gate fee, pools by the order and the setup, and flakes in force on a market."""
    put = furnished.register
    gate_fee = builders.material_rate("-0.20", disposal_cost=money("0.15"))
    put("materials/crates", builders.material(name="Crates"), **{JANUARY: gate_fee})
    regrind = builders.material_rate(reclaim_value=money("0.30"))
    furnished.put_rate("materials/hdpe", JANUARY, regrind)
    put("overheads/desk", {"name": "Order desk", "base": "order"}, **{JANUARY: builders.overhead_rate("90", "60")})
    put("overheads/tool-room", {"name": "Tools", "base": "setup"}, **{JANUARY: builders.overhead_rate("80", "40")})
    put("products/flakes", flakes())
    furnished.put("listings/flakes", by_the_hundred())
    applied(furnished)
    return furnished


def sheet_of(owner: Owner, code: str = "flakes", day: str = FIRST) -> ListingSheet:
    return price_listing(owner.workspace, code, ListingQuestion(as_of=date.fromisoformat(day)))


def fresh_cost(owner: Owner, day: str) -> str:
    """What a kilogram costs on the cost sheet of the batch, sold in eleven orders."""
    batch = Batch("flakes", BATCH, pieces_per_order=ORDER)
    return f"{cost_product(owner.workspace, batch, date.fromisoformat(day)).subtotals.full_cost.per_piece.amount:f}"


class TestAListing:
    def test_has_a_price_for_its_unit_and_says_so(self, washery: Owner) -> None:
        found = sheet_of(washery)

        assert (found.unit, found.quantity, found.pieces_per_order) == (Unit.KILOGRAM, BATCH, ORDER)
        formulas = {term.name: term.formula for term in found.price_per_piece.terms}
        assert formulas["full cost"] == "all lines of the cost sheet ÷ kg × 100"
        fee = next(each.formula for each in found.price_per_piece.fees if each.name == "payment")
        assert fee == "0.019 × gross with shipping + 0.3 × 100 ÷ 12.5"
        assert found.unit_price is not None
        assert found.unit_price.formula == "final price with tax ÷ 100"
        assert found.unit_price.content == 100
        (entry,) = price_list(washery.workspace, date.fromisoformat(FIRST))
        assert (entry.unit, entry.mass_kg, entry.pieces_per_order) == (Unit.KILOGRAM, 1, ORDER)
        assert entry.price == found.price_per_piece.price

    @pytest.mark.parametrize(
        ("changes", "problems"),
        [
            ({"standard_batch": "19.5"}, ["standard_batch: must be whole: pieces are not divided"]),
            ({"pieces_per_order": "2.5"}, ["pieces_per_order: must be whole: pieces are not divided"]),
            ({"pieces_per_order": 18, "base_quantity": 12}, ["pieces_per_order: must be a multiple of 12"]),
            ({"product": "flakes", "standard_batch": "137.0005"}, ["standard_batch: must have at most 3 decimals"]),
            ({"product": "pressing", "shipping_service": "post", "shipping_zone": "home"}, ["shipping_service: hours"]),
            ({"product": "pressing", "unit_price_per": "kg"}, ["unit_price_per: hours have no unit price; leave it"]),
            (
                {"product": "flakes", "unit_price_per": "m"},
                ["unit_price_per: a product by the kg has no price per m; name kg, or leave it out"],
            ),
            (
                {"unit_price_per": "l"},
                ["unit_price_per: a product by the piece has no price per l; name kg or m or m2 or m3, or leave it"],
            ),
        ],
    )
    def test_is_refused_where_its_product_cannot_be_sold_so(
        self, washery: Owner, changes: dict[str, Any], problems: list[str]
    ) -> None:
        washery.put("products/pressing", flakes(unit="hour", name="Pressing"))
        washery.register("shipping-services/post", builders.shipping_service())

        for register in (put_alone, put_in_a_document):
            with pytest.raises(InvalidValuesError) as error:
                register(washery, "listings/other", builders.listing(**changes))

            told = [f"{each.path[-1]}: {each.reason}" for each in error.value.problems]
            assert [each.startswith(problem) for each, problem in zip(told, problems, strict=True)] == [True]

    def test_keeps_the_unit_of_its_prices(self, washery: Owner) -> None:
        """Of prices in force, and of what it had before it was retired."""
        reason = "^product: is sold by the piece, but this has prices by the kg; list it under a new code$"
        by_the_piece = builders.listing(product="sheet")
        with pytest.raises(InvalidValuesError, match=reason):
            washery.put("listings/flakes", by_the_piece)
        washery.retire("listings/flakes")

        with pytest.raises(InvalidValuesError, match=reason):
            washery.put("listings/flakes", by_the_piece)
        washery.put("listings/flakes", by_the_hundred())

    def test_that_is_sent_has_its_part_of_the_exact_mass_of_an_order(self, washery: Owner) -> None:
        """12.5 kg and a carton of 0.8 kg; the first class ends at 13.3 kg."""
        sides = {"length_mm": "200", "width_mm": "140", "height_mm": "90"}
        change_facts(washery, "products/flakes", **sides)
        classes = [builders.weight_class("0", "13.3", "5"), builders.weight_class("13.3", "30", "9")]
        rate = builders.shipping_rate(zones={"home": classes}, divisor_cm3_per_kg=None, weight_step_kg=None)
        washery.register("shipping-services/post", builders.shipping_service(), **{JANUARY: rate})
        sent = {"shipping_service": "post", "shipping_zone": "home", "pieces_per_order": ORDER}

        found = washery.price("flakes", BATCH, base_quantity=100, **sent).price_per_piece

        assert found.shipping_cost.amount == 40
        (formula,) = [each.formula for each in found.terms if each.name == "shipping cost"]
        assert formula == "shipping 12.5 kg, as estimated, × 100 ÷ 12.5"

    def test_of_an_unknown_product_is_refused_for_that_alone(self, washery: Owner) -> None:
        for register in (put_alone, put_in_a_document):
            with pytest.raises(InvalidValuesError, match=r"product: there is no product 'nothing'; register it first$"):
                register(washery, "listings/other", builders.listing(product="nothing"))

    def test_of_a_product_sold_by_the_piece_has_whole_orders_on_a_price_sheet_too(self, furnished: Owner) -> None:
        with pytest.raises(InvalidValuesError, match=r"^pieces_per_order: must be whole: pieces are not divided$"):
            furnished.price(quantity=D(20), pieces_per_order=D("2.5"))


def put_alone(owner: Owner, path: str, body: Mapping[str, Any]) -> None:
    owner.put(path, body)


def put_in_a_document(owner: Owner, path: str, body: Mapping[str, Any]) -> None:
    collection, _, code = path.partition("/")
    facts = Written(facts=decoded(body, COLLECTIONS[collection].facts))
    register_document(owner.workspace, RegisterDocument(collections={collection: {code: facts}}, exchange_rates={}))


class TestRepricing:
    @pytest.mark.parametrize(
        ("path", "terms", "causes"),
        [
            ("materials/crates", builders.material_rate("-0.35", disposal_cost=money("0.40")), 2),
            ("materials/hdpe", builders.material_rate(reclaim_value=money("0.10")), 1),
            ("overheads/desk", builders.overhead_rate("150", "60"), 1),
            ("overheads/tool-room", builders.overhead_rate("10", "40"), 1),
            ("labour-grades/operator", builders.labour_rate("21.37"), 1),
        ],
    )
    def test_adds_up_to_what_the_cost_sheet_says_then(
        self, washery: Owner, path: str, terms: dict[str, Any], causes: int
    ) -> None:
        before = fresh_cost(washery, FIRST)
        washery.put_rate(path, MONDAY, terms)

        change = previewed(washery, include_unchanged=True).changes["flakes"]

        old, new = (change[name]["unit_cost"]["amount"] for name in ("old", "new"))
        assert (old, new) == (before, fresh_cost(washery, MONDAY))
        assert change["unit"] == "kg"
        found = effects(change)
        assert len(found) == causes
        assert sum(map(Decimal, found.values())) == Decimal(new) - Decimal(old)

    def test_by_another_order_size_moves_the_cost_by_the_pool_of_orders(self, washery: Owner) -> None:
        """An order desk at 1.50 an order: 0.12 a kilogram in orders of 12.5 kg, 0.06 in orders of 25 kg."""
        change_facts(washery, "listings/flakes", pieces_per_order="25")

        assert effects(previewed(washery).changes["flakes"]) == {"products/flakes product": "-0.060000"}


class TestWhatWasStoredInWholePieces:
    def test_is_read_and_repriced_as_before(self, furnished: Owner) -> None:
        """Whole numbers in listings and bills, bills and changes without a unit, as it was before there were units."""
        furnished.put("listings/sheets", builders.listing(standard_batch=20, pieces_per_order=4))
        applied(furnished)
        rewritten(furnished, registrations, "facts", "standard_batch", "pieces_per_order")
        rewritten(furnished, price_changes, "bill", "pieces")
        rewritten(furnished, price_changes, "change")
        with furnished.database.reading() as connection:
            ours = sa.select(price_changes.c.bill).where(price_changes.c.workshop_id == furnished.workshop_id)
            bill = connection.execute(ours).scalar_one()
        assert plain_data(bill)["pieces"] == 20
        assert "unit" not in plain_data(bill)

        furnished.put_rate("materials/hdpe", MONDAY, builders.material_rate("0.90"))
        change = previewed(furnished).changes["sheets"]
        found = sheet_of(furnished, "sheets", MONDAY)

        assert effects(change) == {"materials/hdpe rate": "1.010526"}  # 9.6 kg ÷ 0.95 × 0.10
        assert change["unit"] == "piece"
        assert (found.quantity, found.pieces_per_order) == (20, 4)
        assert applied(furnished, MONDAY).decisions == {"sheets": "changed"}

    def test_needs_no_change_to_be_registered_again(self, furnished: Owner) -> None:
        body = builders.listing(standard_batch=20, pieces_per_order=4)
        furnished.put("listings/sheets", body)
        rewritten(furnished, registrations, "facts", "standard_batch", "pieces_per_order")

        assert furnished.put("listings/sheets", body).action is None


def rewritten(owner: Owner, table: sa.Table, column: str, *whole: str) -> None:
    """Rewrite documents as they were: without the unit of a price, and with whole numbers in these members."""
    text, keys = sa.type_coerce(table.c[column], sa.Text), list(table.primary_key.columns)
    with owner.database.writing() as connection:
        ours = sa.select(*keys, text).where(table.c.workshop_id == owner.workshop_id)
        for *key, document in connection.execute(ours).all():
            data = plain_data(document)
            if table is price_changes:
                data.pop("unit")
            data |= {name: int(Decimal(data[name])) for name in whole if data.get(name) is not None}
            its = [each == value for each, value in zip(keys, key, strict=True)]
            then = sa.type_coerce(to_bytes(data).decode(), sa.Text)
            connection.execute(table.update().where(*its).values({table.c[column]: then}))


class TestAUnit:
    def test_of_a_product_is_fixed_by_its_listings_the_products_made_of_it_and_open_quotations(
        self, washery: Owner
    ) -> None:
        by_the_piece = flakes(unit="piece")
        pellets = [{"product": "flakes", "quantity_per_piece": "1"}]
        washery.put("products/pellets", flakes(name="Pellets", bill_of_materials=pellets))
        line = {"product": "flakes", "quantity": "2", "tax": "vat", "policy": builders.policy()}
        draft, declined = washery.quote(lines=[line]), washery.issued(lines=[line])

        def refusal(**changes: Any) -> str:
            with pytest.raises(InvalidValuesError) as error:
                washery.put("products/flakes", {**by_the_piece, **changes})
            return str(error.value)

        everything = f"listings/flakes, products/pellets, quotation {draft.id} and quotation {declined.number}"
        assert refusal() == f"unit: {everything} rest {ELSEWHERE}"
        with pytest.raises(InvalidValuesError, match=f"unit: {everything}"):
            put_in_a_document(washery, "products/flakes", by_the_piece)
        with pytest.raises(InvalidValuesError, match=f"facts/products/flakes/unit: {everything}"):
            washery.cost_supposed(facts={"products/flakes": by_the_piece})
        for path in ("listings/flakes", "products/pellets"):
            washery.retire(path)
        quotation_life.decline(washery.workspace, declined.id, DeclineRequest())
        assert refusal() == f"unit: quotation {draft.id} rests {ELSEWHERE}"
        quotation_life.discard(washery.workspace, draft.id)

        washery.put("products/flakes", by_the_piece)

    def test_of_a_material_is_fixed_by_the_products_that_name_it_even_without_rates(self, furnished: Owner) -> None:
        furnished.put("materials/paint", builders.material(name="Paint", unit="l"))
        for place in range(7):
            line = {"material": "paint", "quantity_per_piece": "0.1"}
            furnished.put(f"products/painted-{place}", builders.product(bill_of_materials=[line]))

        with pytest.raises(InvalidValuesError) as error:
            furnished.put("materials/paint", builders.material(name="Paint", unit="kg"))

        named = ", ".join(f"products/painted-{place}" for place in range(5))
        assert str(error.value) == f"unit: {named} and 2 more rest {ELSEWHERE}"

    def test_that_nothing_rests_on_may_change(self, furnished: Owner) -> None:
        furnished.put("products/loose", flakes(bill_of_materials=[], unit="kg"))

        furnished.put("products/loose", flakes(bill_of_materials=[], unit="m"))

        facts = registering.find_one(furnished.workspace, Thing("products", "loose")).facts
        assert getattr(facts, "unit", None) is Unit.METRE
