"""Prices through sales channels, each worked out so that a pocket calculator confirms it."""

from decimal import Decimal
from typing import Any

import pytest

from service.domain.pricing.aim import Aim
from service.domain.pricing.errors import UnreachableTargetError
from service.domain.pricing.price import Pricing
from service.domain.pricing.price_statement import PriceStatement, discount_statement, price_statement
from service.domain.selling.channels import ChannelRate, Display
from service.domain.selling.sale import OrderShare, sale_through
from service.domain.values.exact import exactly
from service.domain.values.unit_costs import UnitCosts
from service.encoding import decoded
from tests.domain.examples import a_policy
from tests.support import builders


def pricing(
    *fees: dict[str, Any],
    full: str,
    variable: str | None = None,
    tax: str = "0",
    display: Display = Display.TAX_INCLUSIVE,
    rate: str = "1",
    is_converted: bool = False,
    shipping_cost: str = "0",
    currency: str = "EUR",
    terms: dict[str, Any] | None = None,
    **policy: Any,
) -> Pricing:
    """The prices of a piece at this cost through a channel with these fees."""
    cost = Decimal(variable or full)
    sale = sale_through(
        decoded({"currency": "EUR", "fees": [builders.fee(**fee) for fee in fees], **(terms or {})}, ChannelRate),
        display=display,
        tax_share=Decimal(tax),
        convert=lambda amount: amount * Decimal(rate),
        is_converted=is_converted,
        order=OrderShare(Decimal(shipping_cost)),
    )
    costs = UnitCosts(variable=cost, full=Decimal(full), shown_variable=cost)
    return Pricing(exactly(Aim)(a_policy(**policy), sale, currency), costs)


def stated(found: Pricing, kept_at: str | None = None) -> PriceStatement:
    """The statement of the asked price, or of a given price."""
    price = found.asked() if kept_at is None else found.kept_at(Decimal(kept_at))
    policy = found.policy if kept_at is None else None
    return price_statement(price, policy, quantity=10, currency="EUR")


def amounts(statement: PriceStatement) -> dict[str, str]:
    """Every term from the net price on, by name."""
    names = [term.name for term in statement.terms]
    return {term.name: str(term.amount.amount) for term in statement.terms[names.index("net price") :]}


def formulas(statement: PriceStatement) -> dict[str, str]:
    return {term.name: term.formula for term in statement.terms}


class TestCommissionAndPaymentFeeWithTheTaxInThePrice:
    """Fees of 6.5 %, and of 1.9 % + 0.30, of the gross price G, which contains 21 % tax; cost 20, target margin 0.3.

    G ÷ 1.21 − 0.065 G − 0.019 G − 0.30 − 20 = 0.3 × G ÷ 1.21, times 1.21:
    (1 − 0.3 − 1.21 × 0.084) × G = 1.21 × 20.30, so 0.59836 × G = 24.563 and G = 41.0505…
    """

    found = pricing(
        {}, {"name": "payment", "share": "0.019", "fixed": "0.30"}, full="20", tax="0.21", target="margin", value="0.3"
    )

    def test_asks_41_06(self) -> None:
        price = stated(self.found)

        assert str(price.price) == "41.06 EUR"
        assert str(price.target_price) == "41.050538 EUR"
        assert formulas(price)["target price"].startswith(
            "the lowest at which proceeds − full cost = 0.3 × net price: 24.563 ÷ 0.59836, fixed amounts with tax ÷ "
            "share you keep of each euro of the net price after fees and margin"
        )

    def test_the_sheet_shows_what_becomes_of_both_fees(self) -> None:
        price = stated(self.found)

        assert amounts(price) == {
            "net price": "33.933884",  # 41.06 ÷ 1.21
            "tax": "7.126116",  # 41.06 − 33.933884
            "commission": "2.668900",  # 0.065 × 41.06
            "payment": "1.080140",  # 0.019 × 41.06 + 0.30
            "proceeds": "30.184844",  # 33.933884 − 2.6689 − 1.08014
            "profit": "10.184844",
            "contribution": "10.184844",
        }
        assert price.margin_share == Decimal("0.300138")  # 10.184844 ÷ 33.933884

    def test_where_a_cent_less_would_not_do(self) -> None:
        price = stated(self.found, kept_at="41.05")

        assert price.margin_share == Decimal("0.299992")  # 33.925620 − 3.7482 − 20 = 10.177420, ÷ 33.925620
        assert str(price.break_even_price) == "27.35 EUR"  # 24.563 ÷ (1 − 0.10164) = 27.3420…


STEPPED = {"share": "0", "bands": [{"up_to": "20", "share": "0.05"}, {"above": "20", "share": "0.15"}]}


class TestAStepUpOfTheCommissionAt20:
    """5 % of a price up to 20, 15 % of the whole of a higher price; a piece costs 15, the target margin is 0.2.

    Up to 20: 0.95 x − 15 = 0.2 x at x = 15 ÷ 0.75 = 20. Above: 0.85 x − 15 = 0.2 x at x = 15 ÷ 0.65 = 23.0769…
    """

    def test_asks_20_where_the_target_is_met_and_just_above_it_is_not(self) -> None:
        found = pricing(STEPPED, full="15", target="margin", value="0.2")

        assert str(stated(found).price) == "20.00 EUR"
        assert stated(found).margin_share == Decimal("0.2")
        # 20.01 × 0.85 − 15 = 2.0085, ÷ 20.01; 23.07 × 0.85 − 15 = 4.6095, ÷ 23.07; 23.08 × 0.85 − 15 = 4.618, ÷ 23.08
        for price, margin in {"20.01": "0.100375", "23.07": "0.199805", "23.08": "0.200087"}.items():
            assert stated(found, kept_at=price).margin_share == Decimal(margin)

    def test_asks_23_08_where_20_is_not_allowed(self) -> None:
        for floor in ("20.01", "22"):
            found = pricing(STEPPED, full="15", target="margin", value="0.2", never_below_amount=floor)
            assert str(stated(found).price) == "23.08 EUR"

    def test_asks_a_price_with_an_ending_on_either_side_of_the_step(self) -> None:
        """The profit at 19.90 is 19.90 × 0.95 − 15 = 3.905, a margin of 0.1962; at 24.90 it is 6.165, or 0.2475."""
        found = pricing(STEPPED, full="15", target="margin", value="0.2", price_step="5", price_endings=["4.90"])

        assert str(stated(found).price) == "24.90 EUR"

    def test_names_the_floor_that_raised_the_price_and_not_the_one_below_the_step(self) -> None:
        """A full cost of 18 is covered from 18 ÷ 0.95 = 18.947… to 20, and again from 18 ÷ 0.85 = 21.176… on."""
        found = pricing(STEPPED, full="18", target="fixed_price", value="20.50", never_below_cost="full_cost")

        price = stated(found)

        assert (str(price.price), str(price.floor_price)) == ("21.18 EUR", "18.95 EUR")
        assert {term.name: str(term.amount) for term in price.terms}["floor price"] == "21.180000 EUR"
        assert price.is_raised_to_floor


class TestAStepDownOfTheCommissionAt10:
    """20 % of a price up to 10, 10 % of the whole of a higher price; a piece costs 7.50, the target profit is 1.

    Up to 10, 8.50 ÷ 0.8 = 10.625 would be needed, which is above 10; above it 8.50 ÷ 0.9 = 9.44…, so any price will do.
    """

    found = pricing(
        {"share": "0", "bands": [{"up_to": "10", "share": "0.2"}, {"above": "10", "share": "0.1"}]},
        full="7.50",
        target="profit_per_piece",
        value="1",
    )

    def test_asks_the_least_price_above_the_step(self) -> None:
        price = stated(self.found)

        assert str(price.price) == "10.01 EUR"
        assert amounts(price)["profit"] == "1.509000"  # 10.01 × 0.9 − 7.50
        assert formulas(price)["target price"].endswith("= 1, just above a step in the fees")

    def test_of_what_the_workshop_is_paid_to_take_is_not_below_0(self) -> None:
        found = pricing({"share": "0.1"}, full="-2", target="markup", value="0.2")

        price = stated(found)

        assert str(price.target_price) == "0.000000 EUR"
        assert formulas(price)["target price"] == "the lowest from 0 up at which proceeds − full cost ≥ 0.2 × full cost"

    def test_at_the_step_itself_too_little_is_kept(self) -> None:
        assert amounts(stated(self.found, kept_at="10"))["profit"] == "0.500000"  # 10 × 0.8 − 7.50


class TestAStepDownInPricesShownWithoutTax:
    """The same step at 12.50 gross, which is 10 without the tax of 25 %; cost 7.50, target profit 0.50.

    Up to 10: N − 0.2 × 1.25 N = 8 at N = 10.66…, above 10; above: N − 0.1 × 1.25 N = 8 at N = 9.14…
    """

    def test_asks_the_least_price_above_the_step(self) -> None:
        found = pricing(
            {"share": "0", "bands": [{"up_to": "12.50", "share": "0.2"}, {"above": "12.50", "share": "0.1"}]},
            full="7.50",
            tax="0.25",
            display=Display.TAX_EXCLUSIVE,
            target="profit_per_piece",
            value="0.50",
        )

        price = stated(found)

        assert (str(price.price), str(price.target_price)) == ("10.01 EUR", "10.010000 EUR")
        assert amounts(price)["profit"] == "1.258750"  # 10.01 × 0.875 − 7.50


class TestAMinimumFeeOnACheapPiece:
    """10 %, at least 1.00; cost 3, target profit 2: x − 1 = 5 at x = 6, where 10 % would be 0.60."""

    found = pricing({"share": "0.1", "minimum": "1.00"}, full="3", target="profit_per_piece", value="2")

    def test_asks_6_00(self) -> None:
        price = stated(self.found)

        assert str(price.price) == "6.00 EUR"
        assert amounts(price) == {
            "net price": "6.000000",
            "tax": "0.000000",
            "commission": "1.000000",
            "proceeds": "5.000000",
            "profit": "2.000000",
            "contribution": "2.000000",
        }
        assert formulas(price)["commission"] == "0.1 × gross price, at least 1"


class TestAMaximumFeeOnADearPiece:
    """12 %, at most 30, and 21 % tax on the fee; a piece costs 400, the target markup is 0.25.

    12 % reach 30 at 250, so x − 30 × 1.21 = 500 at x = 536.30; without the limit it would be 500 ÷ 0.8548 = 584.93.
    """

    found = pricing({"share": "0.12", "maximum": "30", "tax_share": "0.21"}, full="400", target="markup", value="0.25")

    def test_asks_536_30(self) -> None:
        price = stated(self.found)

        assert str(price.price) == "536.30 EUR"
        assert amounts(price)["commission"] == "36.300000"
        assert price.markup_share == Decimal("0.25")
        assert formulas(price)["commission"] == "(0.12 × gross price, at most 30) × (1 + 0.21)"


class TestShippingThatTheBuyerPaysUnderAFeeOnBoth:
    """10 % of price and shipping charge; the charge is 6.05 (5.00 and 21 % tax), shipping costs 5.50.

    Cost 10, target profit 3: G ÷ 1.21 + 5.00 − 0.1 × (G + 6.05) − 5.50 = 13, times 1.21:
    (1 − 0.121) × G = 1.21 × (13 + 0.50 + 0.605), so 0.879 × G = 17.06705 and G = 19.4164…
    """

    found = pricing(
        {"share": "0.1", "base": "gross_with_shipping"},
        full="10",
        tax="0.21",
        shipping_cost="5.50",
        terms={"shipping_paid_by": "buyer", "shipping_charge": "6.05"},
        target="profit_per_piece",
        value="3",
    )

    def test_asks_19_42(self) -> None:
        price = stated(self.found)

        assert str(price.price) == "19.42 EUR"
        assert str(price.target_price) == "19.416439 EUR"
        assert amounts(price) == {
            "net price": "16.049587",  # 19.42 ÷ 1.21
            "tax": "3.370413",
            "commission": "2.547000",  # 0.1 × 25.47
            "shipping cost": "5.500000",
            "net shipping charge": "5.000000",  # 6.05 ÷ 1.21
            "proceeds": "13.002587",  # 16.049587 + 5 − 2.547 − 5.5
            "profit": "3.002587",
            "contribution": "3.002587",
        }
        assert str(price.shipping_charge) == "6.050000 EUR"
        assert formulas(price)["proceeds"] == "net price + net shipping charge − fees − conversion cost − shipping cost"

    def test_states_the_base_of_the_fee(self) -> None:
        (fee,) = stated(self.found).fees

        assert (str(fee.base_amount), fee.formula) == ("25.470000 EUR", "0.1 × gross with shipping")


class TestPayoutInAnotherCurrency:
    """A fee of 8 %, and 2.5 % of the converted payout; a piece costs 20, the target margin is 0.25.

    x − 0.08 x − 0.025 × 0.92 x − 20 = 0.25 x, so 0.647 x = 20 and x = 30.9119…
    """

    found = pricing(
        {"share": "0.08"},
        full="20",
        is_converted=True,
        terms={"conversion_spread_share": "0.025"},
        target="margin",
        value="0.25",
    )

    def test_asks_30_92(self) -> None:
        price = stated(self.found)

        assert str(price.price) == "30.92 EUR"
        assert amounts(price) == {
            "net price": "30.920000",
            "tax": "0.000000",
            "commission": "2.473600",  # 0.08 × 30.92
            "conversion cost": "0.711160",  # 0.025 × (30.92 − 2.4736)
            "proceeds": "27.735240",
            "profit": "7.735240",
            "contribution": "7.735240",
        }
        assert formulas(price)["conversion cost"] == "(gross price + shipping charge − fees) × 0.025"

    def test_may_be_asked_for_less_than_the_fees_at_a_loss_that_is_allowed(self) -> None:
        """x − 1 = −0.90 at x = 0.10: nothing is paid out, so nothing is converted."""
        found = pricing(
            {"share": "0", "fixed": "1"},
            full="0",
            is_converted=True,
            terms={"conversion_spread_share": "0.5"},
            target="profit_per_piece",
            value="-0.90",
        )

        assert str(stated(found).price) == "0.10 EUR"

    def test_converts_nothing_where_the_fees_are_more_than_the_price(self) -> None:
        found = pricing(
            {"share": "0", "fixed": "1"},
            full="0",
            is_converted=True,
            terms={"conversion_spread_share": "0.025"},
            target="fixed_price",
            value="0.40",
        )

        price = amounts(stated(found))

        assert (price["conversion cost"], price["proceeds"]) == ("0.000000", "-0.600000")


class TestPortions:
    """10 % of the part up to 10, 5 % of the part from 10 to 40, nothing of the rest; the target profit is 5.

    A piece costs 30: x − 1 − 0.05 × (x − 10) = 35, so 0.95 x = 35.50 and x = 37.3684…
    A piece costs 60: x − 1 − 1.50 = 65 at x = 67.50.
    """

    @staticmethod
    def found(full: str) -> Pricing:
        bands = [{"up_to": "10", "share": "0.1"}, {"above": "10", "up_to": "40", "share": "0.05"}, {"above": "40"}]
        fee = {"share": "0", "banding": "portion", "bands": bands}
        return pricing(fee, full=full, target="profit_per_piece", value="5")

    def test_each_apply_to_their_part_of_the_price(self) -> None:
        price = stated(self.found("30"))

        assert str(price.price) == "37.37 EUR"
        assert amounts(price)["commission"] == "2.368500"  # 1 + 0.05 × 27.37
        assert formulas(price)["commission"] == (
            "0.1 × the gross price from 0 to 10 + 0.05 × the gross price from 10 to 40"
        )

    def test_at_a_price_of_0_name_the_first(self) -> None:
        price = stated(self.found("60"), kept_at="0")

        assert formulas(price)["commission"] == "0.1 × the gross price from 0 to 10"

    def test_all_apply_to_a_dear_piece(self) -> None:
        price = stated(self.found("60"))

        assert str(price.price) == "67.50 EUR"
        assert amounts(price)["commission"] == "2.500000"
        assert formulas(price)["commission"].endswith(" + 0 × the gross price above 40")

    def test_with_a_single_band_are_shown_without_an_end(self) -> None:
        fee = {"share": "0", "banding": "portion", "bands": [{"share": "0.1"}]}

        price = stated(pricing(fee, full="9", target="profit_per_piece", value="0"))

        assert str(price.price) == "10.00 EUR"
        assert formulas(price)["commission"] == "0.1 × the gross price as a whole"


class TestAmountsOfTheTermsInTheCurrencyOfSale:
    """The band ends at 10 in the terms' currency, which is 12.50 in the sale's; 0.30 becomes 0.375.

    Up to 12.50: 0.9 x − 0.375 = 8 at x = 9.3055…, below the end of the band; above it there is no fee.
    """

    def test_are_converted_unrounded(self) -> None:
        fee = {"share": "0", "bands": [{"up_to": "10", "share": "0.1", "fixed": "0.30"}, {"above": "10"}]}

        found = pricing(fee, full="8", rate="1.25", target="markup", value="0")

        assert str(stated(found).price) == "9.31 EUR"
        assert formulas(stated(found))["commission"] == "0.1 × gross price + 0.375"
        assert amounts(stated(found, kept_at="12.50"))["commission"] == "1.625000"  # 1.25 + 0.375
        assert formulas(stated(found, kept_at="12.51"))["commission"] == "nothing"


class TestANetDisplay:
    """The price is shown without its tax of 25 %: 10 % of the gross price are 0.125 of it, 10 % of the net price 0.1.

    (1 − 0.125 − 0.1) × N = 15.50 at N = 20.
    """

    def test_asks_20_without_tax_and_25_with_it(self) -> None:
        found = pricing(
            {"share": "0.1"},
            {"name": "listing", "share": "0.1", "base": "net_price"},
            full="12.50",
            tax="0.25",
            display=Display.TAX_EXCLUSIVE,
            target="profit_per_piece",
            value="3",
        )

        price = stated(found)

        assert (str(price.price), str(price.gross_price)) == ("20.00 EUR", "25.000000 EUR")
        assert [str(fee.amount.amount) for fee in price.fees] == ["2.500000", "2.000000"]
        assert amounts(price)["profit"] == "3.000000"
        # (1 + 0.25) × 15.50 = 19.375; 1 − 1.25 × 0.1 − 0.1 = 0.775 of each unit of the gross price; 19.375 ÷ 0.775 = 25
        assert ": 19.375 ÷ 0.775 ÷ 1.25," in formulas(price)["target price"]


class TestADiscount:
    """10 % commission, variable cost 8: the floor is 8 ÷ 0.9 = 8.88…, rounded up to 8.89.

    A fifth less than 11.11 is 8.888, rounded to 8.89; a fifth less than 11.10 is 8.88.
    """

    found = pricing({"share": "0.1"}, full="10", variable="8", target="markup", value="0")

    def test_of_a_fifth_is_borne_by_11_11(self) -> None:
        discount = discount_statement(self.found.discount(Decimal("11.12"), Decimal("0.2")), "EUR")

        assert str(discount.least_price) == "11.11 EUR"
        assert str(discount.least_price_discounted) == "8.89 EUR"
        assert str(discount.discounted_price) == "8.90 EUR"  # 8.896
        assert str(discount.profit) == "-1.990000 EUR"  # 8.90 × 0.9 − 10
        assert discount.margin_share == Decimal("-0.223596")  # −1.99 ÷ 8.90
        assert not discount.is_below_floor

    def test_that_leaves_too_little_is_reported(self) -> None:
        discount = self.found.discount(Decimal("11.10"), Decimal("0.2"))

        assert (discount.discounted.asked, discount.discounted.is_below_floor) == (Decimal("8.88"), True)

    def test_is_borne_by_a_price_of_the_grid_whose_discounted_price_is_above_a_step_of_the_fees(self) -> None:
        """A variable cost of 18 is covered from 18.95 to 20 and from 21.18 on."""
        for step, least in {
            "40": "40",  # half of it is 20
            "41": "82",  # half of it is 20.50, between the two
            "37": "74",  # half of it is 18.50, below both
        }.items():
            found = pricing(STEPPED, full="18", target="markup", value="0", price_step=step)
            assert found.discount(Decimal(0), Decimal("0.5")).least_price == Decimal(least)

    def test_is_borne_by_none_where_no_price_keeps_to_the_floor(self) -> None:
        """40 % of the gross price, which contains 100 % tax: 0.5 − 0.6 is left of each unit."""
        found = pricing({"share": "0.6"}, full="10", tax="1", target="fixed_price", value="5")

        discount = discount_statement(found.discount(Decimal(5), Decimal("0.1")), "EUR")

        assert (discount.least_price, discount.least_price_discounted) == (None, None)
        assert discount.is_below_floor
        assert stated(found).floor_price is stated(found).break_even_price is None


class TestATargetOutOfReach:
    def test_is_refused_with_the_limit_that_ever_higher_prices_approach(self) -> None:
        """Half of the gross price, which contains 25 % tax: 1.25 gross is 1 net and leaves at most 0.375."""
        found = pricing({"share": "0.5"}, full="3", tax="0.25", target="margin", value="0.4")

        with pytest.raises(UnreachableTargetError) as error:
            found.asked()

        assert (error.value.target, error.value.wanted) == ("margin", Decimal("0.4"))
        assert error.value.highest == error.value.highest_margin_share == Decimal("0.375")
        assert error.value.at_price is None
        assert str(error.value) == (
            "a margin of 40 % cannot be reached: fees are too high for it at any price; the most is just below 37.5 %"
        )

    def test_is_refused_with_the_price_that_reaches_the_most(self) -> None:
        """5 % up to 20 and 90 % above: at 20, 19 − 12 = 7 is a margin of 0.35; above, 0.1 at most."""
        fee = {"share": "0", "bands": [{"up_to": "20", "share": "0.05"}, {"above": "20", "share": "0.9"}]}

        with pytest.raises(UnreachableTargetError) as error:
            pricing(fee, full="12", target="margin", value="0.4").asked()

        assert (error.value.highest, error.value.at_price) == (Decimal("0.35"), 20)
        assert str(error.value).endswith("the most is 35 %, at a price of 20.00")

    def test_names_a_price_that_can_be_asked_where_the_step_lies_between_two(self) -> None:
        """9.99 net is 12.0879 gross: 12.08 leaves (9.983471 × 0.9 − 3) ÷ 9.983471, and 12.09 is beyond the step."""
        bands = [{"up_to": "9.99", "share": "0.1"}, {"above": "9.99", "share": "0.5"}]
        found = pricing(
            {"share": "0", "base": "net_price", "bands": bands}, full="3", tax="0.21", target="margin", value="0.9"
        )

        with pytest.raises(UnreachableTargetError) as error:
            found.asked()

        assert (error.value.highest, error.value.at_price) == (Decimal("0.599503"), Decimal("12.08"))

    def test_names_the_most_above_the_floor_where_the_floor_prevents_it(self) -> None:
        """A margin of 0.2 would be met at 10, but the floor is 11, and above 10 the fee is nine tenths."""
        fee = {"share": "0", "bands": [{"up_to": "10", "share": "0.1"}, {"above": "10", "share": "0.9"}]}
        found = pricing(fee, full="3", target="margin", value="0.2", never_below_amount="11")

        with pytest.raises(UnreachableTargetError) as error:
            found.asked()

        assert (error.value.highest, error.value.at_price) == (Decimal("0.1"), None)

    def test_names_the_most_on_the_grid_where_the_grid_prevents_it(self) -> None:
        """At 100, the grid's first price above 0, the fee is 90 and the profit 10 − 3."""
        fee = {"share": "0", "bands": [{"up_to": "10", "share": "0.1"}, {"above": "10", "share": "0.9"}]}
        found = pricing(fee, full="3", target="margin", value="0.2", price_step="100")

        with pytest.raises(UnreachableTargetError) as error:
            found.asked()

        assert error.value.highest == Decimal("0.1")

    def test_computes_the_end_of_a_band_with_the_fee_of_that_band(self) -> None:
        """At 20 the fee is half and the profit 10 − 1; above 20 the fee is a tenth, but the grid's next price is 40."""
        bands = [
            {"up_to": "20", "share": "0.5"},
            {"above": "20", "up_to": "30", "share": "0.1"},
            {"above": "30", "share": "0.9"},
        ]
        found = pricing({"share": "0", "bands": bands}, full="1", target="margin", value="0.6", price_step="20")

        with pytest.raises(UnreachableTargetError) as error:
            found.asked()

        assert (error.value.highest, error.value.at_price) == (Decimal("0.45"), 20)

    @pytest.mark.parametrize(("target", "value"), [("markup", "0.5"), ("profit_per_piece", "2")])
    def test_names_the_most_in_the_targets_own_measure_and_as_a_margin(self, target: str, value: str) -> None:
        """40 % up to 5; 95 % above, which exceeds the net price with 20 % tax. At 5, 4.1666… − 2 − 1 are left."""
        fee = {"share": "0", "bands": [{"up_to": "5", "share": "0.4"}, {"above": "5", "share": "0.95"}]}

        with pytest.raises(UnreachableTargetError) as error:
            pricing(fee, full="1", variable="1", tax="0.2", target=target, value=str(Decimal(value) + 2)).asked()

        assert error.value.highest == Decimal("1.166666")  # 1.1666… on a cost of 1
        assert error.value.highest_margin_share == Decimal("0.28")  # 1.1666… ÷ 4.1666…
        assert error.value.at_price == 5

    @pytest.mark.parametrize(
        ("policy", "full"),
        [
            ({"target": "fixed_price", "value": "10", "never_below_cost": "full_cost"}, "3"),
            ({"target": "markup", "value": "0.5"}, "0"),
        ],
        ids=["a fixed price", "a markup on nothing"],
    )
    def test_names_no_figure_where_there_is_none(self, policy: dict[str, str], full: str) -> None:
        """90 % + 0.30 of the gross price, which contains 25 % tax: each unit leaves 0.8 − 0.9, before the 0.30."""
        with pytest.raises(UnreachableTargetError) as error:
            pricing({"share": "0.9", "fixed": "0.30"}, full=full, tax="0.25", **policy).asked()

        assert (error.value.highest, error.value.highest_margin_share, error.value.at_price) == (None, None, None)
        assert str(error.value).endswith("no price with your steps and endings has it and keeps to the floor")

    def test_names_no_figure_where_no_price_keeps_to_the_floor(self) -> None:
        with pytest.raises(UnreachableTargetError) as error:
            pricing(
                {"share": "0.9"}, full="3", tax="0.25", target="margin", value="0.1", never_below_cost="full_cost"
            ).asked()

        assert (error.value.highest, error.value.highest_margin_share, error.value.at_price) == (None, None, None)


class TestPricesBetweenTwoCents:
    """Steps of the fees so close together that no price at the minor unit lies between them."""

    def test_are_never_the_price_that_bears_a_discount(self) -> None:
        """19.00095 is covered from 20.001 to 20.004, and from 19.00095 ÷ 0.85 = 22.354 on: half of 44.71 is 22.36."""
        bands = [{"up_to": "20.004", "share": "0.05"}, {"above": "20.004", "share": "0.15"}]
        found = pricing({"share": "0", "bands": bands}, full="19.00095", target="markup", value="0")

        discount = found.discount(Decimal(0), Decimal("0.5"))

        assert (discount.least_price, discount.least_price_discounted) == (Decimal("44.71"), Decimal("22.36"))

    def test_are_never_the_target_price(self) -> None:
        """The fee is 0 above 10.001 and up to 10.004, a fifth elsewhere: 9.50 ÷ 0.8 = 11.875."""
        bands = [
            {"up_to": "10.001", "share": "0.2"},
            {"above": "10.001", "up_to": "10.004"},
            {"above": "10.004", "share": "0.2"},
        ]

        price = stated(pricing({"share": "0", "bands": bands}, full="9.50", target="markup", value="0"))

        assert (str(price.target_price), str(price.price)) == ("11.875000 EUR", "11.88 EUR")


def test_costs_are_converted_unrounded_whatever_the_cost_sheet_shows() -> None:
    costs = UnitCosts(variable=Decimal("3.00004"), full=Decimal(4), shown_variable=Decimal("3.0000"))

    converted = costs.converted(lambda amount: amount / 3)

    assert converted.full == Decimal("1.333333333333333333333333333333333")
    assert converted.variable == converted.shown_variable == Decimal("1.000013333333333333333333333333333")
