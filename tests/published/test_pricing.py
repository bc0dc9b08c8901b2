"""Published prices: markup, margin, target cost, special orders and price steps, checked with the price sheet."""

from decimal import Decimal
from typing import Any

import flask
import pytest

from tests.conftest import Client, make_client
from tests.published.examples import amount, asked, batch_cost, buy, cost_sheet, make, price_of, rounded, spending
from tests.support.builders import money
from tests.support.contract import Contract


def costing(client: Client, cost: str) -> Client:
    """Register a product called thing with this cost; returns the workshop."""
    buy(client, "thing", cost, client.workshop.currency)
    make(client, "thing", {"thing": "1"})
    return client


class TestMarkupOnCost:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 7.7."""

    def test_a_tenth_on_60_million_asks_66_million(self, client: Client) -> None:
        price = price_of(costing(client, "60000000"), "thing", target="markup", value="0.10")

        assert price["price"] == money("66000000.00")
        assert Decimal(price["markup_share"]) == Decimal("0.10")


class TestTargetCost:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 7.7 and review problem 7.7."""

    @pytest.mark.parametrize(
        ("price", "margin", "target_cost"), [("240", "0.40", "144"), ("140", "0.60", "56")], ids=["240", "shoe"]
    )
    def test_at_the_target_cost_the_price_leaves_the_margin(
        self, client: Client, price: str, margin: str, target_cost: str
    ) -> None:
        thing = costing(client, target_cost)

        kept = price_of(thing, "thing", kept_at=price)
        found = price_of(thing, "thing", target="margin", value=margin)

        assert amount(kept["profit"]) == Decimal(price) - Decimal(target_cost)
        assert Decimal(kept["margin_share"]) == Decimal(margin)
        assert amount(found["price"]) == Decimal(price)


class TestMarkupOnTheSellingPrice:
    """Marketing Management (Kotler, Keller), Pearson, 'Markup pricing', the toaster, no year (an extract)."""

    def test_the_maker_asks_20_for_what_costs_16(self, client: Client) -> None:
        price = price_of(costing(client, "16"), "thing", target="margin", value="0.20")

        assert amount(price["price"]) == 20
        assert amount(price["profit"]) == 4

    def test_the_dealer_asks_40_for_it_twice_what_is_paid(self, client: Client) -> None:
        price = price_of(costing(client, "20"), "thing", target="margin", value="0.50")

        assert amount(price["price"]) == 40
        assert Decimal(price["markup_share"]) == 1


MARKUPS_AND_MARGINS = [
    ("0.10", "0.0909"),
    ("0.20", "0.1667"),
    ("0.25", "0.2000"),
    ("0.3333", "0.2500"),
    ("0.40", "0.2857"),
    ("0.50", "0.3333"),
    ("0.6667", "0.4000"),
    ("1.00", "0.5000"),
]


class TestMarkupAndMarginTable:
    """The identity margin = markup ÷ (1 + markup), to four decimals, half up; printed is 25 % on 100: 125."""

    @pytest.mark.parametrize(("markup", "margin"), MARKUPS_AND_MARGINS)
    def test_a_markup_policy_shows_its_margin(self, client: Client, markup: str, margin: str) -> None:
        price = price_of(costing(client, "100"), "thing", target="markup", value=markup)

        assert amount(price["price"]) == 100 * (1 + Decimal(markup))
        assert rounded(Decimal(price["margin_share"]), "0.0001") == Decimal(margin)

    @pytest.mark.parametrize(("markup", "margin"), MARKUPS_AND_MARGINS)
    def test_a_margin_policy_shows_its_markup(self, client: Client, markup: str, margin: str) -> None:
        # The cost is so large that rounding the price to cents changes no decimal shown. A margin of four decimals is
        # up to 0.00005 off, which changes the markup by up to 0.00005 × (1 + markup)².
        price = price_of(costing(client, "1000000"), "thing", target="margin", value=margin)

        tolerance = Decimal("0.00005") * (1 + Decimal(markup)) ** 2 + Decimal("0.00005")
        assert abs(Decimal(price["markup_share"]) - Decimal(markup)) <= tolerance


class TestSpecialOrder:
    """Managerial Accounting, Saylor Academy (HTML edition), 2012, section 7.6: 200 at 17, with an extra cost of 600."""

    def test_sales_of_3_400_less_costs_of_2_600_and_600_leave_200(self, client: Client) -> None:
        buy(client, "material", "13")
        make(client, "order", {"material": "1"}, spending(client, "600"))

        sheet = cost_sheet(client, "order", 200)
        price = price_of(client, "order", 200, kept_at="17")

        assert batch_cost(sheet, "variable_cost") == 2600
        assert batch_cost(sheet, "fixed_cost") == 600
        assert amount(price["batch_net_price"]) == 3400
        assert amount(price["batch_profit"]) == 200


def on_steps(client: Client, price: str, step: str) -> Any:
    """The price rounded to the nearest multiple of a step."""
    found = price_of(
        costing(client, "0.01"), "thing", target="fixed_price", value=price, price_step=step, rounding="nearest"
    )
    return Decimal(found["price"]["amount"])


class TestMarkupAndACommission:
    """'Mark up with sales commission', question QQ.09.07, Math Central, University of Regina, 2007: cost 250,000."""

    def test_a_fifth_on_cost_after_six_per_cent_of_the_price_asks_319_148_94(self, client: Client) -> None:
        fee = {"name": "commission", "base": "net_price", "share": "0.06"}
        terms = {"2026-01-01": {"currency": "EUR", "fees": [fee]}}
        client.register("channels/agent", {"name": "Agent", "display": "tax_exclusive"}, **terms)

        price = price_of(costing(client, "250000"), "thing", target="markup", value="0.20", channel="agent")

        assert rounded(amount(price["net_price"])) == Decimal("319148.94")
        assert rounded(amount(price["proceeds"])) == 300_000


class TestNearestFiveCents:
    """The tables of cash rounding, used for prices in steps of 0.05; no total is rounded for cash here.

    Phasing out the penny: rounding guidelines, Canada Revenue Agency / Royal Canadian Mint, 2013; the examples of
    the Office de la protection du consommateur (Quebec), 2023, and 'Swedish rounding' (a copy of Wikipedia's article).
    """

    @pytest.mark.parametrize(
        ("price", "nearest"),
        [
            ("1.00", "1.00"),
            ("1.01", "1.00"),
            ("1.02", "1.00"),
            ("1.03", "1.05"),
            ("1.04", "1.05"),
            ("1.05", "1.05"),
            ("1.06", "1.05"),
            ("1.07", "1.05"),
            ("1.08", "1.10"),
            ("1.09", "1.10"),
            ("1.10", "1.10"),
            ("5.98", "6.00"),
            ("5.97", "5.95"),
            ("20.42", "20.40"),
            ("20.43", "20.45"),
        ],
    )
    def test_the_price_is_the_nearest_multiple(
        self, app: flask.Flask, contract: Contract, price: str, nearest: str
    ) -> None:
        assert on_steps(make_client(app, contract, currency="CAD"), price, "0.05") == Decimal(nearest)


class TestWholeKronor:
    """'Cash rounding', Sweden, a copy of Wikipedia's article, no year: whole kronor since 2010; we round halves up."""

    @pytest.mark.parametrize(("price", "nearest"), [("99.49", "99"), ("99.50", "100"), ("100.50", "101")])
    def test_the_price_is_rounded_to_the_nearest_krona_and_halves_up(
        self, app: flask.Flask, contract: Contract, price: str, nearest: str
    ) -> None:
        assert on_steps(make_client(app, contract, currency="SEK"), price, "1") == Decimal(nearest)


class TestPriceWithTaxInIt:
    """EN 16931-1:2017, BR-CO-17, on the base of the official example ubl-tc434-example2.xml: 1,460.50 at 25 %.

    1,825.625 is a tie; the price is rounded half up, and taking the tax out again gives 1,460.50 (derived).
    """

    @pytest.fixture
    def workshop(self, client: Client) -> Client:
        client.register("taxes/vat", {"name": "VAT"}, **{"2026-01-01": {"rate_share": "0.25"}})
        return costing(client, "1460.50")

    def test_the_price_is_1_825_63(self, workshop: Client) -> None:
        price = price_of(
            workshop, "thing", target="markup", value="0", tax="vat", display="tax_inclusive", rounding="nearest"
        )

        assert price["price"] == money("1825.63")
        assert amount(price["target_price"]) == Decimal("1825.625")

    def test_without_its_tax_it_is_1_460_50_again(self, workshop: Client) -> None:
        price = price_of(workshop, "thing", kept_at="1825.63", tax="vat", display="tax_inclusive")

        assert rounded(amount(price["net_price"])) == Decimal("1460.50")
        assert amount(price["net_price"]) + amount(price["tax"]) == Decimal("1825.63")

    @pytest.mark.parametrize(("rate", "fraction"), [("0.20", "0.166667"), ("0.25", "0.200000")])
    def test_the_tax_in_a_price_is_its_vat_fraction(self, client: Client, rate: str, fraction: str) -> None:
        client.register("taxes/vat", {"name": "VAT"}, **{"2026-01-01": {"rate_share": rate}})
        make(costing(client, "1"), "piece", {"thing": "1"})

        price = asked(
            client, "products/piece/price-sheet", quantity=1, kept_at="1", tax="vat", display="tax_inclusive"
        )["price_per_piece"]

        assert amount(price["tax"]) == Decimal(fraction)


TAXED = [
    ("0.25", "4900.00", "1225.00"),  # Peppol BIS Billing 3, rules/examples/Allowance-example.xml
    ("0.25", "1325.00", "331.25"),  # the same, base-example.xml
    ("0.06", "183.23", "10.99"),  # EN 16931 validation artefacts, ubl/examples/ubl-tc434-example1.xml
    ("0.21", "46.37", "9.74"),  # the same
    ("0.12", "2500.00", "300.00"),  # the same, ubl-tc434-example5.xml
    ("0.21", "147.00", "30.87"),  # the same, ubl-tc434-example9.xml
    ("0.25", "12.12", "3.03"),  # the same, sample-discount-price.xml
    ("0.22", "1246.00", "274.12"),  # the same, FT G2G_TD01 con Allegato, Bonifico e Split Payment.xml
]


class TestTaxOnAndInAPriceThroughAChannel:
    """Published taxable amounts and taxes, checked with a channel that shows prices without tax and one with tax.

    Peppol BIS Billing 3, OpenPeppol AISBL, commit 78d7f7d (2025-05-29), and the EN 16931 validation artefacts, European
    Commission, commit b6c9e06 (2026-04-14): the tax of a category is its taxable amount × its rate, at two decimals.
    """

    @staticmethod
    def kept(client: Client, display: str, rate: str, price: str) -> Any:
        client.register("taxes/vat", {"name": "VAT"}, **{"2026-01-01": {"rate_share": rate}})
        client.register("channels/stall", {"name": "Stall", "display": display}, **{"2026-01-01": {}})
        return price_of(costing(client, "1"), "thing", kept_at=price, tax="vat", channel="stall")

    @pytest.mark.parametrize(("rate", "base", "tax"), TAXED)
    def test_without_tax_the_price_has_it_added(self, client: Client, rate: str, base: str, tax: str) -> None:
        price = self.kept(client, "tax_exclusive", rate, base)

        assert rounded(amount(price["tax"])) == Decimal(tax)
        assert rounded(amount(price["gross_price"])) == Decimal(base) + Decimal(tax)
        assert amount(price["proceeds"]) == Decimal(base)

    @pytest.mark.parametrize(("rate", "base", "tax"), TAXED)
    def test_with_tax_the_price_has_it_taken_out(self, client: Client, rate: str, base: str, tax: str) -> None:
        price = self.kept(client, "tax_inclusive", rate, str(Decimal(base) + Decimal(tax)))

        assert rounded(amount(price["net_price"])) == Decimal(base)
        assert rounded(amount(price["tax"])) == Decimal(tax)
