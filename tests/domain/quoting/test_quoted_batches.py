"""A quoted batch, its cost and charges: tools, customer material, minimum order, rush, shipping, currency.

A sheet takes 1 kg at 0.80 and one shot of a mould that costs 3,000 and lasts 60,000 shots; figures by hand.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.currency.exchange_rates import DayRates, ExchangeRates
from service.domain.quoting.basis import EDITION, QuotationBasis, QuotedShipment
from service.domain.quoting.figures import (
    chosen_figures,
    floor_warnings,
    least_choice_warnings,
    loss_warnings,
    quotation_figures,
)
from service.domain.quoting.quotation import AdjustmentKind, QuotationFigures
from service.domain.quoting.request import QuotationRequest, ToolingCharge
from service.domain.selling.taxes import Tax, TaxRate
from service.domain.shipping.shipping_statement import Shipment
from service.domain.values.errors import InvalidValuesError
from service.encoding import from_text, to_text
from tests.domain.examples import (
    TODAY,
    D,
    Shop,
    a_line,
    a_product,
    a_request,
    a_shop,
    an_operation,
    euros,
    money,
    shipped,
)
from tests.support import builders

MARKUP_OF_NOTHING = builders.policy("markup", "0")
DOLLARS = DayRates(source="manual", base="EUR", published_on=TODAY, rates={"USD": D("1.25"), "JPY": D("160")})


def a_sheet_line(**changes: Any) -> dict[str, Any]:
    return {"product": "sheet", "quantity": 100, "tax": "vat", "policy": MARKUP_OF_NOTHING, **changes}


def pressing_sheets() -> Shop:
    """A workshop that presses a sheet in a mould."""
    pressing = an_operation(
        machine=None, setup_minutes="0", cycle_minutes="0", yield_share="1", labour=[], band_shares={}, tool="mould"
    )
    return a_shop(a_product(bill_of_materials=[a_line()], operations=[pressing]))


def the_basis(request: QuotationRequest, shop: Shop | None = None, **changes: Any) -> QuotationBasis:
    """A basis with every batch that the request can ask for; of `pressing_sheets` if no workshop is given."""
    shop = shop or pressing_sheets()
    tax = DatedRate(resource="taxes/vat", valid_from=TODAY, terms=TaxRate(rate_share=D("0.21")))
    batches = {}
    for place, line in enumerate(request.lines):
        code, work = line.code_of_bill(place), line.item and line.item.product()
        if code is not None:
            shop = shop.with_product(code, work) if work is not None else shop
            batches |= {(code, quantity, line.tooling.tooling): None for quantity in line.quantities}
    made: dict[str, Any] = {
        "as_of": TODAY,
        "currency": request.currency or "EUR",
        "card": RateCard(as_of=TODAY, currency="EUR", rates={**shop.card.rates, "taxes/vat": tax}),
        "exchange": ExchangeRates(as_of=TODAY, days=(DOLLARS,)),
        "pools": shop.pools,
        "taxes": {"vat": Tax(name="VAT 21 %")},
        "bills": tuple(shop.bill(quantity, code, tooling) for code, quantity, tooling in batches),
        "edition": EDITION,
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

    @pytest.mark.parametrize(
        ("first", "second", "prices", "charges"),
        [
            ("this_order", "this_order", ["30.80", "0.80"], []),
            ("this_order", "charged_once", ["30.80", "0.80"], []),
            ("charged_once", "this_order", ["0.80", "0.80"], ["3000.00"]),
            ("charged_once", "charged_once", ["0.80", "0.80"], ["3000.00"]),
            ("as_product", "this_order", ["0.80", "30.80"], []),  # what is bought does not wear besides
        ],
    )
    def test_that_several_lines_take_is_paid_for_by_the_first_that_buys_it(
        self, first: str, second: str, prices: list[str], charges: list[str]
    ) -> None:
        found = figures(*(a_sheet_line(tooling=each) for each in (first, second)))

        assert [line.quoted.unit_price for line in found.lines] == [euros(each) for each in prices]
        assert [each.amount.amount for line in found.lines for each in line.quoted.charges] == list(map(D, charges))
        assert found.totals.tax_exclusive == found.kept.full_cost == euros("3160.00")  # 200 × 0.80 + 3,000
        assert found.kept.variable_cost == euros("3160.00")

    def test_is_paid_for_once_whatever_batch_sizes_are_chosen(self) -> None:
        lines = [a_sheet_line(tooling="this_order", quantity_breaks=[1000]), a_sheet_line(quantity_breaks=[50])]
        request = a_request(lines=[lines[0], {**lines[1], "tooling": "charged_once"}])
        basis = the_basis(request)
        offered = [
            {each.quantity: each for each in (line.quoted, *line.quantity_breaks)}
            for line in quotation_figures(request, basis).lines
        ]

        for chosen in product((100, 1000), (100, 50)):
            found = chosen_figures(request, basis, chosen)
            taken = [line.quoted.net_amount for line in found.lines]
            assert taken == [each[quantity].net_amount for each, quantity in zip(offered, chosen, strict=True)]
            assert found.kept.full_cost == euros(f"{3000 + sum(chosen) * D('0.80')}")

    @given(st.lists(st.tuples(st.integers(1, 999), st.sampled_from(ToolingCharge)), max_size=5), st.data())
    def test_is_paid_for_once_under_any_split_of_lines(
        self, others: list[tuple[int, ToolingCharge]], data: st.DataObject
    ) -> None:
        buyer = 100, data.draw(st.sampled_from([ToolingCharge.THIS_ORDER, ToolingCharge.CHARGED_ONCE]))
        split = data.draw(st.permutations([*others, buyer]))

        found = figures(*(a_sheet_line(quantity=quantity, tooling=each.value) for quantity, each in split))

        cost = D("0.80") * sum(quantity for quantity, _ in split) + 3000
        assert found.kept.full_cost.amount == found.kept.variable_cost.amount == cost
        assert sum(1 for line in found.lines if line.quoted.kept.full_cost.amount >= 3000) == 1

    def test_was_paid_for_by_every_line_that_bought_it_under_the_first_edition(self) -> None:
        lines = [a_sheet_line(tooling="this_order"), a_sheet_line(tooling="charged_once")]

        found = figures(*lines, basis={"edition": 1})

        assert found.totals.tax_exclusive == euros("6160.00")


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


def a_floored_line(**changes: Any) -> dict[str, Any]:
    """100 sheets at 2.00 that cost 0.85."""
    policy = builders.policy("fixed_price", "2", never_below_cost="full_cost")
    return a_sheet_line(**{"policy": policy, **changes})


SIXTY_OFF = {"reason": "friends", "share": "0.6"}


class TestAFloor:
    """Never below is held against what is taken off; 200.00 for 100 sheets, whose floor is 85.00."""

    @pytest.mark.parametrize(
        ("allowance", "short"),
        [
            (SIXTY_OFF, "5.00"),  # 85 − 80
            ({"reason": "friends", "amount": "115"}, None),
            ({"reason": "friends", "amount": "115.01"}, "0.01"),
        ],
    )
    def test_is_held_against_allowances_on_the_line(self, allowance: dict[str, str], short: str | None) -> None:
        line = figures(a_floored_line(allowances=[allowance])).lines[0]

        assert line.quoted.below_floor == (None if short is None else euros(short))

    def test_is_held_against_the_part_of_the_allowances_on_the_whole_that_a_line_bears(self) -> None:
        terms = [{**SIXTY_OFF, "tax": "vat"}, {"reason": "season", "amount": "6", "tax": "vat"}]

        found = figures(a_floored_line(), a_floored_line(quantity=50), allowances=terms)

        # 200 and 100, of which 186 are taken off: 124 and 62
        assert [line.quoted.below_floor for line in found.lines] == [euros("9.00"), euros("4.50")]

    def test_is_not_held_against_allowances_under_another_tax(self) -> None:
        free = DatedRate(resource="taxes/free", valid_from=TODAY, terms=TaxRate(rate_share=D("0.05")))
        request = a_request(
            lines=[a_floored_line(), a_floored_line(tax="free")], allowances=[{**SIXTY_OFF, "tax": "free"}]
        )
        basis = the_basis(request)
        card = replace(basis.card, rates={**basis.card.rates, "taxes/free": free})
        basis = replace(basis, card=card, taxes={**basis.taxes, "free": Tax(name="Free")})

        found = quotation_figures(request, basis)

        assert [line.quoted.below_floor for line in found.lines] == [None, euros("5.00")]

    def test_is_held_against_each_break_as_if_the_customer_took_it(self) -> None:
        terms = [{"reason": "season", "amount": "100", "tax": "vat"}]

        line = figures(a_floored_line(quantity_breaks=[50, 1000]), allowances=terms).lines[0]

        assert line.quoted.below_floor is None  # 200 − 100 = 100, of 85
        assert [each.below_floor for each in line.quantity_breaks] == [euros("42.50"), None]  # 100 − 100, of 42.50

    def test_may_be_an_amount_and_is_the_greater_of_both(self) -> None:
        amount = builders.policy("fixed_price", "2", never_below_amount="1.50")
        both = {**amount, "never_below_cost": "full_cost"}
        none = builders.policy("fixed_price", "2")

        lines = (a_floored_line(policy=each, allowances=[SIXTY_OFF]) for each in (amount, both, none))

        assert [each.quoted.below_floor for each in figures(*lines).lines] == [euros("70.00"), euros("70.00"), None]

    def test_leaves_out_what_is_charged_beside_the_pieces(self) -> None:
        dear = {"reason": "express", "amount": "500"}

        (line,) = figures(a_floored_line(tooling="charged_once", charges=[dear], allowances=[SIXTY_OFF])).lines

        assert line.quoted.below_floor is None  # 80 for pieces of 80, the tool apart
        (line,) = figures(a_floored_line(charges=[dear], allowances=[SIXTY_OFF])).lines
        assert line.quoted.below_floor == euros("5.00")

    def test_that_is_a_fraction_of_a_cent_away_is_missed_by_a_cent(self) -> None:
        policy = builders.policy("fixed_price", "2", never_below_amount="1.9999")

        cent = {"reason": "rounded", "amount": "0.01"}

        (line,) = figures(a_floored_line(policy=policy, quantity=1, allowances=[cent])).lines

        assert line.quoted.below_floor == euros("0.01")

    def test_is_kept_by_what_is_given_away_for_nothing(self) -> None:
        free = builders.policy("fixed_price", "0", never_below_amount="0")

        assert figures(a_floored_line(policy=free)).lines[0].quoted.below_floor is None

    def test_is_told_of_every_batch_that_is_below_it(self) -> None:
        line = a_floored_line(allowances=[SIXTY_OFF], quantity_breaks=[200])

        found = [(each.code, each.product, each.text) for each in floor_warnings(figures(a_sheet_line(), line))]

        said = (
            "Line 2: after all allowances, a quantity of {} brings in {} EUR less than the floor of its policy allows."
        )
        assert found == [
            ("below-floor", "sheet", said.format(100, "5.00")),
            ("below-floor", "sheet", said.format(200, "10.00")),
        ]

    def test_that_only_the_least_of_every_line_misses_is_told(self) -> None:
        """100 at 2.00, or 50, on two lines: 50 and 100 bear 40 and 80 of 120, but 50 and 50 bear 60 each."""
        request = a_request(
            lines=[a_floored_line(quantity_breaks=[50])] * 2,
            allowances=[{"reason": "season", "amount": "120", "tax": "vat"}],
        )
        basis = the_basis(request)
        found = quotation_figures(request, basis)

        told = [(each.code, each.text) for each in least_choice_warnings(request, basis, found)]

        assert [each.below_floor for line in found.lines for each in line.quantities] == [None] * 4
        said = (
            "Line {}: if the customer takes the least of every line, a quantity of 50 brings in 2.50 EUR less than the "
            "floor of its policy allows."
        )
        assert told == [("below-floor", said.format(1)), ("below-floor", said.format(2))]

    @pytest.mark.parametrize(
        "season",
        [{"amount": "115"}, {"amount": "201"}, {"share": "0.6"}],
        ids=["enough is left", "more than there is", "a share is the same for all"],
    )
    def test_of_the_least_of_every_line_is_not_told_again(self, season: dict[str, str]) -> None:
        line = a_floored_line(quantity=200, quantity_breaks=[50])
        request = a_request(lines=[line, line], allowances=[{"reason": "season", "tax": "vat", **season}])
        basis = the_basis(request)

        assert [*least_choice_warnings(request, basis, quotation_figures(request, basis))] == []


class TestALoss:
    def test_is_told_where_no_policy_has_a_floor(self) -> None:
        policy = builders.policy("fixed_price", "2")

        found = figures(a_sheet_line(policy=policy, allowances=[SIXTY_OFF]))  # 80 for what costs 85, all of it variable

        (warning,) = loss_warnings(found)
        said = "All in all the quotation loses 5.00 EUR: it does not even bring in its variable cost."
        assert (warning.code, warning.product, warning.text) == ("loss", None, said)

    def test_that_pays_its_variable_cost_is_told_apart(self) -> None:
        found = figures(a_sheet_line(policy=builders.policy("fixed_price", "0.80")))
        pays = replace(found, kept=replace(found.kept, contribution=euros("0.00")))

        assert [each.text for each in loss_warnings(pays)] == ["All in all the quotation loses 5.00 EUR at full cost."]

    @pytest.mark.parametrize("price", ["0.85", "2"])
    def test_that_is_none_is_not_told(self, price: str) -> None:
        assert [*loss_warnings(figures(a_sheet_line(policy=builders.policy("fixed_price", price))))] == []


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
        (warning,) = loss_warnings(found)
        said = "All in all the quotation loses 14.00 EUR: it does not even bring in its variable cost."
        assert (warning.code, warning.product, warning.text) == ("loss", None, said)

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

    def test_that_is_unknown_is_refused(self) -> None:
        with pytest.raises(InvalidValuesError, match=r"currency: ZZZ is not an ISO 4217 currency"):
            a_request(currency="ZZZ")


class TestTheQuantityOfAPrice:
    """Item price base quantity, BT-149 of EN 16931: a sheet costs 0.85."""

    @pytest.mark.parametrize(
        ("base", "policy", "price", "net"),
        [
            (1, builders.policy("markup", "0.1"), "0.94", "517.00"),
            (12, builders.policy("markup", "0.1"), "11.22", "514.25"),
            (100, builders.policy("markup", "0.1"), "93.50", "514.25"),
            (1000, builders.policy("markup", "0.1"), "935.00", "514.25"),
            (100, builders.policy("profit_per_piece", "0.003"), "85.30", "469.15"),
            (100, builders.policy("fixed_price", "33.33"), "33.33", "183.32"),  # 183.315
            (100, builders.policy("markup", "0", never_below_amount="90.01", price_step="0.25"), "90.25", "496.38"),
        ],
    )
    def test_is_what_is_rounded_and_the_line_is_quantity_by_price_by_base(
        self, base: int, policy: Any, price: str, net: str
    ) -> None:
        line = figures(a_sheet_line(quantity=550, base_quantity=base, policy=policy)).lines[0].quoted

        assert (line.base_quantity, line.unit_price, line.net_amount) == (base, euros(price), euros(net))
        assert line.unit_full_cost == euros("0.850000")
        assert line.kept.full_cost == euros("467.50")

    def test_is_that_of_the_breaks_too_and_of_what_they_save(self) -> None:
        line = a_sheet_line(base_quantity=100, tooling="this_order", quantity_breaks=[1000])

        (larger,) = figures(line).lines[0].quantity_breaks

        assert (larger.unit_price, larger.saving_per_piece) == (euros("380.00"), euros("2700.00"))
        assert larger.saving_share == D("0.876623")

    @pytest.mark.parametrize(("floor", "short"), [("full_cost", "5.00"), (None, None)])
    def test_is_that_of_its_floor(self, floor: str | None, short: str | None) -> None:
        policy = builders.policy("fixed_price", "200", never_below_cost=floor, never_below_amount="80")

        line = figures(a_sheet_line(base_quantity=100, policy=policy, allowances=[SIXTY_OFF])).lines[0]

        assert line.quoted.below_floor == (None if short is None else euros(short))

    def test_of_a_line_that_is_rounded_down_misses_no_floor(self) -> None:
        policy = builders.policy("fixed_price", "904", never_below_amount="904")

        (line,) = figures(a_sheet_line(quantity=1, base_quantity=1000, policy=policy)).lines

        assert line.quoted.net_amount == euros("0.90")
        assert line.quoted.below_floor is None

    @pytest.mark.parametrize("base", [2, 10, 999])
    def test_is_one_of_four(self, base: int) -> None:
        with pytest.raises(InvalidValuesError, match=r"base_quantity: must be one of 1, 12, 100, 1000"):
            a_request(lines=[a_sheet_line(base_quantity=base)])


class TestCash:
    def test_rounds_the_total_and_not_the_tax(self) -> None:
        """A hundred screws at 1.79 with 13 % of tax, as in tests/published/test_cash_rounding.py."""
        screws = a_sheet_line(policy=builders.policy("fixed_price", "1.79"))
        tax = DatedRate(resource="taxes/vat", valid_from=TODAY, terms=TaxRate(rate_share=D("0.13")))
        request = a_request(lines=[screws], currency="CAD", cash=True)
        basis = the_basis(request, exchange=ExchangeRates(as_of=TODAY, days=(replace(DOLLARS, rates={"CAD": D(1)}),)))
        basis = replace(basis, card=replace(basis.card, rates={**basis.card.rates, "taxes/vat": tax}))

        totals = quotation_figures(request, basis).totals

        assert (totals.tax_exclusive, totals.tax_total) == (money("179.00", "CAD"), money("23.27", "CAD"))
        assert totals.tax_inclusive == money("202.27", "CAD")
        assert (totals.rounding, totals.payable) == (money("-0.02", "CAD"), money("202.25", "CAD"))
        assert chosen_figures(request, basis, (100,)).totals == totals

    @pytest.mark.parametrize(
        ("quantity", "changes", "rounding", "payable"),
        [
            (1, {"currency": "USD", "cash": True}, None, "1.29"),  # 1.07 and 21 %
            (1, {"currency": "CHF"}, None, "1.03"),  # 0.85 and 21 %
            (1, {"currency": "CHF", "cash": True}, "0.02", "1.05"),
            (100, {"currency": "CHF", "cash": True}, None, "102.85"),
        ],
    )
    def test_is_rounded_if_that_is_asked_where_the_currency_has_a_step(
        self, quantity: int, changes: dict[str, Any], rounding: str | None, payable: str
    ) -> None:
        days = (replace(DOLLARS, rates={"USD": D("1.25"), "CHF": D(1)}),)
        basis = {"exchange": ExchangeRates(as_of=TODAY, days=days)}

        totals = figures(a_sheet_line(quantity=quantity), **changes, basis=basis).totals

        assert totals.payable == money(payable, changes["currency"])
        assert totals.rounding == (None if rounding is None else money(rounding, changes["currency"]))


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
