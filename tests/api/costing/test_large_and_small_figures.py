"""Amounts are exact to the last digit of their currency, or refused if they cannot be."""

from decimal import ROUND_CEILING, Decimal, localcontext
from typing import Any

import flask
import pytest

from tests.api.outside import refused
from tests.conftest import Client, make_client
from tests.support.builders import channel, channel_rate, fee, listing, material, money, policy, quotation
from tests.support.contract import Contract

pytestmark = pytest.mark.every_engine

DAY = "as_of=2026-11-25"


def with_product(client: Client, price: str, per_piece: str = "7") -> None:
    """Register a product of this quantity of one material at this price, in the workshop's currency."""
    terms = {"price": money(price, client.workshop.currency)}
    client.register("materials/hdpe", material(), **{"2026-01-01": terms})
    line = {"material": "hdpe", "quantity_per_piece": per_piece}
    client.register("products/piece", {"name": "Piece", "bill_of_materials": [line]})
    client.register("taxes/vat", {"name": "VAT"}, **{"2026-01-01": {"rate_share": "0.21"}})


def exact(*factors: str) -> Decimal:
    with localcontext() as context:
        context.prec = 100
        product = Decimal(1)
        for factor in factors:
            product *= Decimal(factor)
        return product


def asking(**changes: Any) -> dict[str, Any]:
    line = {"product": "piece", "quantity": 3, "tax": "vat", "policy": policy("fixed_price", "0.99"), **changes}
    return quotation(quoted_on="2026-11-25", lines=[line])


def with_listing(client: Client, price: str = "0.80", terms: Any = None, **changes: Any) -> str:
    """Register the product and a listing in the workshop's currency; returns the address of its price sheet."""
    with_product(client, price)
    client.register("channels/stall", channel(), **{"2026-01-01": terms or channel_rate(fees=[])})
    body = {"product": "piece", "channel": "stall", "currency": client.workshop.currency, **changes}
    client.register("listings/piece", listing(**body))
    return f"listings/piece/price-sheet?{DAY}"


class TestExactness:
    @pytest.mark.parametrize(
        ("price", "quantity"),
        [
            ("0.10", 10_000),
            ("0.01", 1),
            ("123456789012345678.12", 1),
            ("1234567890123456.78", 999_999_999),
            ("999999999999999999", 1_000_000),
            ("0.123456789", 1_000_000_000),
        ],
    )
    def test_a_cost_is_exact_to_the_cent(self, client: Client, price: str, quantity: int) -> None:
        with_product(client, price)

        sheet = client.get(f"products/piece/cost-sheet?quantity={quantity}&{DAY}").json

        expected = exact(price, "7", str(quantity))
        assert Decimal(sheet["subtotals"]["full_cost"]["per_batch"]["amount"]) == expected.quantize(Decimal("0.01"))

    @pytest.mark.parametrize(
        "price", ["123456789012345678.12", "9999999999999999999999999999", "12345678901234567890123456.78"]
    )
    def test_a_cost_that_has_too_many_digits_is_refused_and_never_rounded(self, client: Client, price: str) -> None:
        with_product(client, price)

        response = client.get(f"products/piece/cost-sheet?quantity=999999999&{DAY}")

        if response.status_code == 200:
            shown = Decimal(response.json["subtotals"]["full_cost"]["per_batch"]["amount"])
            assert shown == exact(price, "7", "999999999")
        else:
            assert response.status_code == 422
            assert response.json["type"].endswith("figure-too-large")

    @pytest.mark.parametrize(
        "line",
        [
            {"policy": policy("fixed_price", "123456789012345678901.23"), "quantity": 999_999_999},
            {"policy": policy("fixed_price", "9" * 28), "quantity": 1_000_000_000},
            {"policy": policy("markup", "9" * 28), "quantity": 1_000_000_000},
            {"policy": policy("profit_per_piece", "9" * 28), "quantity": 2},
            {"policy": policy(never_below_amount="9" * 28), "quantity": 1_000},
            {"policy": policy(price_step="9" * 28), "quantity": 1_000_000_000},
            {"policy": policy("margin", "0." + "9" * 28), "quantity": 1_000_000_000},
            {"charges": [{"reason": "Freight", "amount": "9" * 28}] * 20},
        ],
        ids=lambda line: str(sorted(line.get("policy", {}).items()))[:60] + str("charges" in line),
    )
    def test_a_quotation_with_too_many_digits_is_refused(self, client: Client, line: dict[str, Any]) -> None:
        with_product(client, "0.80")

        refused(client, "POST", "quotations", asking(**line), status=422)

    def test_a_quotation_with_eighteen_digits_is_exact(self, client: Client) -> None:
        with_product(client, "0.80")

        quoted = client.post(
            "quotations", asking(policy=policy("fixed_price", "1234567890123456.78"), quantity=1_000_000)
        )

        totals = quoted.json["figures"]["totals"]
        assert totals["line_total"]["amount"] == "1234567890123456780000.00"
        assert totals["tax_total"]["amount"] == "259259256925925923800.00"
        assert totals["tax_inclusive"]["amount"] == "1493827147049382703800.00"

    def test_ten_thousand_times_a_tenth_is_a_thousand(self, client: Client) -> None:
        """200 lines of 50 pieces at 0.10 are 1,000.00; binary fractions would miss it."""
        with_product(client, "0.01")
        line = asking(policy=policy("fixed_price", "0.10"), quantity=50)["lines"][0]

        quoted = client.post("quotations", quotation(quoted_on="2026-11-25", lines=[line] * 200))

        assert quoted.json["figures"]["totals"]["line_total"]["amount"] == "1000.00"
        assert quoted.json["figures"]["totals"]["tax_total"]["amount"] == "210.00"


MINOR_UNITS = {"JPY": 0, "KRW": 0, "EUR": 2, "CHF": 2, "IQD": 3, "KWD": 3, "RSD": 2, "CLF": 4}
"""Digits of the minor unit: ISO 4217:2015, list one. CLDR differs for IQD and RSD."""


class TestMinorUnits:
    @pytest.mark.parametrize(("currency", "digits"), MINOR_UNITS.items())
    def test_every_amount_has_the_digits_of_its_currency(
        self, app: flask.Flask, contract: Contract, currency: str, digits: int
    ) -> None:
        client = make_client(app, contract, currency=currency)
        with_product(client, "0.123456789")
        unit = Decimal(1).scaleb(-digits)

        sheet = client.get(f"products/piece/cost-sheet?quantity=3&{DAY}").json
        price = client.get(f"products/piece/price-sheet?quantity=3&{DAY}&target=markup&value=99&tax=vat").json
        quoted = client.post("quotations", asking(policy=policy("markup", "99"))).json["figures"]

        batch, piece = (sheet["subtotals"]["full_cost"][each]["amount"] for each in ("per_batch", "per_piece"))
        assert Decimal(batch).as_tuple().exponent == -digits
        assert Decimal(piece).as_tuple().exponent == -digits - 4
        asked = Decimal(price["price_per_piece"]["price"]["amount"])
        assert asked.as_tuple().exponent == -digits
        assert asked % unit == 0
        for total in quoted["totals"].values():
            if isinstance(total, dict):
                assert Decimal(total["amount"]).as_tuple().exponent == -digits
                assert total["currency"] == currency

    @pytest.mark.parametrize(
        ("currency", "shown", "not_shown"),
        [("JPY", "JP¥6", "JP¥6.0"), ("KWD", "3.990", None), ("EUR", "€3.99", "€3.990")],
    )
    def test_the_text_of_a_quotation_has_the_digits_of_its_currency(
        self, app: flask.Flask, contract: Contract, currency: str, shown: str, not_shown: str | None
    ) -> None:
        client = make_client(app, contract, currency=currency)
        with_product(client, "0.80")
        price = {"JPY": "2", "KWD": "1.330", "EUR": "1.33"}[currency]

        quoted = client.post("quotations", asking(policy=policy("fixed_price", price)))
        text = client.get(quoted.headers["Location"], headers={"Accept": "text/plain"}).text

        assert shown in text
        assert not_shown is None or not_shown not in text

    @pytest.mark.parametrize(
        ("currency", "amount"), [("JPY", "0.5"), ("EUR", "0.005"), ("KWD", "0.0005"), ("CLF", "0.00005")]
    )
    def test_an_amount_finer_than_the_minor_unit_cannot_be_charged(
        self, app: flask.Flask, contract: Contract, currency: str, amount: str
    ) -> None:
        client = make_client(app, contract, currency=currency)
        with_product(client, "0.80")
        line = asking(policy=policy("markup", "1"), charges=[{"reason": "Freight", "amount": amount}])

        response = refused(client, "POST", "quotations", line, status=422)

        assert response.json["errors"][0]["pointer"] == "/lines/0/charges/0/amount"
        assert currency in response.json["detail"]

    def test_a_rate_may_be_finer_than_the_minor_unit(self, client: Client) -> None:
        """Electricity is priced in fractions of a cent."""
        client.register("materials/hdpe", material())

        response = client.put("materials/hdpe/rates/2026-01-01", {"price": money("0.2345678901")})

        assert response.json["price"]["amount"] == "0.2345678901"


NINES = "9" * 28


class TestListings:
    @pytest.mark.parametrize(("currency", "digits"), MINOR_UNITS.items())
    def test_a_price_near_zero_is_one_minor_unit_and_zero_is_zero(
        self, app: flask.Flask, contract: Contract, currency: str, digits: int
    ) -> None:
        client = make_client(app, contract, currency=currency)
        for price, units in (("0.000000001", 1), ("0", 0)):
            sheet = client.get(with_listing(client, price)).json

            assert Decimal(sheet["price_per_piece"]["price"]["amount"]) == Decimal(units).scaleb(-digits)
            assert Decimal(sheet["price_per_piece"]["price"]["amount"]).as_tuple().exponent == -digits
            assert (sheet["price_per_piece"]["margin_share"] is None) is (units == 0)
            listed = client.get(f"price-list?{DAY}").text.splitlines()[1]
            assert f",{sheet['price_per_piece']['price']['amount']}," in listed

    @pytest.mark.parametrize("price", ["123456789012345678.12", "999999999999999999"])
    def test_a_price_of_eighteen_digits_is_exact(self, client: Client, price: str) -> None:
        """The margin is half of the net price; the price includes tax at 21 %."""
        sheet = client.get(with_listing(client, price, policy=policy(value="0.5"))).json

        expected = exact(price, "7", "2", "1.21").quantize(Decimal("0.01"), ROUND_CEILING)
        assert Decimal(sheet["price_per_piece"]["price"]["amount"]) == expected
        assert f"{expected:,}" in sheet["formatted_price"]

    @pytest.mark.parametrize(
        ("price", "terms", "pricing"),
        [
            (NINES, {}, policy()),
            ("0.80", {"fees": [fee(share="0", fixed=NINES)]}, policy()),
            ("0.80", {"fees": [fee(share="0", minimum=NINES)]}, policy()),
            ("0.80", {}, policy("markup", NINES)),
            ("0.80", {}, policy("profit_per_piece", NINES)),
            ("0.80", {}, policy(never_below_amount=NINES)),
            ("0.80", {}, policy("margin", f"0.{NINES}")),
        ],
        ids=["cost", "fixed fee", "least fee", "markup", "profit", "floor", "margin close to 1"],
    )
    def test_a_price_with_too_many_digits_is_refused_and_marked_in_the_list(
        self, client: Client, price: str, terms: dict[str, Any], pricing: dict[str, Any]
    ) -> None:
        question = with_listing(client, price, channel_rate(**{"fees": [], **terms}), policy=pricing)

        response = refused(client, "GET", question, status=422)

        assert response.json["type"].endswith("/figure-too-large")
        assert response.json["detail"] in client.get(f"price-list?{DAY}").text

    @pytest.mark.parametrize("question", [f"kept_at={NINES}", f"discount_share=0.{NINES}"])
    def test_a_parameter_with_too_many_digits_is_refused(self, client: Client, question: str) -> None:
        refused(client, "GET", f"{with_listing(client)}&{question}", status=422)

    @pytest.mark.parametrize(
        "charge",
        [
            {"share": f"0.{'1' * 28}"},
            {"share": "0.1", "tax_share": f"0.{'1' * 28}"},
            {"share": "0", "fixed": f"0.{'1' * 28}"},
            {"share": "0", "bands": [{"up_to": f"0.{'0' * 27}1"}, {"above": f"0.{'0' * 27}1", "share": "0.1"}]},
            {"share": "0", "bands": [{"up_to": NINES, "share": "0.1"}, {"above": NINES}]},
        ],
        ids=["share", "tax", "amount", "a band of nothing", "a band of everything"],
    )
    def test_figures_of_28_digits_in_a_fee_leave_the_price_exact_to_the_cent(
        self, client: Client, charge: dict[str, Any]
    ) -> None:
        """The price found has a margin of at least 0.35; a cent less does not."""
        question = with_listing(client, terms=channel_rate(fees=[fee(**charge)]))

        found = client.get(question).json["price_per_piece"]
        below = client.get(f"{question}&kept_at={Decimal(found['price']['amount']) - Decimal('0.01')}").json

        assert Decimal(found["margin_share"]) >= Decimal("0.35") > Decimal(below["price_per_piece"]["margin_share"])

    def test_fifty_fees_of_fifty_bands_are_priced(self, client: Client) -> None:
        ends = [str(number) for number in range(1, 50)]
        bands = [
            {"above": above, "share": f"0.0{number % 2}", "fixed": "0.01", **({"up_to": up_to} if up_to else {})}
            for number, (above, up_to) in enumerate(zip(["0", *ends], [*ends, None], strict=True))
        ]
        fees = [fee(name=f"fee {number}", share="0", bands=bands) for number in range(50)]

        found = client.get(
            with_listing(client, terms=channel_rate(fees=fees), policy=policy("fixed_price", "3.50"))
        ).json

        assert len(found["price_per_piece"]["fees"]) == 50
        assert found["price_per_piece"]["fee_total"] == money("2.250000")  # 50 × (0.01 × 3.50 + 0.01)
