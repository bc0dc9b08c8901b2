"""What is deducted between a price and the proceeds, by hand: every base, payer, display and spread."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from service.domain.selling.channels import ChannelRate, Display
from service.domain.selling.fees import FeeBase
from service.domain.selling.sale import OrderShare, Sale, sale_through
from service.domain.solving.segments import value_at
from service.domain.values.exact import exactly
from service.encoding import decoded

INCLUSIVE, EXCLUSIVE = Display.TAX_INCLUSIVE, Display.TAX_EXCLUSIVE
A_QUARTER = "0.25"
"""A tax that is a fifth of the gross price: 100 gross is 80 net."""


def a_sale(
    *fees: dict[str, Any],
    display: Display = INCLUSIVE,
    tax: str = "0",
    rate: str = "1",
    is_converted: bool = False,
    shipping_cost: str | None = "0",
    **terms: Any,
) -> Sale:
    """A sale through a channel with these fees; amounts are converted at a rate."""
    named = [{"name": f"fee {place}", **fee} for place, fee in enumerate(fees)]
    convert: Callable[[Decimal], Decimal] = lambda amount: amount * Decimal(rate)  # noqa: E731 - as terms are converted
    return sale_through(
        decoded({"currency": "EUR", "fees": named, **terms}, ChannelRate),
        display=display,
        tax_share=Decimal(tax),
        convert=convert,
        is_converted=is_converted,
        order=OrderShare(None if shipping_cost is None else Decimal(shipping_cost)),
    )


class TestADirectSale:
    def test_brings_in_the_net_price(self) -> None:
        sale = Sale(display=INCLUSIVE, tax_share=Decimal(A_QUARTER))

        assert sale.is_plain
        assert sale.proceeds(Decimal(100)) == 80

    @pytest.mark.parametrize(
        ("display", "displayed", "gross_of_displayed"), [(INCLUSIVE, "1.25", "1"), (EXCLUSIVE, "1", "1.25")]
    )
    def test_displays_the_price_with_or_without_its_tax(
        self, display: Display, displayed: str, gross_of_displayed: str
    ) -> None:
        sale = Sale(display=display, tax_share=Decimal(A_QUARTER))

        assert (sale.displayed, sale.gross_of_displayed) == (Decimal(displayed), Decimal(gross_of_displayed))

    @pytest.mark.parametrize(
        "sale",
        [
            a_sale({"share": "0"}),
            Sale(conversion_share=Decimal("0.01")),
            Sale(shipping_cost=Decimal(1)),
            Sale(shipping_charge=Decimal(1)),
        ],
    )
    def test_is_not_one_where_anything_else_is_taken_or_charged(self, sale: Sale) -> None:
        assert not sale.is_plain


class TestTheBaseOfAFee:
    @pytest.mark.parametrize(
        ("base", "amount"), [("gross_price", "100"), ("net_price", "80"), ("gross_with_shipping", "105")]
    )
    def test_is_the_price_with_tax_or_without_or_with_the_shipping_charge(self, base: str, amount: str) -> None:
        sale = a_sale({"share": "0.1", "base": base}, tax=A_QUARTER, shipping_paid_by="buyer", shipping_charge="5")

        assert sale.base_amount(FeeBase(base), Decimal(100)) == Decimal(amount)
        assert sale.fee_total(Decimal(100)) == Decimal(amount) / 10


class TestShipping:
    def test_that_the_seller_pays_is_deducted_from_the_proceeds(self) -> None:
        sale = a_sale(tax=A_QUARTER, shipping_cost="6")

        assert (sale.shipping_cost, sale.shipping_charge) == (6, 0)
        assert sale.proceeds(Decimal(100)) == 74  # 80 − 6

    def test_that_the_buyer_pays_without_a_set_charge_is_charged_at_cost(self) -> None:
        sale = a_sale(tax=A_QUARTER, shipping_cost="6", shipping_paid_by="buyer")

        assert sale.shipping_charge == Decimal("7.5")  # 6 and the tax on it
        assert sale.proceeds(Decimal(100)) == 80

    @pytest.mark.parametrize(
        ("display", "charge", "net"), [(INCLUSIVE, "10", "8"), (EXCLUSIVE, "12.5", "10")], ids=["with", "without"]
    )
    def test_that_is_charged_at_10_is_10_with_or_without_tax_as_the_channel_shows_its_prices(
        self, display: Display, charge: str, net: str
    ) -> None:
        sale = a_sale(display=display, tax=A_QUARTER, shipping_cost="6", shipping_paid_by="buyer", shipping_charge="10")

        assert (sale.shipping_charge, sale.net_shipping_charge) == (Decimal(charge), Decimal(net))
        assert sale.proceeds(Decimal(100)) == 80 + Decimal(net) - 6

    def test_charge_is_converted_and_shipping_cost_is_in_the_currency_of_sale_already(self) -> None:
        sale = a_sale(rate="2", shipping_cost="6", shipping_paid_by="buyer", shipping_charge="10")

        assert (sale.shipping_cost, sale.shipping_charge) == (6, 20)

    @pytest.mark.parametrize("charge", [{}, {"shipping_charge": "10"}], ids=["none of its own", "10"])
    def test_is_not_charged_where_nothing_is_shipped(self, charge: dict[str, str]) -> None:
        sale = a_sale(tax=A_QUARTER, shipping_cost=None, shipping_paid_by="buyer", **charge)

        assert (sale.shipping_cost, sale.shipping_charge) == (0, 0)
        assert sale.is_plain


class TestTheConversionSpread:
    def test_is_taken_of_what_is_left_after_fees_and_with_the_shipping_charge(self) -> None:
        """(100 + 5 − 10.50) × 0.02 = 1.89."""
        fee = {"share": "0.1", "base": "gross_with_shipping"}
        sale = a_sale(
            fee, is_converted=True, conversion_spread_share="0.02", shipping_paid_by="buyer", shipping_charge="5"
        )

        assert sale.paid_out(Decimal(100)) == Decimal("94.5")
        assert sale.conversion_cost(sale.paid_out(Decimal(100))) == Decimal("1.89")

    def test_is_taken_only_where_another_currency_is_paid_out(self) -> None:
        assert a_sale(conversion_spread_share="0.02").conversion_cost(Decimal(100)) == 0

    def test_is_never_negative_where_fees_exceed_the_payment(self) -> None:
        sale = a_sale({"fixed": "3"}, is_converted=True, conversion_spread_share="0.02")

        assert sale.paid_out(Decimal(1)) == -2
        assert sale.conversion_cost(Decimal(-2)) == 0
        assert sale.proceeds(Decimal(1)) == value_at(sale.taxed_proceeds, Decimal(1)) == -2


EVERYTHING = a_sale(
    {"share": "0.1", "minimum": "1", "maximum": "6", "tax_share": "0.2"},
    {
        "base": "net_price",
        "bands": [{"up_to": "20", "share": "0.05", "fixed": "0.3"}, {"above": "20", "share": "0.02"}],
    },
    {
        "base": "gross_with_shipping",
        "banding": "portion",
        "bands": [{"up_to": "3", "share": "0.5"}, {"above": "3", "up_to": "30", "share": "0.1"}, {"above": "30"}],
    },
    tax=A_QUARTER,
    is_converted=True,
    conversion_spread_share="0.02",
    shipping_cost="4",
    shipping_paid_by="buyer",
    shipping_charge="5",
)


class TestTheEquation:
    @pytest.mark.parametrize("gross", ["0", "0.01", "8.33", "10", "24.99", "25", "25.01", "60", "60.01", "1000"])
    def test_is_what_the_price_brings_in_times_one_and_the_tax(self, gross: str) -> None:
        proceeds = exactly(EVERYTHING.proceeds)(Decimal(gross))

        found = value_at(EVERYTHING.taxed_proceeds, Decimal(gross))

        assert found == exactly(lambda: proceeds * EVERYTHING.with_tax)()

    def test_by_hand_at_100(self) -> None:
        """100 gross, 80 net. Fee 0, its maximum: 6 × 1.2 = 7.2; fee 1: 80 × 0.02 = 1.6; fee 2, on 105: 1.5 + 2.7 = 4.2.

        Paid out: 105 − 13 = 92, less a spread of 1.84. Proceeds: 80 + 4 − 13 − 1.84 − 4 = 65.16.
        """
        assert [EVERYTHING.fee_amount(fee, Decimal(100)) for fee in EVERYTHING.fees] == [
            Decimal("7.2"),
            Decimal("1.6"),
            Decimal("4.2"),
        ]
        assert EVERYTHING.proceeds(Decimal(100)) == Decimal("65.16")

    def test_leaves_out_bands_below_the_shipping_charge(self) -> None:
        """The base of a fee on the price with shipping starts at 5, so the band up to 3 never applies."""
        sale = a_sale(
            {"base": "gross_with_shipping", "bands": [{"up_to": "3", "fixed": "2"}, {"above": "3", "share": "0.1"}]},
            shipping_paid_by="buyer",
            shipping_charge="5",
        )

        (piece,) = sale.taxed_proceeds

        assert (piece.slope, piece.constant) == (Decimal("0.9"), Decimal("4.5"))

    def test_has_the_band_that_ends_at_the_shipping_charge_at_a_price_of_0_only(self) -> None:
        sale = a_sale(
            {"base": "gross_with_shipping", "bands": [{"up_to": "5", "fixed": "2"}, {"above": "5", "share": "0.1"}]},
            shipping_paid_by="buyer",
            shipping_charge="5",
        )

        found = sale.taxed_proceeds

        assert value_at(found, Decimal(0)) == 3
        assert value_at(found, Decimal("0.01")) == Decimal("4.509")


def test_a_charged_fee_names_the_band_in_the_currency_of_sale() -> None:
    sale = a_sale({"bands": [{"up_to": "10", "share": "0.1"}, {"above": "10", "share": "0.05"}]}, rate="2")

    (fee,) = sale.fees

    assert [fee.band_at(Decimal(base)).share for base in ("20", "20.01")] == [Decimal("0.1"), Decimal("0.05")]
