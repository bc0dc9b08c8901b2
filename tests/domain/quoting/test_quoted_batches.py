"""A quoted batch, its cost and charges: tools, customer material, minimum order, rush, shipping, currency.

A sheet takes 1 kg at 0.80 and one shot of a mould that costs 3,000 and lasts 60,000 shots; figures by hand.
"""

from collections.abc import Mapping
from datetime import date
from typing import Any

import pytest

from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.currency.exchange_rates import DayRates, ExchangeRates
from service.domain.quoting.basis import QuotationBasis, QuotedShipment
from service.domain.quoting.figures import chosen_figures, quotation_figures
from service.domain.quoting.quotation import AdjustmentKind, QuotationFigures
from service.domain.quoting.request import QuotationRequest
from service.domain.selling.taxes import Tax, TaxRate
from service.domain.shipping.shipping_statement import Shipment
from service.domain.values.errors import InvalidValuesError
from service.encoding import from_text, to_text
from tests.domain.examples import TODAY, D, a_line, a_product, a_request, a_shop, an_operation, euros, money, shipped
from tests.support import builders

MARKUP_OF_NOTHING = builders.policy("markup", "0")
DOLLARS = DayRates(source="manual", base="EUR", published_on=TODAY, rates={"USD": D("1.25"), "JPY": D("160")})


def a_sheet_line(**changes: Any) -> dict[str, Any]:
    return {"product": "sheet", "quantity": 100, "tax": "vat", "policy": MARKUP_OF_NOTHING, **changes}


def the_basis(request: QuotationRequest, **changes: Any) -> QuotationBasis:
    """A basis for a sheet pressed in a mould, with every batch that the request can ask for."""
    pressing = an_operation(
        machine=None, setup_minutes="0", cycle_minutes="0", yield_share="1", labour=[], band_shares={}, tool="mould"
    )
    shop = a_shop(a_product(bill_of_materials=[a_line()], operations=[pressing]))
    tax = DatedRate(resource="taxes/vat", valid_from=TODAY, terms=TaxRate(rate_share=D("0.21")))
    batches = dict.fromkeys(
        (line.product, quantity, line.tooling.tooling) for line in request.lines for quantity in line.quantities
    )
    made: dict[str, Any] = {
        "as_of": TODAY,
        "currency": request.currency or "EUR",
        "card": RateCard(as_of=TODAY, currency="EUR", rates={**shop.card.rates, "taxes/vat": tax}),
        "exchange": ExchangeRates(as_of=TODAY, days=(DOLLARS,)),
        "pools": {},
        "taxes": {"vat": Tax(name="VAT 21 %")},
        "bills": tuple(shop.bill(quantity, code, tooling) for code, quantity, tooling in batches),
    }
    return QuotationBasis(**{**made, **changes})


def figures(*lines: Mapping[str, Any], basis: Mapping[str, Any] | None = None, **changes: Any) -> QuotationFigures:
    request = a_request(lines=list(lines or [a_sheet_line()]), **changes)
    return quotation_figures(request, the_basis(request, **(basis or {})))


class TestTooling:
    @pytest.mark.parametrize(
        ("tooling", "unit_price"), [("as_product", "0.85"), ("per_shot", "0.85"), ("this_order", "30.80")]
    )
    def test_is_in_the_price_of_a_piece_as_wear_or_as_the_whole_tool(self, tooling: str, unit_price: str) -> None:
        line = figures(a_sheet_line(tooling=tooling)).lines[0].quoted

        assert line.unit_price == euros(unit_price)  # 0.80 + 3,000 ÷ 60,000; 0.80 + 3,000 ÷ 100
        assert line.charges == ()

    def test_that_is_charged_once_stands_beside_the_pieces_at_its_cost(self) -> None:
        found = figures(a_sheet_line(tooling="charged_once", quantity_breaks=[1000]))
        line = found.lines[0]

        for quoted, net in ((line.quoted, "3080.00"), (line.quantity_breaks[0], "3800.00")):
            assert quoted.unit_price == euros("0.80")
            assert quoted.unit_full_cost == euros("0.800000")
            (tool,) = quoted.charges
            assert (tool.reason, tool.kind, tool.amount) == ("Mould", AdjustmentKind.TOOLING, euros("3000.00"))
            assert quoted.net_amount == euros(net)
        assert line.quoted.kept.full_cost == euros("3080.00")
        assert line.quoted.kept.profit == euros("0.00")
        assert found.kept.full_cost == euros("3080.00")

    def test_of_one_product_may_be_charged_in_two_ways_on_two_lines(self) -> None:
        found = figures(a_sheet_line(tooling="this_order"), a_sheet_line())

        assert [line.quoted.unit_price for line in found.lines] == [euros("30.80"), euros("0.85")]


class TestWhatTheCustomerBrings:
    def test_is_consumed_and_costs_nothing(self) -> None:
        found = figures(a_sheet_line(supplied_materials=["hdpe"]), a_sheet_line())

        brought, bought = found.lines
        assert brought.quoted.unit_price == euros("0.05")
        assert brought.quoted.kept.full_cost == euros("5.00")
        (material,) = brought.supplied
        assert (material.material, material.name, material.quantity, material.unit) == (
            "hdpe",
            "HDPE flakes",
            100,
            "kg",
        )
        assert bought.quoted.unit_price == euros("0.85")
        assert bought.supplied == ()
        assert found.kept.full_cost == euros("90.00")

    def test_named_twice_is_refused(self) -> None:
        with pytest.raises(InvalidValuesError, match=r"supplied_materials: must be different"):
            figures(a_sheet_line(supplied_materials=["hdpe", "hdpe"]))


class TestWhatABiggerBatchSaves:
    def test_is_stated_for_every_break_against_the_quoted_batch(self) -> None:
        line = figures(a_sheet_line(tooling="this_order", quantity_breaks=[50, 1000])).lines[0]

        smaller, larger = line.quantity_breaks
        assert line.quoted.saving_per_piece is line.quoted.saving_share is None
        assert (larger.unit_price, larger.saving_per_piece) == (euros("3.80"), euros("27.00"))
        assert larger.saving_share == D("0.876623")  # 27 ÷ 30.80
        assert (smaller.saving_per_piece, smaller.saving_share) == (euros("-30.00"), D("-0.974026"))

    def test_of_a_piece_that_costs_nothing_has_no_share(self) -> None:
        free = a_sheet_line(policy=builders.policy("fixed_price", "0"), quantity_breaks=[200])

        (other,) = figures(free).lines[0].quantity_breaks

        assert (other.saving_per_piece, other.saving_share) == (euros("0.00"), None)


class TestMinimumOrder:
    def test_that_is_not_reached_adds_a_charge_for_the_difference(self) -> None:
        found = figures(minimum_order={"amount": "100", "tax": "vat"})  # 100 × 0.85 = 85

        (charge,) = found.charges
        assert (charge.kind, charge.amount, charge.reason) == (AdjustmentKind.MINIMUM_ORDER, euros("15.00"), "")
        assert found.totals.tax_exclusive == euros("100.00")

    @pytest.mark.parametrize("amount", ["85", "1"])
    def test_that_is_reached_changes_nothing(self, amount: str) -> None:
        assert figures(minimum_order={"amount": amount, "tax": "vat"}).charges == ()

    def test_is_compared_with_the_goods_less_allowances_without_charges(self) -> None:
        allowance = {"reason": "fair", "tax": "vat", "amount": "5"}
        freight = {"reason": "freight", "tax": "vat", "amount": "50"}

        found = figures(
            allowances=[allowance], charges=[freight], minimum_order={"amount": "90", "tax": "vat", "reason": "least"}
        )

        assert [(each.reason, each.amount) for each in found.charges] == [
            ("freight", euros("50.00")),
            ("least", euros("10.00")),  # 90 − (85 − 5)
        ]

    def test_does_not_make_up_for_allowances_that_take_off_more_than_there_is(self) -> None:
        allowance = {"reason": "fair", "tax": "vat", "amount": "200"}

        with pytest.raises(InvalidValuesError, match="allowances: take off more than the lines"):
            figures(allowances=[allowance], minimum_order={"amount": "50", "tax": "vat"})


class TestRush:
    def test_is_a_share_of_the_lines_under_its_tax_or_an_amount(self) -> None:
        (share,) = figures(rush_charge={"share": "0.15", "tax": "vat"}).charges
        (amount,) = figures(rush_charge={"amount": "20", "tax": "vat", "reason": "this week"}).charges

        assert (share.kind, share.amount) == (AdjustmentKind.RUSH, euros("12.75"))
        assert (amount.reason, amount.amount) == ("this week", euros("20.00"))

    def test_finer_than_the_minor_unit_is_refused(self) -> None:
        with pytest.raises(InvalidValuesError) as error:
            figures(rush_charge={"amount": "0.001", "tax": "vat"}, minimum_order={"amount": "0.0001", "tax": "vat"})

        assert [each.path for each in error.value.problems] == [("rush_charge", "amount"), ("minimum_order", "amount")]


SHIPMENT = QuotedShipment(
    shipment=Shipment(service="post", name="Parcel post", zone="home", as_of=TODAY, valid_from=date(2026, 1, 1)),
    estimate=shipped(3),  # in a carton with a volumetric weight of 21 kg: 14 euros
)


class TestShipping:
    def test_is_a_charge_including_the_packing_supplement(self) -> None:
        request = {"service": "post", "zone": "home", "tax": "vat", "markup_share": "0.25"}

        found = figures(shipping=request, basis={"shipment": SHIPMENT})

        (charge,) = found.charges
        assert (charge.kind, charge.amount) == (AdjustmentKind.SHIPPING, euros("17.50"))
        assert found.shipping is not None
        assert found.shipping.price == euros("14.00")
        assert found.kept.shipping_cost == euros("14.00")
        assert found.kept.profit == euros("3.50")  # 102.50 − 85 − 14
        assert found.kept.contribution == euros("3.50")
        assert found.kept.margin_share == D("0.034146")

    def test_that_the_workshop_pays_reduces_its_profit(self) -> None:
        request = {"service": "post", "zone": "home", "tax": "vat", "is_charged": False}

        found = figures(shipping=request, basis={"shipment": SHIPMENT})

        assert found.charges == ()
        assert found.kept.profit == euros("-14.00")

    def test_with_a_packing_supplement_that_nobody_pays_is_refused(self) -> None:
        with pytest.raises(InvalidValuesError, match="markup_share"):
            a_request(shipping={"service": "a", "zone": "b", "tax": "vat", "markup_share": "0.1", "is_charged": False})


class TestAnotherCurrency:
    def test_has_every_figure_in_it_converted_unrounded(self) -> None:
        line = a_sheet_line(policy=builders.policy("markup", "1"), tooling="charged_once")

        found = figures(
            line,
            currency="USD",
            shipping={"service": "post", "zone": "home", "tax": "vat"},
            basis={"shipment": SHIPMENT},
        )

        quoted = found.lines[0].quoted
        assert (found.currency, quoted.unit_price) == ("USD", money("2.00", "USD"))  # 0.80 × 2 × 1.25
        assert quoted.unit_full_cost == money("1.000000", "USD")
        assert quoted.charges[0].amount == money("3750.00", "USD")
        assert quoted.kept.full_cost == money("3850.00", "USD")  # (80 + 3,000) × 1.25
        assert found.charges[0].amount == money("17.50", "USD")  # 14 × 1.25
        assert found.shipping is not None
        assert found.shipping.workshop_price == euros("14.00")

    def test_without_a_minor_unit_has_whole_amounts(self) -> None:
        found = figures(currency="JPY")

        assert found.lines[0].quoted.unit_price == money("136", "JPY")  # 0.85 × 160

    def test_that_has_ended_is_refused(self) -> None:
        with pytest.raises(InvalidValuesError, match=r"currency: HRK is no longer in use"):
            a_request(currency="HRK")


class TestAChoice:
    def test_has_the_figures_of_the_chosen_batch_sizes_alone(self) -> None:
        request = a_request(lines=[a_sheet_line(quantity_breaks=[1000]), a_sheet_line(quantity=10)])

        found = chosen_figures(request, the_basis(request), (1000, 10))

        assert [line.quoted.quantity for line in found.lines] == [1000, 10]
        assert [line.quantity_breaks for line in found.lines] == [(), ()]
        assert found.totals.tax_exclusive == euros("858.50")

    def test_of_found_breaks_comes_from_the_basis(self) -> None:
        request = a_request(
            lines=[a_sheet_line(automatic_breaks={"least_fall_share": "0.1", "up_to": 5000}, tooling="this_order")]
        )
        asked_too = a_request(lines=[a_sheet_line(quantity_breaks=[400], tooling="this_order")])
        basis = the_basis(asked_too, breaks=((400,),))

        assert quotation_figures(request, basis).lines[0].quantity_breaks[0].quantity == 400


@pytest.mark.parametrize("up_to", [100, 99])
def test_breaks_are_looked_for_beyond_the_quantity_alone(up_to: int) -> None:
    with pytest.raises(InvalidValuesError, match=r"automatic_breaks/up_to: must be more than the quantity"):
        a_request(lines=[a_sheet_line(automatic_breaks={"least_fall_share": "0.1", "up_to": up_to})])


def test_the_basis_is_read_back_as_it_was_written() -> None:
    request = a_request(lines=[a_sheet_line(tooling="charged_once")], currency="USD")
    basis = the_basis(request, shipment=SHIPMENT, breaks=((),))

    again = from_text(to_text(basis), QuotationBasis)

    assert again == basis
    assert quotation_figures(request, again) == quotation_figures(request, basis)
