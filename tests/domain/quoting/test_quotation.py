"""A quotation by hand, its checks, and its refusals."""

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest

from service.domain.costing.errors import MissingRatesError
from service.domain.costing.rate_card import DatedRate, RateCard
from service.domain.quoting.adjustments import LineAdjustment, QuotationAdjustment
from service.domain.quoting.basis import QuotationBasis
from service.domain.quoting.figures import quotation_figures
from service.domain.quoting.lines import currency_problems
from service.domain.quoting.quotation import QuotationFigures
from service.domain.quoting.request import QuotationLineRequest, QuotationRequest
from service.domain.selling.taxes import Tax, TaxCategory, TaxRate
from service.domain.values.errors import InvalidValuesError
from service.domain.values.references import Thing
from service.encoding import decoded
from tests.domain.examples import TODAY, a_line, a_product, a_request, a_shop, euros
from tests.support import builders

TAXES = {
    "vat": (Tax(name="VAT 21 %"), "0.21"),
    "also-21": (Tax(name="Another at 21 %"), "0.21"),
    "export": (Tax(name="No VAT", category=TaxCategory.EXPORT, exemption_reason="export"), "0"),
}


def a_quotation_line(**changes: Any) -> dict[str, Any]:
    return {"product": "sheet", "quantity": 20, "tax": "vat", "policy": builders.policy("fixed_price", "10"), **changes}


def a_basis(request: QuotationRequest, material: str = "1", currency: str = "EUR") -> QuotationBasis:
    """A basis for a sheet of one kilogram at 0.80 and another, "part-1", of two kilograms."""
    one, two = (
        a_product(bill_of_materials=[a_line(quantity_per_piece=each)], operations=[]) for each in (material, "2")
    )
    shop = a_shop(one, two)
    rates = {
        f"taxes/{code}": DatedRate(resource=f"taxes/{code}", valid_from=TODAY, terms=TaxRate(rate_share=Decimal(share)))
        for code, (_, share) in TAXES.items()
    }
    batches = dict.fromkeys((line.product, quantity) for line in request.lines for quantity in line.quantities)
    return QuotationBasis(
        as_of=TODAY,
        currency=currency,
        card=RateCard(as_of=TODAY, currency=currency, rates={**shop.card.rates, **rates}),
        exchange=shop.exchange,
        pools={},
        taxes={code: tax for code, (tax, _) in TAXES.items()},
        bills=tuple(shop.bill(quantity, code) for code, quantity in batches),
    )


def quoted(*lines: dict[str, Any], **changes: Any) -> QuotationFigures:
    request = a_request(lines=list(lines or [a_quotation_line()]), **changes)
    return quotation_figures(request, a_basis(request))


class TestALine:
    def test_is_quantity_by_price_less_allowances_plus_charges(self) -> None:
        line = a_quotation_line(
            allowances=[{"reason": "regular customer", "share": "0.025"}, {"reason": "agreed", "amount": "1.50"}],
            charges=[{"reason": "express", "amount": "7"}],
        )

        found = quoted(line).lines[0].quoted

        assert [each.amount for each in found.allowances] == [euros("5.00"), euros("1.50")]
        assert found.net_amount == euros("200.50")
        assert found.unit_full_cost == euros("0.800000")
        assert found.kept.full_cost == found.kept.variable_cost == euros("16.00")
        assert found.kept.profit == euros("184.50")
        assert found.kept.margin_share == Decimal("0.920200")

    def test_prices_every_quantity_break_as_an_alternative_that_is_not_counted(self) -> None:
        found = quoted(a_quotation_line(quantity_breaks=[50, 100]))

        assert [each.quantity for each in found.lines[0].quantity_breaks] == [50, 100]
        assert found.totals.line_total == euros("200.00")

    def test_reads_as_described_or_as_the_product_is_called(self) -> None:
        found = quoted(a_quotation_line(), a_quotation_line(description="Sheet, blue", product="part-1"))

        assert [line.description for line in found.lines] == ["Sheet", "Sheet, blue"]

    def test_given_away_has_no_margin_share(self) -> None:
        found = quoted(a_quotation_line(policy=builders.policy("fixed_price", "0")))

        assert found.kept.margin_share is None
        assert found.kept.profit == euros("-16.00")


class TestTheWhole:
    def test_applies_shares_to_the_lines_of_the_same_category_and_rate(self) -> None:
        found = quoted(
            a_quotation_line(),
            a_quotation_line(tax="also-21", quantity=10),
            a_quotation_line(tax="export", quantity=5),
            allowances=[{"reason": "season", "tax": "vat", "share": "0.1"}],
            charges=[{"reason": "freight", "tax": "export", "amount": "12"}],
        )

        assert found.allowances[0].amount == euros("30.00")  # of 200 and 100, both at 21 %
        totals = found.totals
        assert (totals.line_total, totals.tax_exclusive) == (euros("350.00"), euros("332.00"))
        assert [(each.category, each.taxable_amount, each.tax_amount) for each in totals.tax_subtotals] == [
            ("S", euros("270.00"), euros("56.70")),
            ("G", euros("62.00"), euros("0.00")),
        ]
        assert totals.payable == euros("388.70")
        assert found.lines[2].tax.exemption_reason == "export"

    def test_may_charge_under_a_tax_that_no_line_has(self) -> None:
        found = quoted(charges=[{"reason": "freight", "tax": "export", "amount": "12"}])

        assert found.totals.payable == euros("254.00")

    @pytest.mark.parametrize(
        ("line", "whole", "path"),
        [
            ({"allowances": [{"reason": "r", "amount": "200.01"}]}, {}, ("lines", 0, "allowances")),
            (
                {"quantity_breaks": [1], "allowances": [{"reason": "r", "amount": "100"}]},
                {},
                ("lines", 0, "allowances"),
            ),
            ({}, {"allowances": [{"reason": "r", "tax": "vat", "amount": "200.01"}]}, ("allowances",)),
            ({}, {"allowances": [{"reason": "r", "tax": "export", "amount": "0.01"}]}, ("allowances",)),
        ],
    )
    def test_is_refused_where_allowances_take_off_more_than_there_is(
        self, line: dict[str, Any], whole: dict[str, Any], path: tuple[str | int, ...]
    ) -> None:
        with pytest.raises(InvalidValuesError, match="take off more than") as error:
            quoted(a_quotation_line(**line), **whole)

        assert [problem.path for problem in error.value.problems] == [path]

    def test_may_be_reduced_to_0_by_allowances(self) -> None:
        assert quoted(a_quotation_line(allowances=[{"reason": "a gift", "share": "1"}])).totals.payable == euros("0.00")


class TestWhatItIsComputedFrom:
    def test_must_hold_a_rate_for_everything(self) -> None:
        request = a_request(lines=[a_quotation_line()])
        basis = a_basis(request)
        without = {name: rate for name, rate in basis.card.rates.items() if name != "materials/hdpe"}

        with pytest.raises(MissingRatesError, match="materials/hdpe"):
            quotation_figures(request, replace(basis, card=replace(basis.card, rates=without)))

    def test_names_amounts_finer_than_the_minor_unit(self) -> None:
        fine = a_quotation_line(
            policy=builders.policy(price_step="0.001", price_endings=["0.0005"]),
            charges=[{"reason": "r", "share": "0.1"}, {"reason": "r", "amount": "0.005"}],
        )
        request = a_request(
            lines=[a_quotation_line(), fine], allowances=[{"reason": "r", "tax": "vat", "amount": "1.001"}]
        )

        with pytest.raises(InvalidValuesError) as error:
            quotation_figures(request, a_basis(request))

        assert [problem.path for problem in error.value.problems] == [
            ("lines", 1, "policy", "price_step"),
            ("lines", 1, "policy", "price_endings"),
            ("allowances", 0, "amount"),
            ("lines", 1, "charges", 1, "amount"),
        ]
        assert "must have at most 2 decimals: EUR has no smaller unit" in str(error.value)
        assert list(currency_problems(a_request(), "EUR")) == []


class TestInvalidRequests:
    @pytest.mark.parametrize(
        ("kind", "body", "message"),
        [
            (LineAdjustment, {"reason": "r"}, "amount: give either an amount or a share"),
            (
                LineAdjustment,
                {"reason": "r", "amount": "1", "share": "0.1"},
                "amount: give either an amount or a share",
            ),
            (QuotationAdjustment, {"reason": "r", "tax": "vat"}, "amount: give either an amount or a share"),
            (QuotationLineRequest, a_quotation_line(quantity_breaks=[20]), "quantity_breaks: must differ from each"),
            (QuotationLineRequest, a_quotation_line(quantity_breaks=[5, 5]), "quantity_breaks: must differ from each"),
            (QuotationRequest, builders.quotation(lines=[]), "lines: must have 1 to 200 entries"),
            (
                QuotationRequest,
                builders.quotation(quoted_on="2026-11-25", valid_until="2026-11-24"),
                "valid_until: must not be before the day of the quotation",
            ),
        ],
    )
    def test_are_refused(self, kind: type[Any], body: dict[str, Any], message: str) -> None:
        with pytest.raises(InvalidValuesError) as error:
            decoded(body, kind)

        assert message in str(error.value)

    def test_a_quotation_may_be_valid_for_its_own_day_alone(self) -> None:
        request = a_request(valid_until=TODAY.isoformat())

        assert request.valid_until == TODAY == request.quoted_on

    def test_every_tax_in_a_request_is_found_with_its_place(self) -> None:
        adjustment = {"reason": "r", "tax": "export", "amount": "1"}
        request = a_request(lines=[a_quotation_line()], allowances=[adjustment], charges=[adjustment])

        assert request.named() == [
            (("lines", 0, "product"), Thing("products", request.lines[0].product)),
            (("lines", 0, "tax"), Thing("taxes", "vat")),
            (("allowances", 0, "tax"), Thing("taxes", "export")),
            (("charges", 0, "tax"), Thing("taxes", "export")),
        ]
        assert request.taxes() == ("vat", "export")


def test_a_basis_of_another_day_gives_the_same_figures() -> None:
    """Nothing is looked up again: the day only states which rates were used."""
    request = a_request(lines=[a_quotation_line()])
    basis = a_basis(request)

    later = replace(basis, as_of=TODAY + timedelta(days=900))

    assert quotation_figures(request, later) == quotation_figures(request, basis)
