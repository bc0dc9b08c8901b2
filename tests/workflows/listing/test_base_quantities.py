"""Listings whose price is for 12, 100 or 1000 pieces, and those of which several are ordered together."""

from collections.abc import Mapping
from dataclasses import fields
from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from service.domain.listing.price_list import PriceListEntry
from service.domain.pricing.errors import UnreachableTargetError
from service.domain.pricing.price_statement import PriceStatement
from service.domain.values.errors import InvalidValuesError
from service.domain.values.money import Money
from service.workflows.listing import listings, repricing_records
from service.workflows.listing.listings import ListingQuestion, ListingSheet
from service.workflows.listing.price_list import ListedPrice, price_list
from service.workflows.shipping import ShippingLine, ShippingQuestion, estimate_shipping
from tests.api.repriced import DAY, MONDAY, made_of
from tests.domain.examples import TODAY
from tests.support import builders
from tests.support.furnishing import furnishes
from tests.workflows.listing.repriced import LATER, applied, effects, previewed, put_in_force
from tests.workflows.owner import Owner

SENT: dict[str, Any] = {"shipping_service": "post", "shipping_zone": "home"}


def euros(amount: str) -> Money:
    return Money(amount=Decimal(amount), currency="EUR")


def pegs(base: int = 100, **changes: Any) -> dict[str, Any]:
    return builders.listing(**{"product": "peg", "standard_batch": 2400, "base_quantity": base, **changes})


@pytest.fixture
@furnishes
def seller(owner: Owner) -> Owner:
    """A workshop with pegs of 30 g of resin at 4.00 EUR, 0.12 EUR a peg, and a product that is a dozen of them."""
    builders.register_shipping(owner)
    owner.register("materials/resin", builders.material(name="Resin"), **{DAY: builders.material_rate("4")})
    line = {"material": "resin", "quantity_per_piece": "0.03"}
    sides = {"length_mm": "60", "width_mm": "20", "height_mm": "30"}
    owner.put("products/peg", {"name": "Peg", "bill_of_materials": [line], "mass_kg": "0.03", **sides})
    dozen = {"length_mm": "720", "width_mm": "20", "height_mm": "30"}
    owner.put("products/dozen", made_of("peg", "12", mass_kg="0.36", **dozen))
    owner.put("listings/pegs", pegs())
    return owner


def asked(owner: Owner, code: str = "pegs", **question: Any) -> ListingSheet:
    return listings.price_listing(owner.workspace, code, ListingQuestion(as_of=TODAY, **question))


def listed(owner: Owner, prices: ListedPrice = ListedPrice.ASKED, day: date = TODAY) -> dict[str, PriceListEntry]:
    return {each.listing: each for each in price_list(owner.workspace, day, None, prices)}


def history(owner: Owner) -> list[tuple[str, int]]:
    """Price and base quantity, newest first, of what was not rolled back."""
    found = repricing_records.price_history(owner.workspace, "pegs", LATER, before=None, limit=100)
    return [(str(each.price.amount), each.base_quantity) for each in found if each.rolled_back_at is None]


class TestThePrice:
    def test_is_that_of_so_many_pieces_with_the_fees_of_one_order(self, seller: Owner) -> None:
        """100 pegs cost 12.00. With g the gross price: net 0.80 g, fees 0.065 g + 0.019 g + 0.30 EUR.

        Profit 0.8 g − 0.084 g − 0.30 − 12 = 0.35 × 0.8 g,  0.436 g = 12.30,  g = 28.211009.
        """
        seller.put_rate("taxes/vat", DAY, {"rate_share": "0.25"})

        found = asked(seller)

        price = found.price_per_piece
        assert (found.base_quantity, price.price, price.full_cost) == (100, euros("28.22"), euros("12.000000"))
        assert price.target_price == euros("28.211009")
        assert price.fee_total == euros("2.670480")
        assert price.batch_net_price == euros("541.82")  # 24 orders of 22.576
        assert found.formatted_price == "€28.22"
        assert {each.name: each.formula for each in price.terms}["full cost"] == (
            "all lines of the cost sheet ÷ pieces × 100"
        )

    @pytest.mark.parametrize(
        ("of_one", "of_twelve"),
        [
            (builders.policy(value="0.4", price_endings=["0.90"], never_below_amount="2.20"), {}),
            (builders.policy("markup", "1.3", price_step="0.05", rounding="nearest"), {}),
            (builders.policy("profit_per_piece", "6", cost_basis="variable_cost"), {"value": "0.5"}),
            (builders.policy("fixed_price", "3.99", never_below_cost="full_cost"), {}),
        ],
        ids=["margin", "markup", "profit per piece", "fixed price"],
    )
    @pytest.mark.parametrize("question", [{}, {"kept_at": Decimal(5)}, {"discount_share": Decimal("0.1")}])
    def test_for_twelve_is_that_of_a_product_twelve_times_as_big(
        self, seller: Owner, of_one: dict[str, Any], of_twelve: dict[str, Any], question: Mapping[str, Any]
    ) -> None:
        seller.put("listings/big", builders.listing(product="dozen", policy=of_one, unit_price_per="kg"))
        twelve = pegs(12, standard_batch=240, policy={**of_one, **of_twelve}, unit_price_per="kg")
        seller.put("listings/pegs", twelve)

        big, small = asked(seller, "big", **question), asked(seller, **question)

        for each in fields(PriceStatement):
            if each.name != "terms":
                assert getattr(small.price_per_piece, each.name) == getattr(big.price_per_piece, each.name), each.name
        amounts = [[term.amount for term in sheet.price_per_piece.terms] for sheet in (small, big)]
        assert amounts[0] == amounts[1]
        assert (small.discount, small.settlement, small.cash_price) == (big.discount, big.settlement, big.cash_price)
        assert small.unit_price is not None
        assert big.unit_price is not None
        assert (small.unit_price.price, small.unit_price.content) == (big.unit_price.price, big.unit_price.content)
        assert small.unit_price.formula == "final price with tax ÷ (mass_kg × 12)"

    def test_pays_for_the_shipping_of_all_of_them_in_one_order(self, seller: Owner) -> None:
        seller.put("listings/pegs", pegs(**SENT))
        lines = (ShippingLine(product="peg", quantity=100),)

        found = asked(seller)

        sent = estimate_shipping(
            seller.workspace, ShippingQuestion(service="post", zone="home", as_of=TODAY, lines=lines)
        )
        assert found.shipping is not None
        assert (found.shipping.price, found.shipping.parcels) == (sent.price, sent.parcels)
        assert found.price_per_piece.shipping_cost.amount == sent.workshop_price.amount
        assert found.price_per_piece.shipping_cost.amount > 0
        formulas = {each.name: each.formula for each in found.price_per_piece.terms}
        assert formulas["shipping cost"] == "shipping 100 pieces, as estimated"
        assert listed(seller)["pegs"].shipping_weight_kg == sent.mass_kg > 3

    def test_states_a_profit_per_piece_by_the_piece(self, seller: Owner) -> None:
        seller.put("listings/pegs", pegs(policy=builders.policy("profit_per_piece", "0.05")))

        formulas = {each.name: each.formula for each in asked(seller).price_per_piece.terms}

        assert "proceeds − full cost = 0.05 × 100" in formulas["target price"]

    def test_that_is_out_of_reach_says_what_a_piece_can_reach(self, seller: Owner) -> None:
        """Of the price above 20 the channel takes 0.85, and the tax 0.20."""
        bands = [{"up_to": "20"}, {"above": "20", "share": "0.85"}]
        fee = {"name": "commission", "bands": bands, "banding": "portion"}
        seller.put_rate("channels/quay-market", DAY, builders.channel_rate(fees=[fee]))
        seller.put("listings/pegs", pegs(policy=builders.policy("profit_per_piece", "0.5")))
        seller.put_rate("taxes/vat", DAY, {"rate_share": "0.25"})

        with pytest.raises(UnreachableTargetError) as refusal:
            asked(seller)

        assert (refusal.value.wanted, refusal.value.highest) == (Decimal("0.5"), Decimal("0.04"))  # (16 − 12) ÷ 100

    def test_and_its_pieces_are_in_the_price_list(self, seller: Owner) -> None:
        seller.put("listings/one", pegs(1))

        found = listed(seller)

        assert (found["pegs"].base_quantity, found["one"].base_quantity) == (100, 1)
        assert found["pegs"].price == asked(seller).price_per_piece.price


class TestSeveralInOneOrder:
    """Three pegs ordered together, at a price for one."""

    def test_share_the_fixed_fees_of_the_order(self, seller: Owner) -> None:
        """A peg costs 0.12. Profit 0.8 g − 0.084 g − 0.30 ÷ 3 − 0.12 = 0.35 × 0.8 g,  0.436 g = 0.22,  g = 0.504587."""
        seller.put_rate("taxes/vat", DAY, {"rate_share": "0.25"})
        seller.put("listings/pegs", pegs(1, pieces_per_order=3))

        found = asked(seller)

        price = found.price_per_piece
        assert (found.base_quantity, found.pieces_per_order, price.price) == (1, 3, euros("0.51"))
        assert price.target_price == euros("0.504587")
        assert {each.name: each.formula for each in price.fees}["payment"] == "0.019 × gross with shipping + 0.3 ÷ 3"
        assert listed(seller)["pegs"].pieces_per_order == 3

    @pytest.mark.parametrize("payer", [{}, {"shipping_paid_by": "buyer"}, {"shipping_charge": "4.90"}])
    def test_keep_a_part_each_of_what_they_keep_sold_as_one(self, seller: Owner, payer: dict[str, str]) -> None:
        bands = [{"up_to": "9", "share": "0.1", "fixed": "0.5"}, {"above": "9", "share": "0.05"}]
        fees = [
            {"name": "commission", "bands": bands, "tax_share": "0.2"},
            {"name": "steps", "bands": [{"up_to": "4", "share": "0.1"}, {"above": "4"}], "banding": "portion"},
            {"name": "payment", "share": "0.02", "minimum": "0.30", "maximum": "6", "base": "gross_with_shipping"},
        ]
        paid_by = {"shipping_paid_by": "buyer", **payer} if payer else {}
        seller.put_rate("channels/quay-market", DAY, builders.channel_rate(fees=fees, **paid_by))
        for price in ("0.75", "0.76", "9.00", "27.00"):
            twelve = Decimal(price) * 12
            seller.put(
                "listings/pegs", pegs(1, pieces_per_order=12, policy=builders.policy("fixed_price", price), **SENT)
            )
            policy = builders.policy("fixed_price", str(twelve))
            seller.put("listings/dozen", pegs(12, standard_batch=240, policy=policy, **SENT))

            one, together = asked(seller).price_per_piece, asked(seller, "dozen").price_per_piece

            for name in ("fee_total", "shipping_cost", "net_shipping_charge", "proceeds", "profit"):
                found, expected = (getattr(each, name).amount for each in (one, together))
                assert abs(found * 12 - expected) < Decimal("0.0001"), (price, name)
            assert "12 pieces, as estimated, ÷ 12" in str(one.terms)

    def test_are_packed_together(self, seller: Owner) -> None:
        seller.put("listings/pegs", pegs(1, pieces_per_order=30, **SENT))
        seller.put("listings/one", pegs(1, **SENT))

        together, alone = asked(seller), asked(seller, "one")

        assert together.shipping is not None
        assert alone.shipping is not None
        assert together.price_per_piece.shipping_cost.amount * 10 < alone.price_per_piece.shipping_cost.amount
        assert listed(seller)["pegs"].shipping_weight_kg == together.shipping.mass_kg > alone.shipping.mass_kg

    def test_are_repriced_and_planned_at_the_price_of_the_sheet(self, seller: Owner) -> None:
        seller.put("listings/pegs", pegs(1, pieces_per_order=3))
        seller.put("listings/one", pegs(1))

        changes = applied(seller).changes
        (line,) = seller.plan_month(lines=[{"listing": "pegs", "pieces": 5000}]).lines

        assert changes["pegs"]["new"]["price"]["amount"] == str(asked(seller).price_per_piece.price.amount)
        assert changes["pegs"]["new"]["price"]["amount"] < changes["one"]["new"]["price"]["amount"]
        assert line.price == asked(seller).price_per_piece.price

    def test_of_a_product_in_a_plan_are_spread_too(self, seller: Owner) -> None:
        sold = {"product": "peg", "standard_batch": 240, "pieces": 12, "price": "1.00", "channel": "quay-market"}

        one, three = seller.plan_month(lines=[sold, {**sold, "pieces_per_order": 3}]).lines

        assert three.proceeds.amount - one.proceeds.amount == Decimal("0.2")

    def test_sent_by_the_workshop_itself_share_the_shipping(self, seller: Owner) -> None:
        sold = {"product": "peg", "standard_batch": 240, "pieces": 12, "price": "9.00", **SENT}

        one, three = seller.plan_month(lines=[sold, {**sold, "pieces_per_order": 3}]).lines

        assert three.proceeds.amount > one.proceeds.amount

    @pytest.mark.parametrize(
        ("changes", "member", "reason"),
        [
            ({"pieces_per_order": 18, "base_quantity": 12}, "pieces_per_order", "a multiple of 12"),
            ({"pieces_per_order": 2401}, "standard_batch", "at least the 2401 of an order"),
        ],
    )
    def test_are_refused_if_nobody_could_order_or_make_them(
        self, seller: Owner, changes: dict[str, int], member: str, reason: str
    ) -> None:
        with pytest.raises(InvalidValuesError, match=reason) as refusal:
            seller.put("listings/pegs", pegs(**{"base": 1, **changes}))

        assert [each.path for each in refusal.value.problems] == [(member,)]


class TestRepricing:
    def test_finds_the_price_of_the_price_sheet_and_causes_that_add_up(self, seller: Owner) -> None:
        """A peg of 30 g costs 0.015 more if a kilogram costs 0.50 more."""
        first = applied(seller).changes["pegs"]
        assert first["new"]["price"]["amount"] == str(asked(seller).price_per_piece.price.amount)
        seller.put_rate("materials/resin", MONDAY, builders.material_rate("4.50"))

        change = previewed(seller).changes["pegs"]

        old, new = change["old"], change["new"]
        assert (old["base_quantity"], new["base_quantity"]) == (100, 100)
        assert (old["unit_cost"]["amount"], new["unit_cost"]["amount"]) == ("0.120000", "0.135000")
        assert effects(change) == {"materials/resin rate": "0.015000"}
        assert new["margin_share"] > "0.35"
        assert change["kept_margin_share"] < "0.30"
        assert history(seller) == [(old["price"]["amount"], 100)]

    @pytest.mark.parametrize("rules", [{}, {"least_move_share": "0.5"}])
    def test_replaces_a_price_for_another_base_quantity_and_compares_by_the_piece(
        self, seller: Owner, rules: dict[str, str]
    ) -> None:
        seller.put("listings/pegs", pegs(1, policy=builders.policy("fixed_price", "0.50")))
        first = applied(seller)
        for price, move in (("50.00", "0.000000"), ("45.00", "-0.100000")):
            seller.put("listings/pegs", pegs(policy=builders.policy("fixed_price", price)))

            change = previewed(seller, rules=rules).changes["pegs"]

            assert (change["decision"], change["move_share"]) == ("changed", move)
            assert (change["kept_margin_share"], change["effects"]) == (None, [])
            assert (change["old"]["base_quantity"], change["new"]["base_quantity"]) == (1, 100)
        assert listed(seller, ListedPrice.IN_FORCE)["pegs"].problem == (
            "no price in its currency and base quantity is in force on that day; apply a repricing first"
        )
        second = applied(seller, MONDAY)
        assert listed(seller, ListedPrice.IN_FORCE, date.fromisoformat(MONDAY))["pegs"].price == euros("45.00")
        assert history(seller) == [("45.00", 100), ("0.50", 1)]
        assert second.id is not None
        seller.roll_back(second.id)
        assert history(seller) == [("0.50", 1)]
        assert previewed(seller).changes["pegs"]["old"] == {
            **first.changes["pegs"]["new"],
            "as_of": "2026-11-25",
            "repricing": str(first.id),
        }

    def test_holds_such_a_price_if_a_piece_moves_too_far(self, seller: Owner) -> None:
        seller.put("listings/pegs", pegs(1, policy=builders.policy("fixed_price", "0.50")))
        applied(seller)
        seller.put("listings/pegs", pegs(policy=builders.policy("fixed_price", "60")))

        change = put_in_force(seller, MONDAY, rules={"greatest_move_share": "0.1"})

        assert change.figures.summary.held == 1

    def test_keeps_a_price_for_many_pieces_that_hardly_moves(self, seller: Owner) -> None:
        applied(seller)
        seller.put_rate("materials/resin", MONDAY, builders.material_rate("3.99"))

        change = previewed(seller, include_unchanged=True, rules={"least_move_share": "0.05"}).changes["pegs"]

        assert change["decision"] == "kept"


class TestAMonth:
    def test_counts_pieces_each_with_its_part_of_the_price(self, seller: Owner) -> None:
        price = asked(seller).price_per_piece

        (line,) = seller.plan_month(lines=[{"listing": "pegs", "pieces": 5000}]).lines

        assert (line.price, line.base_quantity) == (price.price, 100)
        assert abs(line.net_price.amount * 100 - price.net_price.amount) < Decimal("0.0001")
        assert abs(line.proceeds.amount * 100 - price.proceeds.amount) < Decimal("0.0001")
        assert line.variable_cost == euros("0.120000")
        assert abs(line.sales.amount - price.net_price.amount * 50) <= Decimal("0.005")

    def test_refuses_a_batch_smaller_than_the_base_quantity(self, seller: Owner) -> None:
        with pytest.raises(InvalidValuesError, match="at least the 100 that the price is for") as refusal:
            seller.plan_month(lines=[{"listing": "pegs", "pieces": 1, "standard_batch": 99}])

        assert [each.path for each in refusal.value.problems] == [("lines", 0, "standard_batch")]
